"""The page for a welder, section by section, from its facts."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.escalation.lives import OPEN
from ndtstats.progress import Progress, silent
from ndtstats.rates import signal_sentences, trend_sentence
from ndtstats.register import Register
from ndtstats.report import chart_figures
from ndtstats.report import formatting as show
from ndtstats.report import tables as make
from ndtstats.report.gather import method_name
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
from ndtstats.report.sentences import SMALL
from ndtstats.report.welder import words
from ndtstats.report.welder.causes import cause_of
from ndtstats.report.welder.facts import PARTS, WelderFacts, shop_of, welder_facts
from ndtstats.report.welder.figures import beside_figure, kinds_figure
from ndtstats.words import POSITIONS, PROCESSES, imperfection_name

#: How to read the page: said to the welder.
_FAIR = (
    "The page is about welds, not about a person. It ranks nobody and names nobody else.",
    "Only first examinations count. What was repaired is counted apart, and a re-shoot or a place "
    "that was not reached says nothing of the weld.",
    "Who welded what comes from the welding records: a deposit under a wrong stamp puts a reject "
    "at the wrong door. Where several welded the same place and it is not known in whose pass the "
    "imperfection lies, each of them is charged.",
    "If a figure looks wrong, say which weld and which pass: the records can be corrected, and "
    "every correction is kept.",
)
#: What stands over the causes.
_CAUSES = (
    "What usually causes such imperfections, and what helps. This is common practice, told for a "
    "start: the cause of a given one is found at the weld, and it is as often access, fit-up, "
    "material, weather or equipment as it is the hand."
)


def welder_page(
    register: Register,
    welder: str,
    *,
    job: str | None = None,
    method: str | None = None,
    level: float = 0.95,
    as_of: datetime | None = None,
) -> Page:
    """Return the page for one welder.

    Parameters
    ----------
    welder : str
        The stamp.
    job : str, optional
        Only this job; else all.
    method : str, optional
        Method of the rates; by default the one used most, other than by eye.
    level : float
        Confidence level of all bounds.
    as_of : datetime, optional
        What was known then; by default when the register last changed.

    Raises
    ------
    UseError
        If no such welder has welded or is registered.
    """
    shop = shop_of(register, job=job, method=method, level=level, as_of=as_of)
    return page_of(welder_facts(shop, welder))


def welder_pages(
    register: Register,
    *,
    job: str | None = None,
    method: str | None = None,
    level: float = 0.95,
    as_of: datetime | None = None,
    progress: Progress = silent,
) -> Iterator[Page]:
    """Yield a page for every welder, by stamp; parameters as for :func:`welder_page`."""
    shop = shop_of(register, job=job, method=method, level=level, as_of=as_of)
    for number, welder in enumerate(shop.welders, 1):
        yield page_of(welder_facts(shop, welder))
        progress("welders", number, len(shop.welders))


def page_of(facts: WelderFacts) -> Page:
    """Return the page that tells some facts."""
    named = f"Welder {facts.welder}"
    of = f", job {facts.job}" if facts.job else ""
    return Page(
        file=f"welder-{facts.welder}{f'-{facts.job}' if facts.job else ''}",
        kind="Weld examination: for the welder",
        title=(f"{named}: {facts.name}" if facts.name else named) + of,
        as_of=facts.as_of,
        headline=(words.own_sentence(facts.own, facts.method), words.tickets_sentence(facts)),
        sections=(
            _own(facts),
            _shop(facts),
            _parts(facts),
            _kinds(facts),
            _trend(facts),
            _rejects(facts),
            _tickets(facts),
            _fair(),
        ),
        provenance=facts.origin,
    )


# ------------------------------------------------------------------ rates


def _own(facts: WelderFacts) -> Section:
    said = (
        words.own_sentence(facts.own, facts.method),
        words.worth_sentence(facts.own),
        words.seen_sentence(facts),
    )
    heading = f"Own welds, {method_name(facts.method)}"
    blocks: list[Block] = [Text(text) for text in said if text]
    rows = [row for row in (facts.own, facts.seen) if row is not None]
    if rows:
        table = pd.DataFrame(rows).drop_duplicates("basis").reset_index(drop=True)
        blocks.append(make.rates_table(table, "basis", "Rejected spots", facts.level))
    return Section("own", heading, tuple(blocks), "Own welds")


def _shop(facts: WelderFacts) -> Section:
    heading, short = "Beside the shop", "Beside the shop"
    row = facts.compared
    said = (
        words.expected_sentence(row, facts.others, facts.level),
        words.shop_sentence(facts) if facts.others > 1 else "",
    )
    blocks: list[Block] = [Text(text) for text in said if text]
    if row is not None and facts.others > 1:
        rows = _beside_rows(row)
        blocks += [
            Figure(
                "beside", beside_figure(rows, facts.low, facts.high),
                "This welder's rate, counted alike and shrunk, before the range of the shop",
                "Each line is a rate of this welder with its bounds: the longer, the less is known."
                " Grey: the middle of the shop's shrunk rates.",
                _beside_table(rows, facts),
            ),
            Text("Compared are places that rules or chance chose, where there are such, each "
                 "counting once; the kind of work is allowed for by a model, not by weights.",
                 note=True),
        ]  # fmt: skip
    return Section("shop", heading, tuple(blocks), short)


def _beside_rows(row: "pd.Series[Any]") -> pd.DataFrame:
    spots = f"{row['examined']:,.0f} {'spot' if row['examined'] == 1 else 'spots'}"
    counts = {"rejected": row["rejected"], "examined": row["examined"]}
    found = {"name": f"counted alike, {spots}", **counts, "rate": row["rate"],
             "lower": row["lower"], "upper": row["upper"]}  # fmt: skip
    shrunk = {"name": "shrunk", **counts, "rate": row["shrunk"], "lower": row["shrunk_lower"],
              "upper": row["shrunk_upper"]}  # fmt: skip
    return pd.DataFrame([found, shrunk])


def _beside_table(rows: pd.DataFrame, facts: WelderFacts) -> Table:
    shop = {"name": "the shop, middle 90 % (shrunk)",
            "lower": facts.low, "upper": facts.high}  # fmt: skip
    told = pd.concat([rows, pd.DataFrame([shop])], ignore_index=True)
    return Table(
        f"This welder beside the shop; bounds at {show.level(facts.level)} confidence",
        (
            make.text(told, "name", "rate"),
            make.number(told, "rejected", "rejected", make.counted),
            make.number(told, "examined", "examined", make.counted),
            make.number(told, "rate", "rate", show.percent),
            make.bounds(told, ("lower", "upper"), "bounds, or range", show.percent),
        ),
    )


def _parts(facts: WelderFacts) -> Section:
    heading, short = "By process and position", "Process, position"
    rows = facts.parts.reset_index(drop=True)
    if rows.empty:
        return Section("parts", heading, (Text("Nothing was examined yet."),), short)
    names = rows[PARTS[0]].astype("str") + ", " + rows[PARTS[1]].astype("str")
    spots = rows["examined"].map(lambda n: f"{n:,.0f} {'spot' if n == 1 else 'spots'}")
    drawn = rows.assign(name=names + ": " + spots)
    said = (
        f"The same rate, told apart by process and position, on the {facts.basis} basis. The fewer "
        "the spots, the longer the bounds; bounds that overlap show no difference."
    )
    figure = Figure(
        "parts", beside_figure(drawn, float("nan"), float("nan")),
        "Reject rate by process and position, with bounds",
        "Each line is one kind of work with its bounds.",
        _parts_table(rows, facts.level),
    )  # fmt: skip
    return Section("parts", heading, (Text(said), figure), short)


def _parts_table(rows: pd.DataFrame, level: float) -> Table:
    process, position = (rows[name].astype("str") for name in PARTS)
    small = ["small sample" if number < SMALL else "" for number in rows["examined"]]
    return Table(
        f"Rejected spots by process and position; bounds at {show.level(level)} confidence",
        (
            Column("process", [_called(code, PROCESSES) for code in process]),
            Column("position", [_called(code, POSITIONS) for code in position]),
            make.number(rows, "rejected", "rejected", make.counted),
            make.number(rows, "examined", "examined", make.counted),
            make.number(rows, "rate", "rate", show.percent),
            make.bounds(rows, ("lower", "upper"), "bounds", show.percent),
            make.number(rows, "effective", "worth", make.one_decimal),
            Column("note", small),
        ),
        roomy=True,
    )


def _called(code: str, names: dict[str, str]) -> str:
    return f"{code} ({names[code]})" if code in names else code


# ------------------------------------------------------------------ imperfections


def _kinds(facts: WelderFacts) -> Section:
    heading, short = "What was found, and what usually causes it", "What was found"
    rows = facts.kinds.sort_values(["rejected", "imperfection"], ascending=[False, True])
    said = Text(words.kinds_sentence(rows, facts.length, facts.method))
    if rows.empty:
        return Section("kinds", heading, (said,), short)
    rows = rows.assign(name=rows["imperfection"].map(imperfection_name))
    figure = Figure(
        "kinds", kinds_figure(rows),
        "Rejectable indications per metre examined, by type of imperfection, with bounds",
        "Each line is one type with its bounds, over everything examined.",
        _kinds_table(rows, facts.level),
    )  # fmt: skip
    causes = _causes_table(rows)
    told: tuple[Block, ...] = (Text(_CAUSES), causes) if causes else ()
    return Section("kinds", heading, (said, figure, *told), short)


def _kinds_table(rows: pd.DataFrame, level: float) -> Table:
    return Table(
        f"Rejectable indications by type (ISO 6520-1); bounds at {show.level(level)} confidence",
        (
            make.text(rows, "name", "imperfection"),
            make.number(rows, "rejected", "indications", make.counted),
            make.number(rows, "examined", "examined, m", make.one_decimal),
            make.number(rows, "rate", "per m", make.two_decimals),
            make.bounds(rows, ("lower", "upper"), "bounds, per m", make.two_decimals),
        ),
    )


def _causes_table(rows: pd.DataFrame) -> Table | None:
    known = [
        (name, cause)
        for name, cause in zip(rows["name"], rows["imperfection"].map(cause_of), strict=True)
        if cause is not None
    ]
    if not known:
        return None
    return Table(
        "Usual causes, and what helps",
        (
            Column("imperfection", [name for name, _ in known]),
            Column("usual causes", [cause.causes for _, cause in known]),
            Column("what helps", [cause.helps for _, cause in known]),
            Column("source", [cause.source for _, cause in known]),
        ),
        roomy=True,
    )


# ------------------------------------------------------------------ trend


def _trend(facts: WelderFacts) -> Section:
    heading, short = "Month by month", "Trend"
    trend = facts.trend
    if trend is None:
        nothing = Text(words.no_trend_sentence(facts))
        return Section("trend", heading, (nothing,), short)
    told = signal_sentences(trend)
    once = " Each place counts once here, whatever it weighs in the rate above."
    said = f"{trend_sentence(trend)}{once if facts.basis == 'unbiased' else ''}"
    blocks: list[Block] = [Text(said)]
    if told:
        blocks += [
            Text("A signal is a reason to look for a cause, in settings, fit-up and equipment as "
                 "well as in the welding. It is no verdict."),
            Bullets(tuple(Point(text) for text in told)),
        ]  # fmt: skip
    months = trend.months
    blocks += [
        Figure(
            "trend", chart_figures.chart_figure(months),
            "Share of rejected spots by month, with the limits of chance",
            "The grey bar of a month is where its rate lies by chance alone while nothing changes; "
            "the fewer spots, the longer. Dashed: all months together.",
            Table("Rejected by month, with the limits of chance", make.monthly(months)),
        ),
        Fold(
            "What has to be known to read the trend rightly",
            (Bullets(tuple(Point(text) for text in trend.remarks)),),
        ),
    ]  # fmt: skip
    return Section("trend", heading, tuple(blocks), short)


# ------------------------------------------------------------------ rejects, certificates


def _rejects(facts: WelderFacts) -> Section:
    rows = facts.rejects
    blocks: list[Block] = [Text(words.rejects_sentence(rows))]
    still = rows[rows["state"].isin(OPEN)] if len(rows) else rows
    if len(still):
        blocks += [Heading("Still open"), _rejects_table(still, "Open rejects")]
    if len(rows) > len(still):
        closed = rows.drop(still.index)
        blocks.append(
            Fold("Closed", (_rejects_table(closed, "Rejects that are closed"),))
        )  # fmt: skip
    return Section("rejects", "Rejects and their repair", tuple(blocks), "Repairs")


def _rejects_table(rows: pd.DataFrame, caption: str) -> Table:
    shared = rows["welders"].str.contains(", ", regex=False)
    place = [
        show.place(low, high) for low, high in zip(rows["from_mm"], rows["to_mm"], strict=True)
    ]
    return Table(
        caption,
        (
            make.text(rows, "joint", "joint"),
            Column("place", place, number=True),
            make.text(rows, "method", "method"),
            Column("found on", [show.day(day) for day in rows["found_on"]], number=True),
            make.text(rows, "state", "state"),
            make.number(rows, "open_days", "days open", make.counted),
            make.number(rows, "repairs", "repairs examined", make.counted),
            Column("charged to others too", ["yes" if some else "no" for some in shared]),
        ),
        roomy=True,
    )


def _tickets(facts: WelderFacts) -> Section:
    rows = facts.tickets
    blocks: list[Block] = [Text(words.tickets_sentence(facts))]
    if len(rows):
        blocks += [_tickets_table(rows), *_notes(rows)]
    if len(rows) or len(facts.outside):
        blocks.append(Text(words.outside_sentence(facts.outside)))
    if len(facts.outside):
        blocks.append(
            Fold("Deposits not covered, by the records", (_outside_table(facts.outside),))
        )  # fmt: skip
    return Section("tickets", "Certificates, and what lapses when", tuple(blocks), "Certificates")


def _tickets_table(rows: pd.DataFrame) -> Table:
    alive = rows["in_force"].astype(bool)
    ranges = zip(rows["thickness_min_mm"], rows["thickness_max_mm"], strict=True)
    return Table(
        "Certificates",
        (
            make.text(rows, "certificate", "certificate"),
            Column("process", [_called(code, PROCESSES) for code in rows["process"]]),
            make.text(rows, "standard", "standard"),
            Column("positions", rows["positions"].str.replace(";", ", ").fillna("all").tolist()),
            Column("thickness, mm", [_thickness(low, high) for low, high in ranges]),
            Column(
                "in force", ["yes" if one else "no" for one in alive], marked=(~alive).tolist()
            ),
            Column("last day", [show.day(day) for day in rows["lapses_on"]], number=True),
            make.text(rows, "because", "what ends it"),
        ),
        roomy=True,
    )  # fmt: skip


def _notes(rows: pd.DataFrame) -> tuple[Block, ...]:
    """Return what the reader of each certificate must know, where there is such."""
    noted = rows[rows["note"].fillna("") != ""]
    points = tuple(
        Point(f"{certificate}: {note}.")
        for certificate, note in noted[["certificate", "note"]].itertuples(index=False)
    )
    return (Bullets(points),) if points else ()


def _thickness(low: float, high: float) -> str:
    if pd.isna(low) and pd.isna(high):
        return "all"
    begin = "" if pd.isna(low) else f"{low:g}"
    return f"from {begin}" if pd.isna(high) else f"{begin or '0'} to {high:g}"


def _outside_table(rows: pd.DataFrame) -> Table:
    return Table(
        "Deposits not covered by a certificate on the day",
        (
            make.text(rows, "job", "job"),
            make.text(rows, "joint", "joint"),
            Column("date", [show.day(day) for day in rows["date"]], number=True),
            make.text(rows, "reason", "reason"),
        ),
        roomy=True,
    )


def _fair() -> Section:
    points = tuple(Point(text) for text in _FAIR)
    return Section("fair", "How to read this page", (Bullets(points),), "How to read it")
