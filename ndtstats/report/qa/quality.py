"""How good the welding is, and how sure that is: sections of the page for the QA lead."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.planning import noticed, worth_by_step
from ndtstats.rates import comparison_sentence, signal_sentences, trend_sentence
from ndtstats.report import chart_figures, figures, sentences
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
    Point,
    Section,
    Table,
    Text,
)
from ndtstats.report.qa.facts import QaFacts
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


def cut_told(number: int, what: str, which: str) -> str:
    """Return what to say of those that a figure has no line for; "" if it has all."""
    if number <= MOST_LINES:
        return ""
    return f" Drawn are the {MOST_LINES} of {number:,} {what} with {which}."


def rates_section(facts: QaFacts) -> Section:
    """Return how often welds are rejected, by welder, and how they compare."""
    rated = facts.rated
    heading = f"Reject rates by welder, {method_name(rated.method)}"
    others = sentences.others_sentence(rated.methods, rated.method)
    if rated.welders.empty:
        nothing = f"Nothing was examined by {method_name(rated.method)} for the first time yet."
        blocks: tuple[Block, ...] = (Text(sentences.together(nothing, others)),)
    else:
        blocks = (
            Text(comparison_sentence(rated.comparison)),
            Text(sentences.together(sentences.few_sentence(rated.welders), others)),
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
    cut = cut_told(len(rows), "welders", "the highest shrunk rates")
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


def trend_section(facts: QaFacts) -> Section:
    """Return what the charts say of the months."""
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
            *make.monthly(rows),
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


def hidden_section(facts: QaFacts) -> Section:
    """Return what is likely still hidden, by zone."""
    heading, short = "What is likely still hidden", "Hidden"
    found = facts.hidden
    if found is None:
        nothing = f"{facts.rated.method} examined nothing yet, so nothing can be said of it."
        return Section("hidden", heading, (Text(nothing),), short)
    rows = found.table
    cut = cut_told(len(rows), "zones", "most")
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


def worth_section(facts: QaFacts) -> Section:
    """Return what exposures buy: those planned, and further ones."""
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
