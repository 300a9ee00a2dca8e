"""The page for the QA lead, section by section, from its facts."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from ndtstats.escalation import sentence as owed_sentence
from ndtstats.extent import sentence as extent_sentence
from ndtstats.planning import noticed, worth_by_step
from ndtstats.progress import Progress, silent
from ndtstats.rates import comparison_sentence, signal_sentences, trend_sentence
from ndtstats.register import Register
from ndtstats.report import chart_figures, figures, sentences
from ndtstats.report import formatting as show
from ndtstats.report import tables as make
from ndtstats.report.gather import LAPSE_DAYS, method_name
from ndtstats.report.marks import marks_sentence
from ndtstats.report.page import (
    Block,
    Bullets,
    Column,
    Figure,
    Fold,
    Heading,
    Link,
    Page,
    Partial,
    Point,
    Section,
    Table,
    Text,
)
from ndtstats.report.qa.facts import QaFacts, qa_facts
from ndtstats.report.qa.told import causes_of, kinds_of
from ndtstats.report.strips import strip, zone_strip
from ndtstats.statistics import hidden_sentence

#: Lines of a figure, those that ask most for a look, so that it fits on a sheet; the table has all.
MOST_LINES = 22
#: Signals told in sentences, the latest; the table has them all.
_MOST_SIGNALS = 10
#: Exposures from one row of the table of what they buy to the next.
_STEP = 10
#: True shares of bad places in the table of who is noticed, and in its figure.
_RATES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5)
_RATES_DRAWN = np.linspace(0, 0.5, 51)

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
            _rates(facts),
            _trend(facts),
            _repairs(facts),
            _hidden(facts),
            _worth(facts),
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
    return _together(rate, owed_sentence(facts.owed), short)


def _together(*sentences_: str) -> str:
    return " ".join(filter(None, sentences_))


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
        f"150 %; its figure stands in it.{_cut(len(rows), 'rules', 'least achieved')}",
        table,
    )  # fmt: skip
    blocks = (Text(_extent_said(facts)), figure)
    return Section("extent", "Extent: required against achieved", blocks, "Extent")


def _least_met(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rules that are met least, as many as a figure has lines, in their order."""
    share = (rows["achieved"] / rows["required"]).sort_values(kind="stable")
    return rows.loc[sorted(share.index[:MOST_LINES])]


def _cut(number: int, what: str, which: str) -> str:
    """Return what to say of those that a figure has no line for; "" if it has all."""
    if number <= MOST_LINES:
        return ""
    return f" Drawn are the {MOST_LINES} of {number:,} {what} with {which}."


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


def _rates(facts: QaFacts) -> Section:
    rated = facts.rated
    heading = f"Reject rates by welder, {method_name(rated.method)}"
    others = sentences.others_sentence(rated.methods, rated.method)
    if rated.welders.empty:
        nothing = f"Nothing was examined by {method_name(rated.method)} for the first time yet."
        blocks: tuple[Block, ...] = (Text(_together(nothing, others)),)
    else:
        blocks = (
            Text(comparison_sentence(rated.comparison)),
            Text(_together(sentences.few_sentence(rated.welders), others)),
            Text(sentences.basis_sentence(rated.basis)),
            _rates_figure(facts),
            *_everything(facts),
            *_compared(facts),
        )
    return Section("rates", heading, blocks, "Rates by welder")


def _rates_figure(facts: QaFacts) -> Figure:
    rated = facts.rated
    drawn_together = rated.comparison.table.set_index("welder")[
        ["shrunk", "shrunk_lower", "shrunk_upper"]
    ].astype("float64")
    rows = rated.welders.join(drawn_together, on="welder")
    shown = rows.sort_values("shrunk", ascending=False, kind="stable").head(MOST_LINES)
    cut = _cut(len(rows), "welders", "the highest shrunk rates")
    table = make.rates_table(
        rated.welders, "welder", f"Reject rates by welder, {rated.basis} basis", facts.level
    )
    return Figure(
        "rates",
        figures.rates_figure(shown, rated.usual),
        "Reject rate of each welder with bounds",
        "Each line is one welder with his bounds: the longer it is, the less is known. Diamonds: "
        f"his shrunk rate. Dashed: all together.{cut}",
        table,
    )


def _everything(facts: QaFacts) -> tuple[Block, ...]:
    if facts.rated.basis != "unbiased":
        return ()
    title = "Reject rates by welder, described basis"
    table = make.rates_table(facts.rated.described, "welder", title, facts.level)
    summary = "Everything that was examined, targeted and extra places included (described basis)"
    return (Fold(summary, (table,)),)


def _compared(facts: QaFacts) -> tuple[Block, ...]:
    compared = facts.rated.comparison
    if compared.table.empty:
        return ()
    figure = Figure(
        "funnel", chart_figures.funnel_figure(compared.table),
        "Rejects observed by rejects expected of each welder, with the limits of chance",
        "Each mark is one welder; its bar is the funnel there: dark, where 19 of 20 lie by chance "
        "alone; light, where 499 of 500 do. Who lies beyond is a diamond and is named.",
        _compared_table(compared.table, facts.level),
        empty="Nothing was rejected, so there is nothing to compare.",
    )  # fmt: skip
    remarks = tuple(Point(text) for text in compared.remarks)
    return (
        Heading("Fairly compared: what they had to weld allowed for"),
        figure,
        Fold("What has to be known to read the comparison rightly", (Bullets(remarks),)),
    )


def _compared_table(rows: pd.DataFrame, level: float) -> Table:
    beyond = (rows["funnel"] != "within").tolist()
    return Table(
        f"Welders compared; bounds at {show.level(level)} confidence",
        (
            make.text(rows, "welder", "welder"),
            make.number(rows, "rejected", "rejected", make.counted),
            make.number(rows, "examined", "examined", make.counted),
            *make.compared(rows),
            Column("funnel", rows["funnel"].tolist(), marked=beyond),
            make.number(rows, "shrunk", "shrunk rate", show.percent),
            make.bounds(rows, ("shrunk_lower", "shrunk_upper"), "bounds", show.percent),
        ),
        roomy=True,
    )


def _trend(facts: QaFacts) -> Section:
    trend = facts.rated.trend
    if trend.months.empty:
        nothing = Text("There is no month with a first examination yet.")
        return Section("trend", "Trend by month", (nothing,), "Trend")
    told = signal_sentences(trend)
    latest = tuple(Point(text) for text in told[-_MOST_SIGNALS:])
    more = len(told) - len(latest)
    blocks: list[Block] = [Text(trend_sentence(trend))]
    if latest:
        blocks.append(Bullets(latest))
    if more:
        blocks.append(Text(f"{show.count(more, 'earlier signal')}: in the table of signals."))
    blocks += [
        Figure(
            "trend", chart_figures.chart_figure(trend.months),
            "Share of rejected spots by month, with the limits of chance",
            "The grey bar of a month is where its rate lies by chance alone while nothing "
            "changes; the fewer spots, the longer. A diamond with a word beyond it is a signal. "
            "Dashed: all months together.",
            _months_table(trend.months),
        ),
        Figure(
            "ewma", chart_figures.chart_figure(trend.months, "EWMA"),
            "Moving average of the months, with its limits",
            "A slow drift shows here before it does in single months: moving average (EWMA) of "
            "how far each month lies from all together. Its numbers are in the table above.",
            None,
        ),
        *_signals(trend.signals),
        Fold(
            "What has to be known to read the trend rightly",
            (Bullets(tuple(Point(text) for text in trend.remarks)),),
        ),
    ]  # fmt: skip
    return Section("trend", "Trend by month", tuple(blocks), "Trend")


def _months_table(rows: pd.DataFrame) -> Table:
    signal = rows["signal"].where(rows["signal"] != "", rows["ewma_signal"])
    return Table(
        "Rejected by month, with the limits of chance",
        (
            make.text(rows, "month", "month"),
            make.number(rows, "rejected", "rejected", make.counted),
            make.number(rows, "examined", "examined", make.counted),
            make.number(rows, "share", "rate", show.percent),
            make.bounds(rows, ("lower", "upper"), "by chance", show.percent),
            make.number(rows, "per_m", "indications per m", make.two_decimals),
            make.number(rows, "ewma", "EWMA", make.two_decimals),
            make.number(rows, "ewma_upper", "its limit ±", make.two_decimals),
            Column("signal", signal.replace("", "no").tolist(), marked=(signal != "").tolist()),
        ),
    )


def _signals(rows: pd.DataFrame) -> tuple[Block, ...]:
    if rows.empty:
        return ()
    table = Table(
        "Signals, and the rejects behind each",
        (
            make.text(rows, "when", "when"),
            make.text(rows, "chart", "chart"),
            make.text(rows, "welder", "welder"),
            make.text(rows, "direction", "direction"),
            make.number(rows, "rejected", "rejected", make.counted),
            make.number(rows, "examined", "examined", make.counted),
            make.text(rows, "examinations", "rejects behind it"),
        ),
        roomy=True,
    )
    return (Fold("All signals, and the rejects behind each", (table,)),)


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


def _hidden(facts: QaFacts) -> Section:
    heading, short = "What is likely still hidden", "Hidden"
    found = facts.hidden
    if found is None:
        nothing = f"{facts.rated.method} examined nothing yet, so nothing can be said of it."
        return Section("hidden", heading, (Text(nothing),), short)
    rows = found.table
    cut = _cut(len(rows), "zones", "most")
    figure = Figure(
        "hidden", chart_figures.hidden_figure(rows.head(MOST_LINES)),
        "Rejectable imperfections likely hidden in each zone, with the bound they stay below",
        "Bars: expected. Lines: no more than that with "
        f"{show.level(float(found.total['level']))} probability.{cut}",
        make.hidden_table(rows, "zone"),
        empty="Everything was examined.",
    )  # fmt: skip
    blocks = (
        Text(f"{hidden_sentence(found.total.to_dict(), facts.rated.method)} What "
             f"{facts.rated.method} missed where it did look comes on top."),
        figure,
        Bullets(tuple(Point(text) for text in found.remarks)),
    )  # fmt: skip
    return Section("hidden", heading, blocks, short)


def _worth(facts: QaFacts) -> Section:
    worth, heading, short = facts.worth, "What exposures buy", "What exposures buy"
    if worth is None:
        nothing = Text("No plan by the rules in force looks inside a weld yet.")
        return Section("worth", heading, (nothing,), short)
    said = (
        f"{worth.sentence} Expected, not promised: {worth.likelihood.sentence} What an "
        "examination misses is not reckoned with."
    )
    figure = Figure(
        "value", figures.value_figure(worth.curve, worth.planned),
        "Share of imperfections found and chance that every bad welder is noticed, by exposures",
        "To the right of the dotted line: exposures beyond the plans, spent where they find most. "
        "Where the lines flatten, more exposures buy little.",
        _steps_table(worth_by_step(worth, _STEP)),
    )  # fmt: skip
    return Section("worth", heading, (Text(said), figure, *_noticed(worth)), short)


def _steps_table(steps: pd.DataFrame) -> Table:
    return Table(
        "What exposures buy, step by step",
        (
            make.number(steps, "exposures", "exposures", make.counted),
            Column("spent on", steps["part"].replace("", "–").tolist()),
            make.number(steps, "found", "found", make.two_decimals),
            make.number(steps, "buys", "last step found", make.two_decimals),
            make.number(steps, "caught", "all above the limit noticed", show.percent),
            make.number(steps, "hidden", "still hidden", make.one_decimal),
        ),
    )


def _noticed(worth: Any) -> tuple[Block, ...]:
    rows = noticed(worth, _RATES)
    if rows.empty:
        return ()
    bad = Column("bad places", [f"{100 * rate:.0f} %" for rate in rows["rate"]], number=True)
    chances = tuple(
        make.number(rows, name, name, show.percent) for name in rows.columns.drop("rate")
    )
    figure = Figure(
        "noticed", figures.noticed_figure(noticed(worth, _RATES_DRAWN)),
        "Chance that a welder is noticed by his true share of bad places",
        "Each line is one welder: the fewer places of his are looked into, the worse he can be "
        "and pass unnoticed.",
        Table("Chance of being noticed, by the true share of bad places", (bad, *chances)),
    )  # fmt: skip
    return (
        Heading("Would a bad welder be noticed?"),
        Text("By all places of his that were or will be looked into: the welder with the fewest "
             "of them, one in the middle, and the one with most. Noticed means that at least one "
             "of them is rejected."),
        figure,
    )  # fmt: skip


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
