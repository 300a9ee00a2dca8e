"""The page for management, section by section, from its facts."""

from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.escalation import sentence as owed_sentence
from ndtstats.progress import Progress, silent
from ndtstats.register import Register
from ndtstats.report import chart_figures, figures, sentences
from ndtstats.report import formatting as show
from ndtstats.report import tables as make
from ndtstats.report.gather import LAPSE_DAYS
from ndtstats.report.management import words
from ndtstats.report.management.facts import (
    Costs,
    JobFacts,
    ManagementFacts,
    management_facts,
)
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
from ndtstats.statistics import hidden_sentence

#: Lines of a figure, those that ask most for a look; the table has them all.
_MOST_LINES = 25
#: Jobs whose trend is drawn: those with most rejects.
_MOST_TRENDS = 12


def management_page(
    register: Register,
    *,
    as_of: datetime | None = None,
    method: str | None = None,
    level: float = 0.95,
    cost_per_exposure: float | None = None,
    cost_per_repair: float | None = None,
    currency: str = "",
    progress: Progress = silent,
) -> Page:
    """Return the page for management, of all jobs.

    Parameters
    ----------
    as_of : datetime, optional
        What was known then; by default when the register last changed, so that the same register
        gives the same page.
    method : str, optional
        Method by which welders and jobs are compared; by default the one used most, other than by
        eye.
    level : float
        Confidence level of all bounds, except of what is hidden.
    cost_per_exposure, cost_per_repair : float, optional
        What one examination other than by eye, and one repair, costs; without them they are
        counted.
    currency : str
        Of the costs.
    progress : Progress
        Told as the work goes on.

    Raises
    ------
    UseError
        If the register has no jobs, or a cost is below 0.
    """
    costs = Costs(cost_per_exposure, cost_per_repair, currency)
    return page_of(
        management_facts(
            register, as_of=as_of, method=method, level=level, costs=costs, progress=progress
        )
    )


def page_of(facts: ManagementFacts) -> Page:
    """Return the page that tells some facts."""
    concern = words.of_concern(facts)
    return Page(
        file="management",
        kind="Weld examination: for management",
        title="All jobs" if len(facts.jobs) > 1 else f"Job {facts.jobs[0].job}",
        as_of=facts.as_of,
        headline=(
            words.total_sentence(facts),
            words.welders_sentence(facts, concern),
            words.between_sentence(facts.between),
            words.cost_sentence(facts),
            *_hidden_said(facts),
        ),
        sections=(
            _jobs(facts),
            _welders(facts, concern),
            _between(facts),
            _cost(facts),
            _trend(facts),
            _hidden(facts),
            _progress(facts),
            _lapsing(facts),
        ),
        provenance=facts.origin,
    )


def _named(job: JobFacts) -> str:
    return f"{job.job}: {job.title}" if job.title else job.job


def _jobs(facts: ManagementFacts) -> Section:
    points = tuple(
        Point(
            f"{sentences.rate_sentence(job.job, job.method, job.total)} "
            f"{owed_sentence(job.owed)} {sentences.extent_part(job.extents)}".strip()
        )
        for job in facts.jobs
    )
    rows = pd.DataFrame([_rate_of(job) for job in facts.jobs])
    table = Table(
        f"All jobs; bounds at {show.level(facts.level)} confidence",
        (
            make.text(rows, "job", "job"),
            make.text(rows, "method", "method"),
            make.number(rows, "rejected", "rejected", make.counted),
            make.number(rows, "examined", "examined", make.counted),
            make.number(rows, "rate", "rate", show.percent),
            make.bounds(rows, ("lower", "upper"), "bounds", show.percent),
            make.text(rows, "extents", "extents"),
            make.text(rows, "zones", "zones"),
        ),
        roomy=True,
    )
    return Section("jobs", "Job by job", (Bullets(points), table), "Jobs")


def _rate_of(job: JobFacts) -> dict[str, Any]:
    names = ("rejected", "examined", "rate", "lower", "upper")
    known = {name: float("nan") if job.total is None else job.total[name] for name in names}
    told = {"extents": words.extent_words(job), "zones": words.zones_words(job)}
    return {"job": _named(job), "method": job.method, **known, **told}


def _welders(facts: ManagementFacts, concern: pd.DataFrame) -> Section:
    table = facts.welders.table
    rejected, examined = table["rejected"].sum(), table["examined"].sum()
    usual = float(rejected / examined) if examined else 0.0
    nobody: tuple[Block, ...] = (Text(words.welders_sentence(facts, concern)),)
    points = tuple(
        Point(words.welder_sentence(row, len(table), facts.welders.limit or usual))
        for row in concern.itertuples()
    )
    told = (Bullets(points),) if points else nobody
    marked = table["welder"].isin(concern["welder"])
    shown = table.assign(marked=marked).head(_MOST_LINES)
    cut = (
        f" Drawn are the {len(shown)} of {len(table):,} farthest above."
        if len(table) > len(shown)
        else ""
    )
    figure = Figure(
        "welders",
        chart_figures.ratios_figure(shown),
        "Rejects observed by rejects expected of each welder, with bounds",
        "Each line is one welder: how many times the rejects that such work leads to he had, with "
        "bounds: the longer the line, the less is known. Dashed: as expected. Diamonds: of "
        f"concern.{cut}",
        _welders_table(facts, concern),
        empty="Nothing was rejected, so there is nothing to compare.",
    )
    remarks = Bullets(tuple(Point(text) for text in facts.welders.remarks))
    blocks = (*told, figure, Fold("What has to be known to read this rightly", (remarks,)))
    heading = "Welders of concern, and how sure that is"
    return Section("welders", heading, blocks, "Welders")


def _welders_table(facts: ManagementFacts, concern: pd.DataFrame) -> Table:
    rows = facts.welders.table
    # As text, also where nobody is of concern.
    sure = rows["welder"].map(concern.set_index("welder")["sure"]).astype("str")
    rows = rows.assign(jobs=rows["welder"].map(facts.works_on).fillna("–"), sure=sure.fillna("–"))
    return Table(
        f"Welders, allowing for what they had to weld; bounds at {show.level(facts.level)} "
        "confidence",
        (
            make.text(rows, "welder", "welder"),
            make.text(rows, "jobs", "jobs"),
            Column("concern", rows["sure"].tolist(), marked=sure.notna().tolist()),
            make.number(rows, "rejected", "rejected", make.counted),
            make.number(rows, "examined", "examined", make.counted),
            make.number(rows, "expected", "to be expected", make.one_decimal),
            make.number(rows, "ratio", "observed ÷ expected", make.two_decimals),
            make.bounds(rows, ("ratio_lower", "ratio_upper"), "bounds", make.two_decimals),
            make.number(rows, "above", "above all together", words.probability),
        ),
        roomy=True,
    )


def _between(facts: ManagementFacts) -> Section:
    heading = "Jobs compared fairly"
    between = facts.between
    rows = between.table
    if len(rows) < 2:
        nothing = Text(words.between_sentence(between))
        return Section("fair", heading, (nothing,), "Jobs compared")
    figure = Figure(
        "fair",
        chart_figures.ratios_figure(rows.head(_MOST_LINES), "job"),
        "Rejects observed by rejects expected of each job, with bounds",
        "Category, process, position and thickness of the work are allowed for; what differs "
        "beyond them is not. Dashed: as expected.",
        _between_table(rows, facts.level),
        empty="Nothing was rejected, so there is nothing to compare.",
    )
    remarks = Bullets(tuple(Point(text) for text in between.remarks))
    blocks = (
        Text(words.between_sentence(between)),
        figure,
        Fold("What has to be known to read this rightly", (remarks,)),
    )
    return Section("fair", heading, blocks, "Jobs compared")


def _between_table(rows: pd.DataFrame, level: float) -> Table:
    return Table(
        f"Jobs, allowing for what was welded; bounds at {show.level(level)} confidence",
        (
            make.text(rows, "job", "job"),
            make.number(rows, "rejected", "rejected", make.counted),
            make.number(rows, "examined", "examined", make.counted),
            make.number(rows, "rate", "rate", show.percent),
            *make.compared(rows),
        ),
        roomy=True,
    )


def _cost(facts: ManagementFacts) -> Section:
    costs = facts.costs
    rows = pd.DataFrame([_cost_of(job, costs) for job in facts.jobs])
    priced = costs.per_exposure is not None or costs.per_repair is not None
    in_money = f", {costs.currency}" if costs.currency else ""
    amounts = (
        tuple(
            make.number(rows, name, f"cost {when}{in_money}", show.rounded)
            for name, when in (("spent", "so far"), ("ahead", "to come"))
        )
        if priced
        else ()
    )
    table = Table(
        "Exposures and repairs, so far and to come",
        (
            make.text(rows, "job", "job"),
            make.number(rows, "made", "exposures so far", make.counted),
            make.number(rows, "repaired", "repairs so far", make.counted),
            make.number(rows, "planned", "exposures planned", make.counted),
            make.number(rows, "owed", "examinations owed", make.counted),
            make.number(rows, "repairs", "repairs owed", make.counted),
            make.number(rows, "likely", "repairs likely besides", make.one_decimal),
            *amounts,
        ),
        roomy=True,
    )
    how = (
        "To come is what is planned and owed today, and the repairs that the planned exposures "
        "should lead to; extra examinations that their rejects will set in motion come on top."
    )
    asked = "" if priced else " Give the cost of an exposure and of a repair to see money."
    blocks = (Text(words.cost_sentence(facts)), Text(how + asked, note=True), table)
    return Section("cost", "What examination and repair cost", blocks, "Cost")


def _cost_of(job: JobFacts, costs: Costs) -> dict[str, Any]:
    owed, repairs = job.owed_examinations, job.owed_repairs
    return {
        "job": job.job, "made": job.made, "repaired": job.repaired, "planned": job.planned,
        "owed": owed, "repairs": repairs, "likely": job.expected_repairs,
        "spent": words.total_cost(costs, job.made, job.repaired),
        "ahead": words.total_cost(costs, job.planned + owed, repairs + job.expected_repairs),
    }  # fmt: skip


def _trend(facts: ManagementFacts) -> Section:
    def rejects(job: JobFacts) -> float:
        return 0.0 if job.total is None else float(job.total["rejected"])

    examined = [job for job in facts.jobs if len(job.months)]
    drawn = sorted(examined, key=rejects, reverse=True)[:_MOST_TRENDS]
    blocks: list[Block] = [] if drawn else [Text("Nothing was examined yet.")]
    if len(examined) > len(drawn):
        blocks.append(Text(f"The {len(drawn)} of {len(examined)} jobs with most rejects."))
    for number, job in enumerate(drawn, 1):
        blocks += [Heading(_named(job)), _months(job, number, facts.level)]
    return Section("trend", "Reject rate by month, job by job", tuple(blocks), "Trend")


def _months(job: JobFacts, number: int, level: float) -> Figure:
    return Figure(
        f"trend-{number}", figures.trend_figure(job.months),
        f"Reject rate of job {job.job} by month, with bounds",
        "Each month with its bounds. Bounds that overlap widely show no trend; months with few "
        "examinations have long ones.",
        make.rates_table(job.months, "month", f"Job {job.job}, {job.method}, by month", level),
        folded=True,
    )  # fmt: skip


def _hidden_said(facts: ManagementFacts) -> tuple[str, ...]:
    if facts.hidden is None:
        return ()
    said = hidden_sentence(facts.hidden.total.to_dict(), facts.method)
    # Behind "Likely still hidden:" it goes on in the same sentence.
    return (f"Likely still hidden: {said[:1].lower()}{said[1:].replace(': ', ', ', 1)}",)


def _hidden(facts: ManagementFacts) -> Section:
    heading, found = "What is likely still hidden", facts.hidden
    if found is None:
        nothing = Text(f"{facts.method} examined nothing yet, so nothing can be said of it.")
        return Section("hidden", heading, (nothing,), "Hidden")
    bound = show.level(float(found.total["level"]))
    figure = Figure(
        "hidden",
        chart_figures.hidden_figure(found.table.head(_MOST_LINES), "job"),
        "Rejectable imperfections likely hidden in each job, with the bound they stay below",
        f"Bars: expected. Lines: no more than that with {bound} probability.",
        make.hidden_table(found.table, "job"),
        empty="Everything was examined.",
    )
    said = hidden_sentence(found.total.to_dict(), facts.method)
    blocks = (
        Text(f"{said} What {facts.method} missed where it did look comes on top."),
        figure,
        Bullets(tuple(Point(text) for text in found.remarks)),
    )
    return Section("hidden", heading, blocks, "Hidden")


def _progress(facts: ManagementFacts) -> Section:
    rows = pd.DataFrame(
        [
            {
                "job": _named(job),
                "extents": words.extent_words(job),
                "zones": words.zones_words(job),
            }
            for job in facts.jobs
        ]
    )
    table = Table(
        "Extents met and zones released, by job",
        tuple(make.text(rows, name, name) for name in ("job", "extents", "zones")),
    )
    blocks: list[Block] = [table]
    blocks += [_zones(job) for job in facts.jobs if len(job.zones)]
    return Section("progress", "Extent and release", tuple(blocks), "Release")


def _zones(job: JobFacts) -> Fold:
    rows = job.zones
    table = Table(
        f"Zones of job {job.job}",
        (
            make.text(rows, "zone", "zone"),
            make.text(rows, "milestone", "next step"),
            make.number(rows, "joints", "joints", make.counted),
            make.number(rows, "length_mm", "weld length", show.metres),
            Column(
                "state",
                rows["state"].tolist(),
                marked=rows["state"].isin(["hindered", "signed, but"]).tolist(),
            ),
            make.number(rows, "hindered", "in the way", make.counted),
            make.text(rows, "checks", "what"),
        ),
        roomy=True,
    )
    return Fold(f"Zones of job {job.job}: {words.zones_words(job)}", (table,))  # fmt: skip


def _lapsing(facts: ManagementFacts) -> Section:
    rows = facts.lapsing
    said = sentences.lapsing_sentence(rows, LAPSE_DAYS)
    blocks = (Text(said), make.lapsing_table(rows)) if len(rows) else (Text(said),)
    return Section("lapsing", "Qualifications about to lapse", blocks, "Qualifications")
