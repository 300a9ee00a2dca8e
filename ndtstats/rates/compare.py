"""Fair comparison of welders: what they had to weld, how few data there are, how many they are."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.rates.charge import UNKNOWN
from ndtstats.rates.chosen import charged_once, chosen
from ndtstats.rates.sample import OF_INDICATION, first_charged, known_columns, known_method
from ndtstats.rates.together import clusters_told
from ndtstats.register import Register
from ndtstats.statistics import compare_groups, joint_clustering, proportion_interval
from ndtstats.statistics.proportions import tail_probability
from ndtstats.statistics.shrinkage import LEAST_GROUPS, Prior, fit_beta_binomial
from ndtstats.statistics.wide_ranks import ranks_widely
from ndtstats.statistics.wide_shrinkage import likely_shares, shrunk_shares_widely

#: What the work differs in, and is allowed for.
FACTORS = ("category", "process", "position", "thickness")

#: Probabilities of a count as far out by chance at which a funnel has its limits.
FUNNEL = {"beyond 99.8 %": 0.002, "beyond 95 %": 0.05}

#: Columns that follow the one compared by.
COLUMNS = (
    "rejected", "examined", "joints", "shared", "rate", "lower", "upper", "shrunk", "shrunk_lower",
    "shrunk_upper", "above", "rank", "rank_lower", "rank_upper", "expected", "ratio", "ratio_lower",
    "ratio_upper", "p", "adjusted_p", "stands_out", "funnel", "funnel_lower_95", "funnel_upper_95",
    "funnel_lower_998", "funnel_upper_998", "own_share", "design_effect",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Comparison:
    """Welders, or what else the work is parted by, side by side.

    Parameters
    ----------
    table : DataFrame
        One row each: see :func:`compare_welders`.
    by : str
        What is compared.
    basis : {"chosen", "described"}
        What it rests on (:mod:`ndtstats.rates.chosen`).
    level : float
        Of all bounds.
    limit : float or None
        Rate that ought not to be exceeded.
    factors : tuple of str
        What was allowed for.
    prior : Prior or None
        Towards which the rates are drawn, by maximum likelihood; None where nothing was examined.
    remarks : tuple of str
        What has to be known to read it rightly, in sentences.
    """

    table: pd.DataFrame
    by: str
    basis: str
    level: float
    limit: float | None
    factors: tuple[str, ...]
    prior: Prior | None
    remarks: tuple[str, ...]


def compare_welders(
    register: Register,
    *,
    method: str,
    job: str | None = None,
    by: str = "welder",
    factors: Sequence[str] = FACTORS,
    limit: float | None = None,
    level: float = 0.95,
    basis: str | None = None,
    as_of: datetime | None = None,
    seed: int = 0,
) -> Comparison:
    """Return how welders compare at first examinations, and how sure that is.

    Parameters
    ----------
    method : str
        The method, such as "RT".
    job : str, optional
        Only this job.
    by : str
        What is compared: a column of :data:`ndtstats.rates.sample.BY`.
    factors : sequence of str
        What the work differs in, to be allowed for; ``by`` itself is left out of them.
    limit : float, optional
        Rate that ought not to be exceeded, such as 0.05.
    level : float
        Of the bounds; 1 - level is the share of false ones borne among those that stand out.
    basis : {"chosen", "described"}, optional
        As in :func:`ndtstats.rates.chosen.chosen`.
    as_of : datetime, optional
        What was known then.
    seed : int
        Of the simulated ranks.

    Returns
    -------
    Comparison
        Its table has a row each, the farthest above expectation first, of :data:`COLUMNS`:
        ``rejected`` of ``examined`` spots, on so many ``joints``, ``shared`` rejects charged to
        others too; ``rate`` with exact bounds; ``shrunk``, the rate drawn towards what all have in
        common, with bounds, and with a limit ``above``, the probability that it lies above;
        ``rank`` by that rate, 1 the highest, with bounds; ``expected`` rejects of such work in
        anybody's hands and ``ratio`` observed / expected with exact bounds; ``p``, ``adjusted_p``
        and ``stands_out`` ("high", "low" or "") after Benjamini & Hochberg; ``funnel`` ("within",
        "beyond 95 %", "beyond 99.8 %") by the exact probability, and its limits about 1 for
        drawing; ``own_share`` of the yardstick; ``design_effect``, how many times more spots there
        are than all of these limits rest on, because spots of a joint go together.

    Raises
    ------
    UseError
        If method, column, factor, level, limit or basis make no sense.

    Notes
    -----
    Counts are not weighted: where the work went is allowed for by the factors, not by the weights
    of the draw. Limits rest on counts divided by the design effect, with one correlation of the
    spots of a joint for all (Rao & Scott 1992; :mod:`ndtstats.statistics.clusters`).

    Beta-binomial empirical Bayes (Casella 1985, Am. Stat. 39:83): the prior by maximum likelihood
    is told, and the rates, bounds and ranks keep it as uncertain as the welders leave it
    (:mod:`ndtstats.statistics.wide_shrinkage`), which holds also where they show no spread at all,
    or are too few to show one. The rest as in
    :func:`ndtstats.statistics.compare_groups`.
    """
    method = known_method(method) or method
    _check(by, factors, limit, level)
    kept = [name for name in dict.fromkeys(factors) if name != by]
    sample = first_charged(register, [by, *kept], method=method, job=job, as_of=as_of)
    usable = chosen(sample, basis)
    seen = charged_once(usable.charges.seen, by)
    named = seen[by].notna() & (seen[by] != UNKNOWN)
    remarks = [*filter(None, [usable.remark]), *_nobody(int((~named).sum()), by)]
    seen = seen[named]
    if seen.empty:
        empty = pd.DataFrame(columns=[by, *COLUMNS])
        return Comparison(empty, by, usable.basis, level, limit, (), None, tuple(remarks))
    together = joint_clustering(seen["rejected"], seen["unit"], seen[by])
    effect = together.groups["design_effect"]
    fair = compare_groups(_counts(seen, by, kept), by, kept, level=level, design_effect=effect)
    known = _known(seen, by, level, effect)
    table, prior, told = _drawn_together(known, by, limit, level, seed)
    table = table.join(_expected(fair.table)).reset_index()
    table = table.sort_values(["ratio", by], ascending=[False, True], ignore_index=True)
    remarks += [*told, *fair.caveats, *clusters_told(seen, together), *_shared(table)]
    return Comparison(
        table.reindex(columns=[by, *COLUMNS]), by, usable.basis, level, limit, fair.factors, prior,
        tuple(remarks),
    )  # fmt: skip


def _check(by: str, factors: Sequence[str], limit: float | None, level: float) -> None:
    known_columns([by, *factors])
    if OF_INDICATION in {by, *factors}:
        raise UseError(f"spots cannot be compared by {OF_INDICATION}: one may show several")
    if limit is not None and not 0 < limit < 1:
        raise UseError(f"limit {limit:g} must lie between 0 and 1: write 0.05 for 5 %")
    tail_probability(level, "two")


def _counts(seen: pd.DataFrame, by: str, factors: Sequence[str]) -> pd.DataFrame:
    """Return rejected and examined of each kind of work."""
    groups = seen.groupby([by, *factors], dropna=False, sort=False)["rejected"]
    return groups.agg(rejected="sum", examined="size").reset_index()


def _known(seen: pd.DataFrame, by: str, level: float, effect: "pd.Series[float]") -> pd.DataFrame:
    """Return what is known of each by itself, indexed by name."""
    table = seen.groupby(by).agg(
        rejected=("rejected", "sum"), examined=("rejected", "size"), joints=("unit", "nunique"),
        shared=("shared", "sum"),
    )  # fmt: skip
    effect = effect.reindex(table.index)
    bounds = proportion_interval(
        table["rejected"] / effect, table["examined"] / effect, level=level
    )
    return table.assign(
        rate=table["rejected"] / table["examined"], lower=bounds.lower, upper=bounds.upper,
        design_effect=effect,
    )  # fmt: skip


def _drawn_together(
    table: pd.DataFrame, by: str, limit: float | None, level: float, seed: int
) -> tuple[pd.DataFrame, Prior, list[str]]:
    """Return rates and ranks as all together make them likely, the prior, and what to say of it."""
    effect = table["design_effect"].to_numpy(float)
    k, n = (table[name].to_numpy(float) / effect for name in ("rejected", "examined"))
    likely = likely_shares(k, n)
    values = shrunk_shares_widely(k, n, priors=likely, level=level, limit=limit)
    ranks = ranks_widely(k, n, priors=likely, seed=seed, level=level)
    drawn = pd.DataFrame(
        {
            "shrunk": values["value"], "shrunk_lower": values["lower"],
            "shrunk_upper": values["upper"],
            "above": values["above"] if limit is not None else np.nan,
            "rank": ranks["rank"], "rank_lower": ranks["lower"], "rank_upper": ranks["upper"],
        }
    ).set_index(table.index)  # fmt: skip
    prior = fit_beta_binomial(k, n)
    return table.join(drawn), prior, [_prior_told(prior, by, nothing=not k.any())]


def _prior_told(prior: Prior, by: str, *, nothing: bool) -> str:
    many = _many(by)
    if nothing:
        return "Nothing was rejected; the bounds of the shrunk rates say how high each may be."
    if not prior.alike:
        return (
            f"Shrunk rates are drawn towards what all {many} have in common, the more the fewer "
            f"the data (by maximum likelihood a beta prior {prior.a:.3g}, {prior.b:.3g} of mean "
            f"{_percent(prior.mean)}); their bounds keep it as uncertain as {prior.groups} {many} "
            "leave it."
        )
    if prior.groups < LEAST_GROUPS:
        return (
            f"Fewer than {LEAST_GROUPS} {many} tell little of how much they differ; the bounds of "
            "the shrunk rates allow for that."
        )
    return (
        f"The {many} differ by no more than chance brings; that they may differ all the same is in "
        "the bounds of the shrunk rates."
    )


def _expected(fair: pd.DataFrame) -> pd.DataFrame:
    p = fair["p"].to_numpy(float)
    funnel = np.select([p <= chance for chance in FUNNEL.values()], list(FUNNEL), "within")
    renamed = fair.rename(columns={"lower": "ratio_lower", "upper": "ratio_upper"})
    return renamed.drop(columns=["rejected", "examined"]).assign(funnel=funnel)


def _nobody(number: int, by: str) -> list[str]:
    if not number:
        return []
    spots = "1 examination is" if number == 1 else f"{number:,} examinations are"
    return [f"{spots} left out because the {by.replace('_', ' ')} is not recorded."]


def _shared(table: pd.DataFrame) -> list[str]:
    number = int(table["shared"].sum())
    if not number:
        return []
    return [f"{number:,} charges are of rejects that are charged to others too."]


def comparison_sentence(result: Comparison) -> str:
    """Return the conclusion of a comparison, in words that can be defended.

    Nobody is called different unless the test says so after correction for having looked at many.
    """
    table, by = result.table, result.by.replace("_", " ")
    if table.empty:
        return "Nothing was examined for the first time yet, so there is nothing to compare."
    out = table[table["stands_out"] != ""].sort_values("adjusted_p", kind="stable")
    if len(out):
        found = " ".join(_one_out(row, by, result) for row in out.itertuples())
    else:
        found = _nobody_out(table, by, result)
    return f"{found}{_over_limit(table, result)}"


def _one_out(row: Any, by: str, result: Comparison) -> str:
    word = "above" if row.stands_out == "high" else "below"
    return (
        f"{by.capitalize()} {_name(row, result)} stands out {word} what such work leads to: "
        f"{_counted(row)}, ratio {row.ratio:.2g} with {_percent(result.level)} bounds "
        f"{row.ratio_lower:.2g} and {row.ratio_upper:.2g}, adjusted p {_p(row.adjusted_p)}."
    )


def _nobody_out(table: pd.DataFrame, by: str, result: Comparison) -> str:
    many = f"{len(table)} {_many(by)} were compared" if len(table) > 1 else "1 was looked at"
    told = (
        f"No {by} stands out from what such work leads to, allowing for it that {many} "
        f"(Benjamini-Hochberg, {_percent(1 - result.level)})."
    )
    if not table["rejected"].any():
        return f"{told} Nothing was rejected: no reject is not the same as no defect."
    top: Any = next(table.itertuples())
    seen = f"{_counted(top)}, adjusted p {_p(top.adjusted_p)}"
    return f"{told} Farthest above: {by} {_name(top, result)}, {seen}."


def _over_limit(table: pd.DataFrame, result: Comparison) -> str:
    if result.limit is None:
        return ""
    over = table[table["above"] >= result.level].sort_values("above", ascending=False)
    names = ", ".join(over[result.by].astype("str")) or "none"
    return (
        f" Above the limit of {_percent(result.limit)} with {_percent(result.level)} probability "
        f"or more: {names}."
    )


def _many(by: str) -> str:
    return "welders" if by == "welder" else "groups"


def _name(row: Any, result: Comparison) -> str:
    return str(getattr(row, result.by))


def _counted(row: Any) -> str:
    spots = "spot" if row.examined == 1 else "spots"
    seen = f"{row.rejected:,.0f} of {row.examined:,.0f} {spots} rejected"
    return f"{seen}, {row.expected:.1f} expected"


def _p(value: float) -> str:
    return "below 0.0001" if value < 0.0001 else f"{value:.2g}"


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"
