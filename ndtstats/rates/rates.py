"""How often welds are rejected, and how sure that is: by welder, process, month and the like."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.rates.base import all_examinations, first_examinations, indications
from ndtstats.rates.charge import charge_welders
from ndtstats.register import Register
from ndtstats.statistics import (
    proportion_interval,
    rate_interval,
    union_length,
    weighted_ratio,
)
from ndtstats.units import MM_PER_M

#: What rates can be broken down by.
BY = (
    "job", "welder", "process", "position", "thickness", "category", "zone", "procedure", "method",
    "month", "joint_type", "material", "part",
)  # fmt: skip

MEASURES = ("spots", "joints", "length", "per-metre")

#: Which examinations may be used for an unbiased rate: census and chance, never what was aimed.
UNBIASED_PARTS = ("required", "random", "reserve")


def rates(
    register: Register,
    *,
    by: Sequence[str] = ("welder",),
    measure: str = "spots",
    method: str | None = None,
    level: float = 0.95,
    interval: str = "clopper-pearson",
    sides: str = "two",
    job: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return reject rates of first examinations with their bounds.

    Parameters
    ----------
    by : sequence of str
        Columns of :data:`BY`; none gives one rate for all.
    measure : {"spots", "joints", "length", "per-metre"}
        Rejected ÷ examined spots; joints with a reject ÷ joints examined; length of rejectable
        indications ÷ length examined, in mm, overlaps counted once; rejectable indications per
        metre examined.
    method : str, optional
        Only this method, such as "RT".
    level, interval, sides
        As in :func:`ndtstats.statistics.proportion_interval`; rates per metre have the exact
        Poisson bound.
    job : str, optional
        Only this job.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        The columns of ``by``, then ``basis``, ``measure``, ``rejected``, ``examined``, ``rate``,
        ``lower``, ``upper``, ``level``, ``interval``, ``joints`` (examined), ``shared`` (rejects
        charged to more than one welder), ``effective`` (number the bound rests on).

        Two bases. ``unbiased``: places the rules require and places drawn by chance, weighted with
        1 / their probability, with joints as clusters; there is one where a plan made it possible.
        ``described``: everything that was examined, unweighted; it describes what was examined,
        not what was welded.

    Raises
    ------
    UseError
        If a column, measure or interval is unknown.
    """
    _check(by, measure)
    rows = first_examinations(register, job=job, method=method, as_of=as_of)
    shown = indications(register, rows, job=job, as_of=as_of)
    charged = charge_welders(rows, shown, register.table("deposits", job=job, as_of=as_of))
    if "welder" not in by:
        charged = rows.assign(shared=False)
    charged = charged.assign(**{name: charged[name].fillna("unknown") for name in by})
    charged["unit"] = charged["job"] + "\x1f" + charged["joint"]
    keys = list(by) or ["all"]
    if not by:
        charged["all"] = "all"
    settings = {"level": level, "interval": interval, "sides": sides}
    described = _described(charged, shown, keys, measure, settings)
    chance = charged[charged["weight"].notna()]
    unbiased = _unbiased(chance, shown, keys, measure, settings)
    table = pd.concat([unbiased, described]).assign(
        measure=measure, level=level, interval="garwood" if measure == "per-metre" else interval
    )
    order = [*by, "basis", "measure", "rejected", "examined", "rate", "lower", "upper", "level"]
    ordered = table.sort_values([*keys, "basis"], ascending=[True] * len(keys) + [False])
    result: pd.DataFrame = ordered[[*order, "interval", "joints", "shared", "effective"]]
    return result.reset_index(drop=True)


def _check(by: Sequence[str], measure: str) -> None:
    for name in by:
        if name not in BY:
            close = nearest(name, BY)
            hint = f'did you mean "{close}"?' if close else f"use {', '.join(BY)}"
            raise UseError(f'rates cannot be given by "{name}"; {hint}')
    if measure not in MEASURES:
        raise UseError(f'"{measure}" is not a measure; use {", ".join(MEASURES)}')


def _described(
    rows: pd.DataFrame, shown: pd.DataFrame, keys: list[str], measure: str, settings: Any
) -> pd.DataFrame:
    """Return unweighted rates of everything examined, with exact bounds."""
    table = _counts(rows, shown, keys, measure)
    k, n = table["rejected"].to_numpy(float), table["examined"].to_numpy(float)
    if measure == "per-metre":
        lower, upper = rate_interval(k, n, level=settings["level"], sides=settings["sides"])
        effective = table["joints"].to_numpy(float)
    else:
        # A millimetre is no trial of its own: lengths are bounded on the number of spots.
        effective = table["spots"].to_numpy(float) if measure == "length" else n
        with np.errstate(invalid="ignore", divide="ignore"):
            held = np.where(n > 0, k / n, 0.0) * effective
        lower, upper = proportion_interval(
            held, effective, level=settings["level"], method=settings["interval"],
            sides=settings["sides"],
        )  # fmt: skip
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(n > 0, k / n, np.nan)
    return table.assign(
        basis="described", rate=rate, lower=lower, upper=upper, effective=effective
    ).drop(columns="spots")


def _counts(rows: pd.DataFrame, shown: pd.DataFrame, keys: list[str], measure: str) -> pd.DataFrame:
    """Return numerators and denominators of each group."""
    groups = rows.groupby(keys, sort=False)
    table = groups.agg(
        spots=("id", "size"), bad=("rejected", "sum"), shared=("shared", "sum"),
        joints=("unit", "nunique"),
    )  # fmt: skip
    if measure == "spots":
        table = table.assign(rejected=table["bad"], examined=table["spots"])
    elif measure == "joints":
        bad = rows[rows["rejected"]].groupby(keys)["unit"].nunique()
        table = table.assign(
            rejected=bad.reindex(table.index, fill_value=0), examined=table["joints"]
        )
    else:
        looked = _union(rows, keys, "from_mm", "to_mm", rows)
        found = rows.loc[rows["rejected"], [*keys, "id", "unit"]].merge(shown, on="id")
        length = looked.reindex(table.index, fill_value=0.0)
        if measure == "length":
            bad_mm = _union(found, keys, "start_mm", "end_mm", found)
            table = table.assign(
                rejected=bad_mm.reindex(table.index, fill_value=0.0), examined=length
            )
        else:
            number = found.groupby(keys).size()
            table = table.assign(
                rejected=number.reindex(table.index, fill_value=0), examined=length / MM_PER_M
            )
    return table.drop(columns="bad").reset_index()


def _union(rows: pd.DataFrame, keys: list[str], start: str, end: str, frame: pd.DataFrame) -> Any:
    """Return the union of lengths of each group, joint by joint; overlaps count once."""
    labels = rows[[*keys, "unit"]].drop_duplicates().reset_index(drop=True)
    labelled = rows[[*keys, "unit"]].merge(labels.reset_index(names="label"), on=[*keys, "unit"])
    length = union_length(labelled["label"], frame[start], frame[end])
    return labels.assign(length=length.reindex(labels.index)).groupby(keys)["length"].sum()


def _unbiased(
    rows: pd.DataFrame, shown: pd.DataFrame, keys: list[str], measure: str, settings: Any
) -> pd.DataFrame:
    """Return weighted rates of what was required or drawn by chance, group by group."""
    if rows.empty:
        return _counts(rows, shown, keys, measure).assign(basis="unbiased").iloc[:0]
    table = _counts(rows, shown, keys, measure)
    bad_mm = _bad_length(rows, shown)
    number = shown["id"].value_counts()
    rows = rows.assign(bad_mm=bad_mm, number=rows["id"].map(number).where(rows["rejected"], 0))
    by_group = {
        key: _estimate(group, measure, settings) for key, group in rows.groupby(keys, sort=False)
    }
    columns = ["rate", "lower", "upper", "effective"]
    found = pd.DataFrame.from_dict(by_group, orient="index", columns=columns)
    found.index = pd.MultiIndex.from_tuples(found.index, names=keys)
    return table.merge(found.reset_index(), on=keys).assign(basis="unbiased").drop(columns="spots")


def _bad_length(rows: pd.DataFrame, shown: pd.DataFrame) -> Any:
    """Return the length of rejectable indications of each examination, overlaps counted once."""
    length = union_length(shown["id"], shown["start_mm"], shown["end_mm"])
    found = rows["id"].map(length).fillna(0.0).clip(upper=rows["length_mm"])
    return found.where(rows["rejected"], 0.0)


def _estimate(group: pd.DataFrame, measure: str, settings: Any) -> tuple[float, ...]:
    """Return rate, bounds and effective number of one group."""
    ones = np.ones(len(group))
    numerator: Any = group["rejected"].to_numpy(float)
    denominator: Any = ones
    weights, clusters = group["weight"].to_numpy(float), group["unit"].to_numpy()
    if measure == "joints":
        # A joint was reached if any of its spots was drawn; its weight is its spots' smallest.
        joints = group.groupby("unit").agg(bad=("rejected", "max"), weight=("weight", "min"))
        numerator, denominator = joints["bad"].to_numpy(float), np.ones(len(joints))
        weights, clusters = joints["weight"].to_numpy(float), joints.index.to_numpy()
    elif measure == "length":
        numerator, denominator = group["bad_mm"].to_numpy(float), group["length_mm"].to_numpy(float)
    elif measure == "per-metre":
        return _per_metre(group, settings)
    if len(set(weights)) == 1 and len(set(clusters)) == len(clusters) and measure != "length":
        # Drawn alike, one to a joint: a simple sample, for which the bound is exact.
        k, n = float(numerator.sum()), float(len(numerator))
        lower, upper = proportion_interval(
            k, n, level=settings["level"], method=settings["interval"], sides=settings["sides"]
        )
        return k / n, float(lower), float(upper), n
    found = weighted_ratio(
        numerator, denominator, weights=weights, clusters=clusters, level=settings["level"],
        sides=settings["sides"], method=settings["interval"],
    )  # fmt: skip
    return tuple(found[["value", "lower", "upper", "effective"]].iloc[0])


def _per_metre(group: pd.DataFrame, settings: Any) -> tuple[float, ...]:
    """Return the weighted rate per metre; its bound is Garwood's on the count it is worth."""
    metres = group["length_mm"].to_numpy(float) / MM_PER_M
    number = group["number"].to_numpy(float)
    weights = group["weight"].to_numpy(float)
    rate = float(np.sum(weights * number) / np.sum(weights * metres))
    # Unequal weights tell less than their number says (Kish 1965, 11.7, from memory).
    effective = float(
        np.sum(weights * metres) ** 2 / np.sum(weights**2 * metres**2) * metres.mean()
    )
    lower, upper = rate_interval(
        rate * effective, effective, level=settings["level"], sides=settings["sides"]
    )
    return rate, float(lower), float(upper), effective


def set_aside(
    register: Register,
    *,
    method: str | None = None,
    job: str | None = None,
    as_of: datetime | None = None,
    level: float = 0.95,
) -> pd.DataFrame:
    """Return what is counted apart from the rates: repairs, re-shoots, not done.

    Returns
    -------
    DataFrame
        Columns ``what``, ``count``, ``of``, ``rate``, ``lower``, ``upper``: repairs accepted out of
        repairs examined; exposures to be shot again, and spots not done, out of all examinations.
    """
    rows = all_examinations(register, job=job, method=method, as_of=as_of)
    judged = rows["verdict"].isin(["accept", "reject"])
    repairs = rows[judged & (rows["round"] > 0)]
    table = pd.DataFrame(
        {
            "what": ["repairs accepted", "re-shoots", "not done"],
            "count": [
                int((repairs["verdict"] == "accept").sum()),
                int((rows["verdict"] == "re-shoot").sum()),
                int((rows["verdict"] == "not done").sum()),
            ],
            "of": [len(repairs), len(rows), len(rows)],
        }
    )
    lower, upper = proportion_interval(table["count"], table["of"], level=level)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = table["count"].to_numpy(float) / table["of"].to_numpy(float)
    return table.assign(rate=share, lower=lower, upper=upper)
