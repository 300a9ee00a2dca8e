"""Sentences of the page for management: what is known, how sure that is, what it costs."""

from typing import Any

import pandas as pd

from ndtstats.rates.compare import Comparison
from ndtstats.report import formatting as show
from ndtstats.report.management.facts import Costs, JobFacts, ManagementFacts
from ndtstats.report.sentences import SMALL

#: How sure it is that a welder is worse than the work he had, the surest first.
SURE, LIKELY, SIGNAL = "sure", "likely, not proven", "a signal, to be looked into"


def of_concern(facts: ManagementFacts) -> pd.DataFrame:
    """Return the welders of concern, the surest first.

    Returns
    -------
    DataFrame
        Rows of the comparison, with ``sure``: :data:`SURE` (stands out after allowing for all
        comparisons), :data:`LIKELY` (beyond the inner funnel, or above all together with the
        probability of the page) or :data:`SIGNAL` (his CUSUM was at its limit); and ``jobs``.
    """
    table = facts.welders.table
    high = table["ratio"] > 1
    signalled = set(facts.trend.welders.query("signals > 0")["welder"])
    likely = high & ((table["funnel"] != "within") | (table["above"] >= facts.level))
    sure = pd.Series("", table.index, dtype="str")
    sure = sure.mask(high & table["welder"].isin(signalled), SIGNAL).mask(likely, LIKELY)
    sure = sure.mask(table["stands_out"] == "high", SURE)
    rows = table.assign(sure=sure, jobs=table["welder"].map(facts.works_on).fillna("–"))
    order = sure.map({SURE: 0, LIKELY: 1, SIGNAL: 2})
    # A column given to a frame without rows would give it rows.
    kept = rows.assign(order=order)[sure != ""]
    kept = kept.sort_values(["order", "adjusted_p"], kind="stable")
    return kept.drop(columns="order").reset_index(drop=True)


def welder_sentence(row: Any, compared: int, usual: float) -> str:
    """Return what is known of one welder of concern, and how sure it is.

    Parameters
    ----------
    row : row of :func:`of_concern`
        As from ``itertuples``.
    compared : int
        How many welders were compared.
    usual : float
        Share of rejected spots of all.
    """
    counted = (
        f"Welder {row.welder} (job {row.jobs}): {row.rejected:,.0f} of "
        f"{show.count(row.examined, 'spot')} rejected where such work leads to about "
        f"{row.expected:,.1f}, {row.ratio:.1f} times what was to be expected (bounds "
        f"{row.ratio_lower:.1f} and {row.ratio_upper:.1f})."
    )
    above = (
        f" His own rate lies above that of all together ({show.percent(usual)}) with "
        f"{probability(row.above)} probability."
        if pd.notna(row.above) else ""
    )  # fmt: skip
    small = " That is a small sample." if row.examined < SMALL else ""
    return f"{counted}{above} {_how_sure(row, compared)}{small}"


def _how_sure(row: Any, compared: int) -> str:
    if row.sure == SURE:
        return f"Sure: chance does not explain it, although {compared:,} welders were compared."
    if row.sure == LIKELY:
        return (
            f"Likely, not proven: of {compared:,} welders compared, one may look so by chance "
            f"(adjusted p {row.adjusted_p:.2g})."
        )
    return (
        "A signal: his rejects came close together at some time; to be looked into, no finding yet."
    )


def probability(value: float) -> str:
    """Return a probability in words that are never surer than it is.

    Examples
    --------
    >>> probability(0.876), probability(0.998)
    ('88 %', 'more than 99 %')
    """
    if value > 0.99:
        return "more than 99 %"
    return "less than 1 %" if value < 0.01 else f"{100 * value:.0f} %"


def total_sentence(facts: ManagementFacts) -> str:
    """Return how often all jobs together are rejected, and how sure that is."""
    jobs, row = show.count(len(facts.jobs), "job"), facts.total
    if row is None or row["examined"] == 0:
        return f"{jobs}; nothing has been examined by {facts.method} yet."
    chosen = " chosen by rule or by chance" if row["basis"] == "unbiased" else ""
    whose = "of all welds" if row["basis"] == "unbiased" else "of what was examined"
    few = " That is a small sample." if row["examined"] < SMALL else ""
    return (
        f"{jobs}: {row['rejected']:,.0f} of {show.count(row['examined'], 'spot')}{chosen} "
        f"{'was' if row['rejected'] == 1 else 'were'} rejected at first examination by "
        f"{facts.method}. The reject rate {whose} is about {show.percent(row['rate'])}; with "
        f"{show.level(row['level'])} confidence it lies between {show.percent(row['lower'])} and "
        f"{show.percent(row['upper'])}.{few}"
    )


def welders_sentence(facts: ManagementFacts, concern: pd.DataFrame) -> str:
    """Return which welders are of concern, in one sentence."""
    compared = len(facts.welders.table)
    if not compared:
        return "Welders: nothing was examined, so nothing is known of any."
    if concern.empty:
        return (
            f"Welders: none of {show.count(compared, 'welder')} is of concern by what was found. "
            "That is no proof that all are good."
        )
    shown = concern.head(3)
    names = "; ".join(
        [
            f"{row.welder} (job {row.jobs}), {row.ratio:.1f} times the rejects to be expected: "
            f"{row.sure}"
            for row in shown.itertuples()
        ]
    )
    more = len(concern) - len(shown)
    rest = f"; and {more:,} more" if more else ""
    return f"Of concern among {show.count(compared, 'welder')}: {names}{rest}."


def between_sentence(between: Comparison) -> str:
    """Return whether a job stands out from what its work leads to."""
    table = between.table
    if len(table) < 2:
        return "Jobs: fewer than two were examined, so there is nothing to compare."
    out = table[table["stands_out"] != ""]
    if len(out):
        told = [
            f"{row.job} ({row.ratio:.1f} times what was to be expected)"
            for row in out.itertuples()
        ]  # fmt: skip
        return (
            f"Jobs: {show.listed(told)} stands out from what such work leads to."
            if len(told) == 1
            else f"Jobs: {show.listed(told)} stand out from what such work leads to."
        )
    if not table["rejected"].any():
        return "Jobs: nothing was rejected in any, which is not the same as no defect."
    top: Any = next(table.itertuples())
    none = "neither" if len(table) == 2 else f"none of {len(table):,}"
    return (
        f"Jobs: after allowing for what each had to weld, {none} stands out. "
        f"Farthest above: {top.job}, {top.ratio:.1f} times what was to be expected (bounds "
        f"{top.ratio_lower:.1f} and {top.ratio_upper:.1f})."
    )


def cost_sentence(facts: ManagementFacts) -> str:
    """Return what examination and repair have cost, and what is still to come."""
    jobs, costs = facts.jobs, facts.costs
    made, repaired = (sum(getattr(job, name) for job in jobs) for name in ("made", "repaired"))
    planned, owed, repairs = (
        sum(getattr(job, name) for job in jobs)
        for name in ("planned", "owed_examinations", "owed_repairs")
    )
    likely = sum(job.expected_repairs for job in jobs)
    so_far = money(costs, made, repaired)
    ahead = money(costs, planned + owed, repairs + likely)
    said = (
        f"So far {show.count(made, 'exposure')} and {show.count(repaired, 'repair')}"
        f"{f', {so_far}' if so_far else ''}. To come: {show.count(planned, 'planned exposure')}, "
        f"{show.count(owed, 'examination')} owed, {show.count(repairs, 'repair')} owed"
    )
    found = f" and about {likely:.0f} more that the planned exposures should lead to"
    return f"{said}{found if likely >= 0.5 else ''}{f', {ahead}' if ahead else ''}."


def money(costs: Costs, exposures: float, repairs: float) -> str:
    """Return what exposures and repairs cost, of what the costs are known; "" if of neither.

    Examples
    --------
    >>> money(Costs(120, 900, "EUR"), 10, 2)
    'about 3,000 EUR'
    >>> money(Costs(per_exposure=120), 10, 2)
    'about 1,200 for exposures alone'
    """
    each, mend = costs.per_exposure, costs.per_repair
    if each is None and mend is None:
        return ""
    total = show.rounded(total_cost(costs, exposures, repairs))
    unit = f" {costs.currency}" if costs.currency else ""
    alone = " for exposures alone" if mend is None else " for repairs alone" if each is None else ""
    return f"about {total}{unit}{alone}"


def total_cost(costs: Costs, exposures: float, repairs: float) -> float:
    """Return what exposures and repairs cost together, of what the costs are known."""
    return (costs.per_exposure or 0.0) * exposures + (costs.per_repair or 0.0) * repairs


def extent_words(job: JobFacts) -> str:
    """Return how many extents of a job are met, such as "5 of 7 met"."""
    asked = job.extents[job.extents["state"] != "no rule"]
    if asked.empty:
        return "no rules"
    met = int((asked["state"] == "met").sum())
    return f"{met:,} of {len(asked):,} met"


def zones_words(job: JobFacts) -> str:
    """Return how many zones of a job are released, free or hindered."""
    if job.zones.empty:
        return "no zones"
    number = job.zones["state"].value_counts()
    released = int(number.get("released", 0))
    free = int(number.get("free", 0))
    parts = [f"{released:,} of {len(job.zones):,} released"]
    if free:
        parts.append(f"{free:,} free")
    hindered = len(job.zones) - released - free
    if hindered:
        parts.append(f"{hindered:,} hindered")
    return ", ".join(parts)
