"""First examinations counted by the database: rows only where a number does not tell all.

Most examinations are accepted, on joints where nothing was drawn and whose every deposit covers all
that was examined. Of these it is enough to know how many there are on each joint; who reads them
one by one pays for each, and gets the same counts. Rejects, joints with spots of a plan, and joints
whose parts have different welders go one by one.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple, cast

import numpy as np
import pandas as pd

from ndtstats.rates.base import (
    NEEDED,
    attributes_at,
    first_of,
    indications,
    joints_of,
    on_joints,
    second_verdicts,
)
from ndtstats.rates.charge import OF_DEPOSIT, UNKNOWN, Charges
from ndtstats.rates.numbers import numbered, positions
from ndtstats.rates.sample import attributes_of, charged, deposits_of
from ndtstats.register import Register, accepted_on_joints, told_one_by_one

_NO_JOINTS = pd.DataFrame(
    {"job": pd.Series(dtype="str"), "joint": pd.Series(dtype="str"),
     "length_mm": pd.Series(dtype="float64")}
)  # fmt: skip


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
        stands for; such a row was not rejected, has no weight, and no ``pieces``. Good for counts
        of spots and joints, and for all that rests on a weight.

    Notes
    -----
    Checked against the same of every examination one by one, in invented registers.
    """
    # Counts and rows are read one after the other, and must be of the same instant.
    as_of = as_of or register.latest_time()
    asked: dict[str, Any] = {"method": method, "job": job, "as_of": as_of}
    known = _known(register, by, **asked)
    single = np.isin(known.unit, known.drawn)
    if known.deposits is not None:
        single |= np.isin(known.unit, _uneven(known))
    places = known.counts.loc[single, ["job", "joint"]].drop_duplicates()
    told = told_one_by_one(register, places, NEEDED, **asked)
    told = second_verdicts(register, told, job=job, as_of=as_of)
    joints = known.joints
    if joints.empty and told["to_mm"].isna().any():
        joints = joints_of(register, attributes_of(by), job=job, as_of=as_of)
    rows = on_joints(told, joints, attributes_of(by))
    rows = first_of(register, rows, job=job, as_of=as_of)
    shown = indications(register, rows, job=job, as_of=as_of)
    charges = charged(rows, shown, known.deposits, by)
    return _together(charges, rows, _alike(known, ~single, by))


def _known(
    register: Register,
    by: Sequence[str],
    *,
    method: str | None,
    job: str | None,
    as_of: datetime | None,
) -> _Known:
    apart = [] if method else ["method"]
    if "month" in by:
        apart.append("month")
    counts = accepted_on_joints(register, apart, job=job, method=method, as_of=as_of)
    deposits = deposits_of(register, by, job=job, as_of=as_of)
    spots = register.table("spots", job=job, as_of=as_of, columns=["job", "joint"])
    attributes, to_the_end = attributes_of(by), counts["open_from_mm"].notna().any()
    # Nobody asks how long the joints are where each place is recorded and nothing was drawn.
    joints = _NO_JOINTS
    if attributes or to_the_end or len(spots):
        joints = joints_of(register, attributes, job=job, as_of=as_of)
    welds = joints.head(0) if deposits is None else deposits
    unit, number, made, drawn = numbered(counts, joints, welds, spots)
    counts = counts if method is None else counts.assign(method=method)
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
    unit, counts = known.unit[kept], known.counts[kept]
    told = attributes_at(known.joints, known.joint[kept], attributes_of(by))
    seen = told.assign(
        unit=unit, times=counts["number"].to_numpy(), part="unplanned",
        **{name: counts[name].to_numpy() for name in ("job", "joint", "method")},
    )  # fmt: skip
    if "month" in by:
        seen["month"] = counts["month"].to_numpy()
    of_deposit = [name for name in by if name in OF_DEPOSIT]
    if of_deposit:
        seen = _charged_alike(seen, known, of_deposit)
    return seen.assign(
        row=-1, deposit=-1, rejected=False, shared=False, weight=np.nan, drawn_in=-1, whole=False
    )


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


def _together(charges: Charges, rows: pd.DataFrame, alike: pd.DataFrame) -> Charges:
    """Return examinations told one by one and counted ones, with joints numbered alike."""
    names = ["job", "joint"]
    places = rows[names].take(charges.seen["row"].to_numpy())
    one, many = numbered(places, alike)
    parts = [charges.seen.assign(unit=one), alike.assign(unit=many)[charges.seen.columns]]
    return charges._replace(seen=pd.concat(parts, ignore_index=True))
