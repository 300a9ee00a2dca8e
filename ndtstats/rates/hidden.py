"""How many rejectable imperfections are likely still hidden in what was welded."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.rates.base import read_examinations
from ndtstats.rates.sample import first_charged, known_method
from ndtstats.register import Register
from ndtstats.statistics import (
    LikelyPriors,
    hidden_imperfections,
    likely_priors,
    union_length,
)
from ndtstats.units import MM_PER_M

#: What the answer can be broken down by: a joint has one of each.
BY = ("job", "zone", "category", "joint_type")

#: Welds that differ in one of these have rates of their own.
_STRATUM = ["job", "zone", "category", "joint_type"]
#: Nothing is inferred to kinds of weld that the method never looked at.
_KIND = ["category", "joint_type"]
_UNKNOWN = "unknown"
#: How a place was chosen, the better for inference to the rest the greater.
_UNPLANNED, _REQUIRED, _DRAWN = range(3)
#: Kinds of weld named in a remark.
_MOST_NAMED = 3
#: Shape of Jeffreys' prior, where all strata are taken to have one rate.
_JEFFREYS = 0.5
#: Strata needed before it can be told how much they differ: common practice, no source.
_LEAST_STRATA = 3


@dataclass(frozen=True, slots=True)
class Hidden:
    """What is likely still hidden.

    Parameters
    ----------
    table : DataFrame
        The columns asked for, then those of
        :func:`ndtstats.statistics.hidden_imperfections`; ``found`` and ``examined_m`` are what the
        rate rests on, ``looked_at_m`` is all that was examined.
    total : Series
        The same of all together.
    remarks : tuple of str
        What has to be known to read it rightly.
    """

    table: pd.DataFrame
    total: "pd.Series[Any]"
    remarks: tuple[str, ...]


def hidden(
    register: Register,
    *,
    method: str,
    by: Sequence[str] = ("zone",),
    detection: Any = 1.0,
    level: float = 0.90,
    job: str | None = None,
    as_of: datetime | None = None,
    seed: int = 0,
) -> Hidden:
    """Return how many rejectable imperfections are likely hidden where a method did not look.

    Parameters
    ----------
    method : str
        The method, such as "RT".
    by : sequence of str
        Columns of :data:`BY`.
    detection : float or BetaDetection
        Probability that the method finds a rejectable imperfection; 1: it misses nothing.
    level : float
        Probability with which no more than ``upper`` are hidden.
    job, as_of
        Only this job; what was known then.
    seed : int
        For sums so long that they are simulated.

    Raises
    ------
    UseError
        If method or columns are unknown, or the method examined nothing.

    Notes
    -----
    Strata are zone x category x joint type of a job. What nobody examined is like what chance drew,
    and unlike what the rules name (crossings, ends) or somebody aimed at: of each kind of weld
    (category x joint type) the rate rests on the first examinations that were drawn, weighted with
    1 / their probability and worth as many metres as equal weights would be (Kish 1965, from
    memory), and on those that the rules name where none was drawn. Kinds of which no place was
    drawn or named are left out: a few exposures that somebody aimed say nothing of the rest. Only
    where no choice is known of any does the rate rest on all, and a remark says so.

    The prior of the strata's rates is learnt from what was found in all of them, and stays as
    uncertain as they leave it; fewer than three are taken to have one rate. Joints not welded yet
    hide nothing.
    """
    method = known_method(method) or method
    _check(by)
    strata, remarks = _strata(register, method, job, as_of)
    few = (strata["worth_m"] > 0).sum() < _LEAST_STRATA
    prior = None if few else likely_priors(strata["worth_found"], strata["worth_m"])
    remarks += [_basis(prior, strata)]
    how = {"detection": detection, "level": level, "seed": seed}
    keys, number = _groups(strata, by)
    table = keys.join(_of_groups(strata, prior, number, how).reset_index(drop=True))
    total = _of_groups(strata, prior, np.zeros(len(strata)), how).iloc[0]
    ordered = table.sort_values("mean", ascending=False, ignore_index=True)
    return Hidden(ordered, total, tuple(remarks))


def _groups(strata: pd.DataFrame, by: Sequence[str]) -> tuple[pd.DataFrame, Any]:
    """Return what each group of strata is, in order of number, and the number of each stratum."""
    if not by:
        return pd.DataFrame(index=[0]), np.zeros(len(strata))
    number = strata.groupby(list(by), sort=False).ngroup().to_numpy()
    return strata[list(by)].drop_duplicates(ignore_index=True), number


def _check(by: Sequence[str]) -> None:
    for name in by:
        if name not in BY:
            close = nearest(name, BY)
            hint = f'did you mean "{close}"?' if close else f"use {', '.join(BY)}"
            raise UseError(f'what is hidden cannot be told by "{name}"; {hint}')


def _strata(
    register: Register, method: str, job: str | None, as_of: datetime | None
) -> tuple[pd.DataFrame, list[str]]:
    """Return what was found, examined and not examined, stratum by stratum, and remarks."""
    joints = register.table(
        "joints", job=job, as_of=as_of, columns=["joint", "length_mm", *_STRATUM]
    )
    joints = joints.fillna(dict.fromkeys(_STRATUM, _UNKNOWN))
    welded, remarks = _welded(register, joints, job, as_of)
    looked = _looked_at_mm(register, welded, method, job, as_of)
    welded = welded.assign(looked_at_mm=looked, left_mm=welded["length_mm"] - looked)
    found, told = _found(register, method, job, as_of)
    sums = welded.groupby(_STRATUM, sort=True)[["looked_at_mm", "left_mm"]].sum() / MM_PER_M
    sums.columns = pd.Index(["looked_at_m", "unexamined_m"])
    strata = sums.join(found).fillna(0.0).reset_index()
    seen = strata.groupby(_KIND)["examined_m"].transform("sum") > 0
    if not seen.any():
        raise UseError(f"{method} examined nothing yet, so nothing can be said of what is hidden")
    remarks += told + _left_out(strata[~seen], method)
    return strata[seen].reset_index(drop=True), remarks


def _welded(
    register: Register, joints: pd.DataFrame, job: str | None, as_of: datetime | None
) -> tuple[pd.DataFrame, list[str]]:
    """Return the joints that are welded; all of a job in whose register nobody is told to weld."""
    made = register.table("deposits", job=job, as_of=as_of, columns=["job", "joint"])
    keys = ["job", "joint"]
    done = pd.MultiIndex.from_frame(joints[keys]).isin(pd.MultiIndex.from_frame(made[keys]))
    kept = done | ~joints["job"].isin(made["job"]).to_numpy()
    waiting = int((~kept).sum())
    told = f"Not counted: {waiting:,} joints that are not welded yet."
    return joints[kept].reset_index(drop=True), [told] if waiting else []


def _looked_at_mm(
    register: Register,
    joints: pd.DataFrame,
    method: str,
    job: str | None,
    as_of: datetime | None,
) -> Any:
    """Return how much of each joint was examined in any round."""
    rows = read_examinations(
        register, job=job, method=method, as_of=as_of, attributes=(),
        columns=["job", "joint", "method", "from_mm", "to_mm", "verdict", "date"],
    )  # fmt: skip
    rows = rows[rows["verdict"].isin(["accept", "reject"])]
    keys = ["job", "joint"]
    place = pd.MultiIndex.from_frame(joints[keys]).get_indexer(pd.MultiIndex.from_frame(rows[keys]))
    known = place >= 0
    low = rows["from_mm"].clip(lower=0.0)[known]
    high = np.minimum(rows["to_mm"], rows["joint_mm"])[known]
    union = union_length(place[known], low, high)
    return union.reindex(range(len(joints)), fill_value=0.0).to_numpy()


def _found(
    register: Register, method: str, job: str | None, as_of: datetime | None
) -> tuple[pd.DataFrame, list[str]]:
    """Return what was found in what was examined, by stratum, plain and as it is weighed."""
    charges = first_charged(register, _STRATUM, method=method, job=job, as_of=as_of)
    seen = charges.seen.fillna(dict.fromkeys(_STRATUM, _UNKNOWN))
    order = np.select([seen["weight"] > 1, seen["weight"].notna()], [_DRAWN, _REQUIRED], _UNPLANNED)
    seen["choice"] = order
    best = seen.groupby(_KIND)["choice"].transform("max")
    usable = (best > _UNPLANNED) | (order.max(initial=_UNPLANNED) == _UNPLANNED)
    marks, pieces = charges.found, charges.pieces
    length = union_length(pieces["of"], pieces["low"], pieces["high"]) / MM_PER_M
    weight = seen["weight"].where(best == _DRAWN, 1.0)
    rows = seen[_STRATUM].assign(
        found=np.bincount(marks["of"], marks["counts"], len(seen)),
        examined_m=length.reindex(seen.index, fill_value=0.0),
    )
    rows = rows.assign(
        w_found=weight * rows["found"], w_m=weight * rows["examined_m"],
        ww_m=weight**2 * rows["examined_m"],
    )  # fmt: skip
    sums = rows[(seen["choice"] == best) & usable].groupby(_STRATUM).sum()
    worth = sums["w_m"] ** 2 / sums["ww_m"]
    result = sums[["found", "examined_m"]].astype("float64")
    result = result.assign(worth_m=worth, worth_found=sums["w_found"] / sums["w_m"] * worth)
    return result, _choice_told(seen.loc[usable, _KIND].assign(choice=best))


def _choice_told(kinds: pd.DataFrame) -> list[str]:
    """Return remarks on kinds of weld of which no place was drawn."""
    remarks = []
    if (kinds["choice"] == _UNPLANNED).any():
        remarks.append(
            "Selection unknown: the rate is that of what was examined, not of what was welded."
        )
    named = kinds[kinds["choice"] == _REQUIRED]
    if len(named):
        remarks.append(
            f"Of {_named(named)} only places that the rules name were examined; "
            "the rest may differ."
        )
    return remarks


def _named(kinds: pd.DataFrame) -> str:
    """Return kinds of weld by their names, at most :data:`_MOST_NAMED` of them."""
    names = sorted({f"{row.joint_type} {row.category}" for row in kinds.itertuples()})
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _left_out(strata: pd.DataFrame, method: str) -> list[str]:
    if strata.empty:
        return []
    metres = strata[["looked_at_m", "unexamined_m"]].to_numpy().sum()
    return [
        f"Not counted: {metres:,.0f} m of kinds of which {method} was drawn or required nowhere "
        f"({_named(strata)})."
    ]


def _basis(prior: LikelyPriors | None, strata: pd.DataFrame) -> str:
    found, examined = strata["found"].sum(), strata["examined_m"].sum()
    seen = f"{found:,.0f} found in {examined:,.1f} m"
    if prior is None:
        return f"All welds are taken to have one rate ({seen})."
    return (
        f"The rates of {len(strata):,} strata (zone, category, joint type) are drawn towards what "
        f"all of them say ({seen})."
    )


def _of_groups(
    strata: pd.DataFrame, prior: LikelyPriors | None, number: Any, how: dict[str, Any]
) -> pd.DataFrame:
    """Return the answer for each number of a group of strata."""
    amounts = ["found", "examined_m", "looked_at_m", "unexamined_m", "worth_found", "worth_m"]
    each = strata[amounts].astype("float64")
    plain = each.groupby(number, sort=False)[amounts[:3]].sum()
    priors: dict[str, Any]
    if prior is not None:
        priors = {"prior_weight": prior.weight, "prior_shape": prior.shape[:, None],
                  "prior_length_m": prior.length_m[:, None]}  # fmt: skip
    else:
        # One rate for all makes strata depend on each other: a group is one stratum then, and what
        # was seen elsewhere is known of it beforehand.
        everything = each.sum()
        each = each.groupby(number, sort=False).sum()
        elsewhere = (everything - each).clip(lower=0.0)
        priors = {
            "prior_shape": _JEFFREYS + elsewhere["worth_found"],
            "prior_length_m": elsewhere["worth_m"],
        }
        number = np.arange(len(each))
    answer = hidden_imperfections(
        each["worth_found"], each["worth_m"], each["unexamined_m"], **priors, prior_of="found",
        looked_at_m=each["looked_at_m"], group=number, **how,
    )  # fmt: skip
    answer = answer.drop(columns=["found", "examined_m"])
    return pd.concat([plain.set_axis(answer.index), answer], axis="columns")
