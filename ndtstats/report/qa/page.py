"""The page for the QA lead, section by section, from its facts."""

from datetime import datetime

import pandas as pd
from markupsafe import Markup

from ndtstats.escalation import sentence as owed_sentence
from ndtstats.extent import sentence as extent_sentence
from ndtstats.progress import Progress, silent
from ndtstats.rates import comparison_sentence
from ndtstats.register import Register
from ndtstats.report import figures, sentences
from ndtstats.report import formatting as show
from ndtstats.report import tables as make
from ndtstats.report.gather import LAPSE_DAYS
from ndtstats.report.marks import marks_sentence
from ndtstats.report.page import (
    Block,
    Bullets,
    Column,
    Figure,
    Link,
    Page,
    Partial,
    Point,
    Section,
    Table,
    Text,
)
from ndtstats.report.qa.facts import QaFacts, qa_facts
from ndtstats.report.qa.quality import (
    MOST_LINES,
    cut_told,
    hidden_section,
    rates_section,
    trend_section,
    worth_section,
)
from ndtstats.report.qa.told import causes_of, kinds_of
from ndtstats.report.strips import strip, zone_strip

#: Where a decision is told of more, in words.
_MORE = {
    "owed": "See what is owed", "extent": "See the extents", "strips": "See the joints",
    "warnings": "See the warnings", "lapsing": "See the qualifications",
    "rates": "See the comparison",
}  # fmt: skip


def qa_page(
    register: Register,
    *,
    job: str | None = None,
    method: str | None = None,
    level: float = 0.95,
    as_of: datetime | None = None,
    progress: Progress = silent,
) -> Page:
    """Return the page for the welding QA lead.

    Parameters
    ----------
    job : str, optional
        The job; the only one if left out.
    method : str, optional
        Method of the rates; by default the volumetric or surface method used most.
    level : float
        Confidence level of all bounds, except of what is hidden.
    as_of : datetime, optional
        What was known then; by default when the register last changed, so that the same register
        gives the same page.
    progress : Progress
        Told as the work goes on.
    """
    return page_of(
        qa_facts(
            register, job=job, method=method, level=level, as_of=as_of, progress=progress
        )
    )  # fmt: skip


def page_of(facts: QaFacts) -> Page:
    """Return the page that tells some facts."""
    named = f"Job {facts.job}"
    return Page(
        file=f"qa-{facts.job}",
        kind="Weld examination: for the welding QA lead",
        title=f"{named}: {facts.title}" if facts.title else named,
        as_of=facts.as_of,
        headline=(_headline(facts),),
        sections=(
            _decide(facts),
            _owed(facts),
            _extent(facts),
            rates_section(facts),
            trend_section(facts),
            _repairs(facts),
            hidden_section(facts),
            worth_section(facts),
            _strips(facts),
            _lapsing(facts),
            _warnings(facts),
        ),
        provenance=facts.origin,
    )


def _headline(facts: QaFacts) -> str:
    rated = facts.rated
    rate = sentences.rate_sentence(facts.job, rated.method, rated.total)
    short = sentences.extent_part(facts.extents)
    return sentences.together(rate, owed_sentence(facts.owed), short)


def _extent_said(facts: QaFacts) -> str:
    return extent_sentence(facts.extents) if len(facts.extents) else "No rules are in force."


def _decide(facts: QaFacts) -> Section:
    wanted = sentences.decisions(
        owed=owed_sentence(facts.owed), extents=facts.extents, extent=_extent_said(facts),
        planned=facts.strips.planned, warnings=len(facts.warnings),
        lapsing=sentences.lapsing_sentence(facts.lapsing, LAPSE_DAYS) if len(facts.lapsing) else "",
        apart=comparison_sentence(facts.rated.comparison) if _stands_out(facts) else "",
    )  # fmt: skip
    points = tuple(
        Point(one.text, Link(_MORE[one.anchor], f"#{one.anchor}")) for one in wanted
    )  # fmt: skip
    nothing = (
        "Nothing: nothing is owed, all extents are met, no welder stands out above, no "
        "qualification is about to lapse, and no warning stands."
    )
    blocks: tuple[Block, ...] = (Bullets(points) if points else Text(nothing),)
    return Section("decide", "What needs a decision today", blocks, "To decide")


def _stands_out(facts: QaFacts) -> bool:
    return bool((facts.rated.comparison.table["stands_out"] == "high").any())


def _owed(facts: QaFacts) -> Section:
    causes, left = causes_of(facts.owed)
    said = owed_sentence(facts.owed)
    blocks: list[Block] = [Text(said)]
    if causes:
        more = "Each line is one cause, with all that it still asks for by the procedure of the "
        blocks = [
            Text(f"{said} {more}rules."),
            Partial("owed.html.j2", {"causes": causes, "left": left}),
        ]
    return Section("owed", "What is owed", tuple(blocks), "Owed")


def _extent(facts: QaFacts) -> Section:
    rows, drawn, table = facts.extents, None, None
    if len(rows):
        drawn = figures.extent_figure(_least_met(rows))
        table = _extent_table(rows)
    figure = Figure(
        "extent", drawn, "Extent achieved in per cent of what each rule requires",
        "The line is what is required. Green: met; orange and hatched: short. A bar ends at "
        f"150 %; its figure stands in it.{cut_told(len(rows), 'rules', 'least achieved')}",
        table,
    )  # fmt: skip
    blocks = (Text(_extent_said(facts)), figure)
    return Section("extent", "Extent: required against achieved", blocks, "Extent")


def _least_met(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rules that are met least, as many as a figure has lines, in their order."""
    share = (rows["achieved"] / rows["required"]).sort_values(kind="stable")
    return rows.loc[sorted(share.index[:MOST_LINES])]


def _extent_table(rows: pd.DataFrame) -> Table:
    def amounts(name: str) -> list[str]:
        pairs = zip(rows[name], rows["unit"], strict=True)
        return [show.amount(value, unit) if value else "–" for value, unit in pairs]

    return Table(
        "Extent by rule; lengths are unions of examined intervals",
        (
            make.text(rows, "rule", "rule"),
            make.text(rows, "category", "category"),
            make.text(rows, "method", "method"),
            make.number(rows, "joints", "joints", make.counted),
            make.number(rows, "length_mm", "weld length", show.metres),
            Column("required", amounts("required"), number=True),
            Column("achieved", amounts("achieved"), number=True),
            Column("missing", amounts("missing"), number=True),
            Column("state", rows["state"].tolist(), marked=(rows["state"] == "short").tolist()),
            Column("note", rows["note"].fillna("").tolist()),
        ),
        roomy=True,
    )


def _repairs(facts: QaFacts) -> Section:
    rows = facts.aside
    table = Table(
        f"Counted apart from the rates; bounds at {show.level(facts.level)} confidence",
        (
            make.text(rows, "what", "what"),
            make.number(rows, "count", "number", make.counted),
            make.number(rows, "of", "of", make.counted),
            make.number(rows, "rate", "share", show.percent),
            make.bounds(rows, ("lower", "upper"), "bounds", show.percent),
        ),
    )
    said = Text(sentences.repairs_sentence(rows, facts.rated.method))
    return Section("repairs", "Repairs, re-shoots, not done", (said, table), "Repairs")


def _strips(facts: QaFacts) -> Section:
    heading, short = "Zones and joints, to scale", "Zones and joints"
    shown = facts.strips
    if not shown.joints:
        nothing = Text("No joint has been examined yet, other than by eye.")
        return Section("strips", heading, (nothing,), short)
    joints = [
        (one, Markup(strip(one.length_mm, one.examined, one.found, one.planned, one.owed)))  # noqa: S704
        for one in shown.joints
    ]
    zones = [
        (one, marks_sentence(one.marks), Markup(zone_strip(one.lengths_mm, one.marks)))  # noqa: S704
        for one in shown.zones
    ]
    data = {
        "joints": joints, "joints_left": shown.left, "zones": zones, "zones_left": shown.zones_left,
    }  # fmt: skip
    return Section("strips", heading, (Partial("strips.html.j2", data),), short)


def _lapsing(facts: QaFacts) -> Section:
    rows = facts.lapsing
    said = Text(sentences.lapsing_sentence(rows, LAPSE_DAYS))
    blocks = (said, make.lapsing_table(rows)) if len(rows) else (said,)
    return Section("lapsing", "Qualifications about to lapse", blocks, "Qualifications")


def _warnings(facts: QaFacts) -> Section:
    number = len(facts.warnings)
    if not number:
        return Section("warnings", "Warnings", (Text("None."),), "Warnings")
    kinds = kinds_of(facts.warnings)
    rows = kinds["count"].map(lambda count: "row" if count == 1 else "rows")
    stands = (kinds["column"] + ": " + kinds["values"]).tolist()
    where = (kinds["file"] + "; " + rows + " " + kinds["rows"]).tolist()
    table = Table(
        "Warnings raised while loading, those of one kind and file together",
        (
            make.text(kinds, "reason", "what is wrong"),
            make.number(kinds, "count", "number", make.counted),
            Column("column: what stands there", stands),
            Column("file, rows", where),
            make.text(kinds, "remedy", "what would be right"),
        ),
        roomy=True,
    )
    said = (
        f"{show.count(number, 'warning')} raised while loading; each stands until somebody deals "
        "with it."
    )
    return Section("warnings", "Warnings", (Text(said), table), "Warnings")
