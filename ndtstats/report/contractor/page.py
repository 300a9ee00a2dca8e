"""The page for the contractor, section by section, from its facts."""

from datetime import datetime

import pandas as pd

from ndtstats.rates.readings import readers_sentence
from ndtstats.register import Register
from ndtstats.report import formatting as show
from ndtstats.report import tables as make
from ndtstats.report.contractor import words
from ndtstats.report.contractor.facts import METHODS, ContractorFacts, contractor_facts
from ndtstats.report.contractor.figures import reshoots_figure, turnaround_figure
from ndtstats.report.page import (
    Block,
    Bullets,
    Column,
    Figure,
    Fold,
    Heading,
    Page,
    Point,
    Section,
    Table,
    Text,
)
from ndtstats.request.reconcile import TOLERANCE_MM
from ndtstats.request.turnaround import EXAMINED
from ndtstats.words import METHODS as NAMES

#: What the page leaves out, and why.
_BLIND = (
    "It tells no verdict on a weld, no welder, and no reason why a place was chosen: whoever reads "
    "images should know none of it, so that each is read for itself.",
    "It counts images and answers. A re-shoot can be the fault of access, surface or light as well "
    "as of whoever took the image; the reasons given stand beside each.",
)
#: What the states of such places mean.
_OTHERWISE = (
    "Short: less length was examined than asked, and what is missing stays unexamined. Shifted: as "
    f"long as asked, but an end is off by more than {TOLERANCE_MM:.0f} mm. Unasked: a first "
    "examination that answers no request."
)


def contractor_page(
    register: Register,
    *,
    job: str | None = None,
    readings: pd.DataFrame | None = None,
    level: float = 0.95,
    as_of: datetime | None = None,
) -> Page:
    """Return the page for the examination contractor.

    Parameters
    ----------
    job : str, optional
        Only this job; else all.
    readings : DataFrame, optional
        The same images read by several readers: ``image``, ``reader``, ``verdict``.
    level : float
        Confidence level of all bounds.
    as_of : datetime, optional
        What was known then; by default when the register last changed.
    """
    return page_of(
        contractor_facts(register, job=job, readings=readings, level=level, as_of=as_of)
    )  # fmt: skip


def page_of(facts: ContractorFacts) -> Page:
    """Return the page that tells some facts."""
    of = f"job {facts.job}" if facts.job else "all jobs"
    return Page(
        file=f"contractor-{facts.job or 'all'}",
        kind="Weld examination: for the examination contractor",
        title=f"Images and answers, {of}",
        as_of=facts.as_of,
        headline=(
            words.images_sentence(facts.total, facts.level),
            words.turnaround_sentence(facts.turnaround, facts.level),
        ),
        sections=(
            _images(facts),
            _turnaround(facts),
            _places(facts),
            _not_done(facts),
            _readers(facts),
            _corrections(facts),
            _blind(),
        ),
        provenance=facts.origin,
    )


# ------------------------------------------------------------------ images


def _images(facts: ContractorFacts) -> Section:
    counted = ", ".join(NAMES[method] for method in METHODS)
    blocks: list[Block] = [
        Text(words.images_sentence(facts.total, facts.level)),
        Text(f"Counted are exposures and examinations of all rounds by {counted}; what was not "
             "done was not taken. What the yard sees by eye is left out."),
        Figure(
            "reshoots", reshoots_figure(facts.months),
            "Share of exposures taken again, by month, with bounds",
            "Each month with its bounds: the longer they are, the fewer exposures. Images of one "
            "visit fail together, so the bounds are rather too short than too long.",
            _quality_table(facts.months, ("month",), "Re-shoots by month", facts.level)
            if len(facts.months) else None,
            empty="No exposure has been reported yet, so there is nothing to draw.",
        ),
    ]  # fmt: skip
    if len(facts.methods):
        by = ("technician", "method")
        title = "Re-shoots by technician and method, by name"
        blocks += [
            _quality_table(facts.methods, ("method",), "Re-shoots by method", facts.level),
            _quality_table(facts.technicians, by, title, facts.level),
        ]
    if len(facts.again):
        blocks += [Heading("Images taken again, and why"), _again_table(facts.again)]
    return Section("images", "Images that were no good", tuple(blocks), "Images")


def _quality_table(rows: pd.DataFrame, by: tuple[str, ...], title: str, level: float) -> Table:
    few = rows["taken"] < words.FEW
    return Table(
        f"{title}; bounds at {show.level(level)} confidence",
        (
            *(make.text(rows, name, name) for name in by),
            make.number(rows, "reshoots", "taken again", make.counted),
            make.number(rows, "taken", "exposures", make.counted),
            make.number(rows, "rate", "re-shoot rate", show.percent),
            make.bounds(rows, ("lower", "upper"), "bounds", show.percent),
            Column("note", ["small sample" if small else "" for small in few]),
        ),
    )


def _again_table(rows: pd.DataFrame) -> Table:
    image = rows["report"].astype("str") + (" no. " + rows["exposure"].astype("str")).fillna("")
    return Table(
        "Images that were no good",
        (
            Column("image", image.tolist()),
            Column("reason given", rows["remark"].fillna("none").tolist()),
            Column("date", [show.day(day) for day in rows["date"]], number=True),
            make.text(rows, "job", "job"),
            make.text(rows, "joint", "joint"),
            _places_column(rows, "from_mm", "to_mm", "place"),
            make.text(rows, "method", "method"),
            make.text(rows, "technician", "technician"),
        ),
        roomy=True,
    )


# ------------------------------------------------------------------ requests


def _turnaround(facts: ContractorFacts) -> Section:
    found = facts.turnaround
    curve = found.curve
    blocks: list[Block] = [
        Text(words.turnaround_sentence(found, facts.level)),
        Text("Days run from the day on which a place could be examined (asked for, its joint "
             "welded, and for a substitute the day it was called for) to the day it was. First "
             "examinations only: when a repair was ready to be examined again is not recorded. "
             "Requests that still wait count for as long as they have waited."),
        Figure(
            "turnaround", turnaround_figure(curve),
            "Share of requests examined within so many days, with bounds",
            "The line is the share examined by that day; grey: its bounds. They take each request "
            "for itself, so where many are examined in one visit they are rather too short.",
            _curve_table(curve, facts.level) if len(curve) else None,
            empty="No request has been examined after it was asked for, so there is nothing to "
            "draw.",
            folded=len(curve) > 15,
        ),
    ]  # fmt: skip
    waiting = facts.asked[facts.asked["state"] == "open"]
    if len(waiting):
        blocks += [Heading("Open requests, the oldest first"), _open_table(waiting)]
    return Section("turnaround", "From request to examination", tuple(blocks), "Turnaround")


def _curve_table(curve: pd.DataFrame, level: float) -> Table:
    return Table(
        f"Requests examined within so many days; bounds at {show.level(level)} confidence",
        (
            make.number(curve, "days", "days", make.counted),
            make.number(curve, "answered", "examined on that day", make.counted),
            make.number(curve, "waiting", "of those still waiting", make.counted),
            make.number(curve, "share", "examined by then", show.percent),
            make.bounds(curve, ("lower", "upper"), "bounds", show.percent),
        ),
    )


def _open_table(rows: pd.DataFrame) -> Table:
    rows = rows.sort_values(["waited", "spot"], ascending=[False, True], kind="stable")
    return Table(
        "Open requests",
        (
            *_request_columns(rows),
            Column("asked on", [show.day(day) for day in rows["asked_on"]], number=True),
            make.number(rows, "waited", "days waited", make.counted),
        ),
        roomy=True,
    )


def _request_columns(rows: pd.DataFrame) -> tuple[Column, ...]:
    return (
        make.text(rows, "spot", "request"),
        make.text(rows, "job", "job"),
        make.text(rows, "joint", "joint"),
        make.text(rows, "method", "method"),
        _places_column(rows, "asked_from_mm", "asked_to_mm", "asked"),
    )


def _places_column(rows: pd.DataFrame, low: str, high: str, heading: str) -> Column:
    cells = [
        "–" if pd.isna(begin) else show.place(begin, 0.0 if pd.isna(end) else end)
        for begin, end in zip(rows[low], rows[high], strict=True)
    ]
    return Column(heading, cells, number=True)


def _places(facts: ContractorFacts) -> Section:
    heading, short = "Places examined otherwise than asked", "Places"
    rows = facts.asked[facts.asked["state"].isin(["short", "shifted", "unasked"])]
    blocks: list[Block] = [Text(words.states_sentence(facts.states))]
    if len(rows):
        blocks += [_otherwise_table(rows), Text(_OTHERWISE, note=True)]
    elif facts.states[list(EXAMINED)].any():
        blocks.append(Text("What was examined was examined where and as long as asked."))
    return Section("places", heading, tuple(blocks), short)


def _otherwise_table(rows: pd.DataFrame) -> Table:
    return Table(
        "Examined short, shifted, or not asked for",
        (
            *_request_columns(rows),
            _places_column(rows, "examined_from_mm", "examined_to_mm", "examined"),
            make.text(rows, "state", "state"),
            make.text(rows, "report", "report"),
            Column("date", [show.day(day) for day in rows["date"]], number=True),
        ),
        roomy=True,
    )


def _not_done(facts: ContractorFacts) -> Section:
    heading, short = "Not done, and why", "Not done"
    rows = facts.asked[facts.asked["state"] == "not done"]
    if rows.empty:
        nothing = Text("No request came back as not done.")
        return Section("notdone", heading, (nothing,), short)
    rows = rows.assign(reason=rows["reason"].fillna("no reason given"))
    reasons = rows["reason"].value_counts().sort_index().sort_values(ascending=False, kind="stable")
    table = Table(
        "Requests not done",
        (
            *_request_columns(rows),
            make.text(rows, "reason", "reason given"),
            make.text(rows, "report", "report"),
            Column("date", [show.day(day) for day in rows["date"]], number=True),
        ),
        roomy=True,
    )
    points = tuple(Point(f"{reason}: {number:,}") for reason, number in reasons.items())
    came = "request came" if len(rows) == 1 else "requests came"
    said = Text(f"{len(rows):,} {came} back as not done. Reasons given:")
    return Section("notdone", heading, (said, Bullets(points), table), short)


# ------------------------------------------------------------------ readers, corrections


def _readers(facts: ContractorFacts) -> Section:
    heading, short = "Do readers agree?", "Readers"
    found = facts.readers
    if found is None:
        nothing = (
            "No images read by two readers were given, so nothing can be said of it. A few dozen "
            "images read twice, each reader by himself, would tell."
        )
        return Section("readers", heading, (Text(nothing),), short)
    rows = found.table
    table = Table(
        f"Agreement of readers; bounds at {show.level(found.level)} confidence",
        (
            make.text(rows, "readers", "readers"),
            make.number(rows, "images", "images read by all of them", make.counted),
            make.number(rows, "agreed", "readings that agree", show.percent),
            make.bounds(rows, ("agreed_lower", "agreed_upper"), "bounds", show.percent),
            make.number(rows, "by_chance", "agree by chance", show.percent),
            make.number(rows, "kappa", "kappa", make.two_decimals),
            make.bounds(rows, ("lower", "upper"), "bounds", make.two_decimals),
        ),
        roomy=True,
    )
    meaning = Text(
        "Kappa is the agreement beyond what chance would bring: 0 is chance alone, 1 always the "
        "same verdict (Cohen 1960; of three readers or more Fleiss 1971).",
        note=True,
    )
    remarks = tuple(Point(text) for text in found.remarks)
    more: tuple[Block, ...] = (Bullets(remarks),) if remarks else ()
    return Section(
        "readers", heading, (Text(readers_sentence(found)), table, meaning, *more), short
    )  # fmt: skip


def _corrections(facts: ContractorFacts) -> Section:
    rows = facts.files
    blocks: list[Block] = [Text(words.corrections_sentence(rows))]
    if len(rows):
        blocks += [
            Text("Counted over all jobs and methods: one file may hold several. A correction is a "
                 "row that says something else of the same examination than an earlier one did; "
                 "both are kept. It may mend a slip of the yard as well as of the contractor."),
            _months_table(rows),
            Fold("File by file", (_files_table(rows),), open=True),
        ]  # fmt: skip
    return Section("corrections", "Corrections to what was sent", tuple(blocks), "Corrections")


def _months_table(files: pd.DataFrame) -> Table:
    """Return what was sent, corrected and left out month by month."""
    sums = files.groupby("month", sort=True)[["new", "unchanged", "corrected", "left_out"]].sum()
    rows = sums.assign(files=files.groupby("month").size()).reset_index()
    return Table(
        "Rows loaded, corrected and left out, by month of loading",
        (
            make.text(rows, "month", "month"),
            make.number(rows, "files", "files", make.counted),
            make.number(rows, "new", "new rows", make.counted),
            make.number(rows, "unchanged", "sent again unchanged", make.counted),
            make.number(rows, "corrected", "corrected", make.counted),
            make.number(rows, "left_out", "left out", make.counted),
        ),
    )


def _files_table(rows: pd.DataFrame) -> Table:
    return Table(
        "Files of examinations loaded",
        (
            make.text(rows, "source", "file"),
            Column("loaded on", [show.day(day) for day in rows["at"]], number=True),
            make.number(rows, "new", "new rows", make.counted),
            make.number(rows, "unchanged", "sent again unchanged", make.counted),
            make.number(rows, "corrected", "corrected", make.counted),
            make.number(rows, "left_out", "left out", make.counted),
        ),
    )


def _blind() -> Section:
    points = tuple(Point(text) for text in _BLIND)
    return Section("blind", "What this page leaves out", (Bullets(points),), "Left out")
