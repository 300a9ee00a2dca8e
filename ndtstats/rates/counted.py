"""First examinations counted by the database: rows only where a number does not tell all.

Most joints have no spot of a plan, and all that was examined of them is charged to the same. Of
these it is enough to know how many there are and how often they were examined: the database counts
them together. Of others it counts what was accepted on each, if every deposit covers all of that or
nothing. Their rejects, joints with spots, and joints whose parts have different welders go one by
one; who reads every examination so pays for each, and gets the same counts.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple, cast

import numpy as np
import pandas as pd

from ndtstats.bands import thickness_band
from ndtstats.numbers import numbered, positions
from ndtstats.rates.base import (
    NEEDED,
    attributes_at,
    first_of,
    indications,
    joints_of,
    on_joints,
    read_from,
    second_verdicts,
)
from ndtstats.rates.charge import OF_DEPOSIT, UNKNOWN, Charges
from ndtstats.rates.sample import attributes_of, charged, deposits_of, with_draws
from ndtstats.register import (
    MOST_JOINTS_NAMED,
    Asked,
    Register,
    first_on_joints,
    overturned_ids,
    told_one_by_one,
)

_NO_JOINTS = pd.DataFrame(
    {"job": pd.Series(dtype="str"), "joint": pd.Series(dtype="str"),
     "length_mm": pd.Series(dtype="float64")}
)  # fmt: skip


#: What is said of examinations that the database counted.
_NOT_DRAWN: dict[str, Any] = {
    "row": -1, "deposit": -1, "shared": False, "weight": np.nan, "drawn_in": -1, "whole": False,
}  # fmt: skip


class _Known(NamedTuple):
    """What is known of the accepted first examinations and of the welds they were made on.

    ``unit`` numbers the joints of ``counts``, as ``made`` and ``drawn`` do those of deposits and
    spots; ``joint`` is where each finds its row among ``joints``, which are there if needed.
    """

    counts: pd.DataFrame
    joints: pd.DataFrame
    deposits: pd.DataFrame | None
    unit: Any
    joint: Any
    made: Any
    drawn: Any


def first_counted(
    register: Register,
    by: Sequence[str],
    *,
    method: str | None,
    job: str | None,
    as_of: datetime | None,
) -> Charges:
    """Return the first examinations as charged, those that are alike as one row.

    Parameters as of :func:`ndtstats.rates.sample.first_charged`, but not by imperfection.

    Returns
    -------
    Charges
        As that function gives them, but that ``times`` says how many examinations a row of ``seen``
        stands for, and ``joints`` on how many joints, which share one ``unit``; such a row has no
        weight, no ``pieces``, and in ``found`` only what has no length. Good for counts of spots
        and joints, and for all that rests on a weight.

    Notes
    -----
    Checked against the same of every examination one by one, in invented registers.
    """
    # Counts and rows are read one after the other, and must be of the same instant.
    as_of = as_of or register.latest_time()
    asked: dict[str, Any] = {"method": method, "job": job, "as_of": as_of}
    counts = _counts(register, by, **asked)
    together = counts["joint"].isna()
    single_joints = counts[~together].reset_index(drop=True)
    known = _known(register, by, single_joints, job=job, as_of=as_of)
    only = _only(known.counts)
    single = np.isin(known.unit, known.drawn)
    if known.deposits is not None:
        single |= np.isin(known.unit, _uneven(known))
    places = known.counts.loc[single, ["job", "joint"]].drop_duplicates()
    told = told_one_by_one(register, places, NEEDED, rejected_on=known.counts, **asked)
    told = second_verdicts(register, told, job=job, as_of=as_of)
    joints = known.joints
    if joints.empty and told["to_mm"].isna().any():
        joints = joints_of(register, attributes_of(by), job=job, as_of=as_of, only=only)
    rows = on_joints(told, joints, attributes_of(by))
    rows = first_of(register, rows, job=job, as_of=as_of)
    shown = indications(register, rows, job=job, as_of=as_of, only=only)
    charges = charged(with_draws(rows), shown, known.deposits, by)
    charges = _joined(charges, rows, _alike(known, ~single, by))
    return _with_united(charges, counts[together], by) if together.any() else charges


def _counts(
    register: Register,
    by: Sequence[str],
    *,
    method: str | None,
    job: str | None,
    as_of: datetime | None,
) -> pd.DataFrame:
    """Return how many examinations the database counts, of joints by themselves and together."""
    apart = [name for name in ("method", "month") if name in by]
    # A joint that several methods examined is one joint, and its methods are not added up.
    together = method is not None or "method" in by
    if not together:
        apart.append("method")
    counts = first_on_joints(
        register,
        Asked(
            apart=apart,
            of_deposit=[name for name in OF_DEPOSIT if name in by],
            of_joint=read_from(attributes_of(by)),
            together=together and "joint" not in by,
        ),
        overturned=overturned_ids(register, job=job, as_of=as_of),
        job=job, method=method, as_of=as_of,
    )  # fmt: skip
    return counts if method is None else counts.assign(method=method)


def _only(counts: pd.DataFrame) -> dict[str, list[str]] | None:
    """Return what is asked of tables lest more be read than what is known of these joints."""
    named = counts["joint"].unique().tolist()
    return {"joint": named} if len(named) <= MOST_JOINTS_NAMED else None


def _known(
    register: Register,
    by: Sequence[str],
    counts: pd.DataFrame,
    *,
    job: str | None,
    as_of: datetime | None,
) -> _Known:
    only = _only(counts)
    deposits = deposits_of(register, by, job=job, as_of=as_of, only=only)
    spots = register.table("spots", job=job, as_of=as_of, columns=["job", "joint"])
    attributes, to_the_end = attributes_of(by), counts["open_from_mm"].notna().any()
    # Nobody asks how long the joints are where each place is recorded and nothing was drawn.
    joints = _NO_JOINTS
    if attributes or to_the_end or len(spots):
        joints = joints_of(register, attributes, job=job, as_of=as_of, only=only)
    welds = joints.head(0) if deposits is None else deposits
    unit, number, made, drawn = numbered(counts, joints, welds, spots)
    return _Known(counts, joints, deposits, unit, positions(number, unit), made, drawn)


class _Reach(NamedTuple):
    """Between which days and places the examinations counted on each joint lie, by its number."""

    first: Any
    last: Any
    low: Any
    high: Any
    told: Any


def _reach(known: _Known) -> _Reach:
    """Return how far the examinations of each joint reach; not ``told`` is where some have no end.

    Those that go to the end of a joint whose length is not known have none, nor has a place that
    begins where it ends: nobody's work is known to be in them.
    """
    counts = known.counts
    length = attributes_at(known.joints, known.joint, ())["length_mm"].to_numpy()
    opened = counts["open_from_mm"].to_numpy()
    to_end = ~np.isnan(opened)
    bad = to_end & ~(length > opened) | (counts["least_mm"].to_numpy() <= 0)
    high = np.fmax(counts["to_mm"].to_numpy(), np.where(to_end, length, np.nan))
    of_joint = pd.DataFrame(
        {"first": counts["first_day"].to_numpy(), "last": counts["last_day"].to_numpy(),
         "low": counts["from_mm"].to_numpy(), "high": high, "bad": bad}
    ).groupby(known.unit)  # fmt: skip
    ends = of_joint.agg({"first": "min", "last": "max", "low": "min", "high": "max", "bad": "any"})
    size = max(int(part.max(initial=-1)) for part in (known.unit, known.made)) + 1
    ends = ends.reindex(range(size))
    told = ~ends["bad"].fillna(value=False).to_numpy(bool)
    first, last, low, high = (ends[name].to_numpy() for name in ("first", "last", "low", "high"))
    return _Reach(first, last, low, high, told)


def _placed(known: _Known) -> tuple[Any, Any, Any]:
    """Return of each deposit whether it covers all that was examined of its joint, or none.

    The third is the reach of the joints.
    """
    reach, of, made = _reach(known), known.made, cast(pd.DataFrame, known.deposits)
    low, high = made["from_mm"].fillna(0.0).to_numpy(), made["to_mm"].fillna(np.inf).to_numpy()
    day = made["date"].to_numpy()
    with np.errstate(invalid="ignore"):
        all_of_it = (low <= reach.low[of]) & (high >= reach.high[of]) & (day <= reach.first[of])
        # What was welded after all examinations, or elsewhere on the joint, was not examined.
        apart = (high <= reach.low[of]) | (low >= reach.high[of])
    return all_of_it, apart | ~(day <= reach.last[of]), reach


def _uneven(known: _Known) -> Any:
    """Return the numbers of joints whose examinations are not all charged alike."""
    all_of_it, none_of_it, reach = _placed(known)
    uneven = known.made[~(all_of_it | none_of_it)]
    return np.concatenate([uneven, np.flatnonzero(~reach.told)])


def _alike(known: _Known, kept: Any, by: Sequence[str]) -> pd.DataFrame:
    """Return the examinations counted, a row for each joint and each that they are charged to."""
    kept = kept & (known.counts["number"] > 0).to_numpy()
    unit, counts = known.unit[kept], known.counts[kept]
    told = attributes_at(known.joints, known.joint[kept], attributes_of(by))
    seen = told.assign(
        unit=unit, times=counts["number"].to_numpy(), joints=1, part="unplanned",
        **{name: counts[name].to_numpy() for name in ("job", "joint", "method")},
    )  # fmt: skip
    if "month" in by:
        seen["month"] = counts["month"].to_numpy()
    of_deposit = [name for name in by if name in OF_DEPOSIT]
    if of_deposit:
        seen = _charged_alike(seen, known, of_deposit)
    return seen.assign(rejected=False, **_NOT_DRAWN)


def _charged_alike(seen: pd.DataFrame, known: _Known, columns: Sequence[str]) -> pd.DataFrame:
    """Return the examinations counted once for each of different deposits; what is blank is filled.

    As of one examination (:func:`ndtstats.rates.charge.charge`): who welded it by two processes has
    it once by each.
    """
    made = cast(pd.DataFrame, known.deposits).assign(unit=known.made)[_placed(known)[0]]
    made = made[["unit", *columns]].drop_duplicates()
    seen = seen.assign(line=range(len(seen)))
    both = seen.merge(made, on="unit", how="left", suffixes=("_joint", ""))
    for name in columns:
        both[name] = both[name].fillna(UNKNOWN if name == "welder" else both[f"{name}_joint"])
    # A deposit that says the same as the joint and one that leaves it blank are one.
    return both.drop_duplicates(["line", *columns])


def _joined(charges: Charges, rows: pd.DataFrame, alike: pd.DataFrame) -> Charges:
    """Return examinations told one by one and counted ones, with joints numbered alike."""
    names = ["job", "joint"]
    places = rows[names].take(charges.seen["row"].to_numpy())
    one, many = numbered(places, alike)
    parts = [charges.seen.assign(unit=one), alike.assign(unit=many)[charges.seen.columns]]
    return charges._replace(seen=_stacked(*parts))


def _with_united(charges: Charges, counts: pd.DataFrame, by: Sequence[str]) -> Charges:
    """Return charges with joints that the database counted together, accepts and rejects apart."""
    told = counts.assign(part="unplanned")
    if "thickness" in by:
        told["thickness"] = thickness_band(told["thickness_mm"])
    accepted = told.assign(times=told["number"], rejected=False, no_length=0)
    rejected = told.assign(times=told["rejected"], joints=told["rejected_joints"], rejected=True)
    both = pd.concat([accepted, rejected], ignore_index=True)
    both = both[both["times"] > 0].reset_index(drop=True)
    # No joint is in two of these, nor among those known by name.
    size, many = len(charges.seen), charges.seen["unit"].max() + 1 if len(charges.seen) else 0
    seen = both.assign(unit=many + np.arange(len(both)), **_NOT_DRAWN)
    found = pd.DataFrame({"of": size + np.repeat(np.arange(len(both)), both["no_length"])})
    found = found.assign(no_length=True, counts=True).reindex(columns=charges.found.columns)
    return charges._replace(
        seen=_stacked(charges.seen, seen[charges.seen.columns]),
        found=_stacked(charges.found, found),
    )


def _stacked(one: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of both; one without rows has no say in the types."""
    if one.empty or other.empty:
        return one if other.empty else other
    return pd.concat([one, other], ignore_index=True)
