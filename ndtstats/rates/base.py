"""The rows that rates are made of: first examinations, with what is known of weld and plan."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.bands import thickness_band
from ndtstats.numbers import numbered, positions
from ndtstats.rates.chance import with_parts
from ndtstats.register import Register, jobs_known, overturned_ids, second_reading
from ndtstats.register.schema import STORED

#: What is known of the weld that was examined.
ATTRIBUTES = (
    "zone", "category", "joint_type", "material", "thickness", "process", "position", "procedure",
)  # fmt: skip

#: Columns of the examinations that rates need; a register has many rows and many columns.
NEEDED = (
    "job", "joint", "method", "from_mm", "to_mm", "round", "verdict", "date", "request",
)  # fmt: skip

_OF_SPOTS = (
    "spot", "plan", "job", "joint", "rule", "method", "from_mm", "to_mm", "part", "stratum", "pi",
    "draw_order", "round",
)  # fmt: skip


def all_examinations(
    register: Register, *, job: str | None, method: str | None, as_of: datetime | None
) -> pd.DataFrame:
    """Return all examinations with their places filled in and what is known of their joint.

    Columns of the examinations table, and :data:`ATTRIBUTES` (``thickness`` is a band), ``month``,
    ``joint_mm`` (length of the joint), and ``overturned``: a reject that a second reading judged
    acceptable stands as an accept, and is marked so.
    """
    return read_examinations(register, job=job, method=method, as_of=as_of)


def read_examinations(
    register: Register,
    *,
    job: str | None,
    method: str | None,
    as_of: datetime | None,
    attributes: Sequence[str] = ATTRIBUTES,
    columns: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Return examinations as :func:`all_examinations` does, with only some columns.

    Parameters
    ----------
    attributes : sequence of str
        Which of :data:`ATTRIBUTES`.
    columns : sequence of str, optional
        Which columns of the examinations table; None: all.
    """
    if not register.remembers:
        return _read(register, job, method, as_of, attributes, columns)
    # Who remembers is asked for one selection after the other: all is worked out once.
    only = jobs_known(register, as_of) == [job]
    rows = register.once(
        ("examinations on joints", None if only else job, as_of),
        lambda: _read(register, job, None, as_of, ATTRIBUTES, None),
    )
    if method is not None:
        rows = rows[rows["method"] == method].reset_index(drop=True)
    left_out = [name for name in ATTRIBUTES if name not in attributes]
    if columns is not None:
        left_out += [c.name for c in STORED["examinations"] if c.name not in columns]
    return rows.drop(columns=left_out)


def _read(
    register: Register,
    job: str | None,
    method: str | None,
    as_of: datetime | None,
    attributes: Sequence[str],
    columns: Sequence[str] | None,
) -> pd.DataFrame:
    rows = register.table("examinations", job=job, as_of=as_of, columns=columns)
    rows = second_verdicts(register, rows, job=job, as_of=as_of)
    if method is not None:
        rows = rows[rows["method"] == method]
    return on_joints(rows, joints_of(register, attributes, job=job, as_of=as_of), attributes)


def second_verdicts(
    register: Register, rows: pd.DataFrame, *, job: str | None, as_of: datetime | None
) -> pd.DataFrame:
    """Return examinations with the verdict that counts and ``overturned``."""
    return second_reading(rows, overturned_ids(register, job=job, as_of=as_of))


def joints_of(
    register: Register,
    attributes: Sequence[str],
    *,
    job: str | None,
    as_of: datetime | None,
    only: Mapping[str, Sequence[str]] | None = None,
) -> pd.DataFrame:
    """Return the joints with their length and what some attributes are read from."""
    columns = ["job", "joint", "length_mm", *read_from(attributes)]
    return register.table("joints", job=job, as_of=as_of, columns=columns, only=only)


def read_from(attributes: Sequence[str]) -> list[str]:
    """Return the columns of the joints that some attributes are read from."""
    return ["thickness_mm" if name == "thickness" else name for name in attributes]


def on_joints(rows: pd.DataFrame, joints: pd.DataFrame, attributes: Sequence[str]) -> pd.DataFrame:
    """Return examinations, indexed from 0, with their places filled in and what is known of them.

    A blank place goes from the datum, or to the joint's end. Added are ``unit``, the number of the
    joint; ``joint_mm``, its length; ``month``; and the attributes, missing of a joint not known.
    """
    unit, number = numbered(rows, joints)
    known = attributes_at(joints, positions(number, unit), attributes)
    length = known["length_mm"].to_numpy()
    start, end = rows["from_mm"].to_numpy(), rows["to_mm"].to_numpy()
    return rows.assign(
        from_mm=np.where(np.isnan(start), 0.0, start),
        to_mm=np.where(np.isnan(end), length, end),
        unit=unit,
        joint_mm=length,
        month=month_of(rows["date"]),
        **{name: known[name].to_numpy() for name in attributes},
    ).reset_index(drop=True)


def attributes_at(joints: pd.DataFrame, at: Any, attributes: Sequence[str]) -> pd.DataFrame:
    """Return length and attributes of joints by position; of none (-1) they are missing."""
    known: pd.DataFrame = joints[["length_mm", *read_from(attributes)]].reindex(at)
    if "thickness" in attributes:
        known = known.assign(thickness=thickness_band(known["thickness_mm"]))
    return known.reset_index(drop=True)


def month_of(date: "pd.Series[pd.Timestamp]") -> "pd.Series[str]":
    """Return the month of each day, such as 2026-03; each distinct month is written once."""
    codes, months = pd.factorize(date.to_numpy("datetime64[M]"))
    # What is missing has the code -1, the last one.
    names = np.array([*np.datetime_as_string(months).tolist(), None], dtype=object)
    return pd.Series(names[codes], date.index, dtype="str")


def first_examinations(
    register: Register,
    *,
    job: str | None = None,
    method: str | None = None,
    as_of: datetime | None = None,
    attributes: Sequence[str] = ATTRIBUTES,
) -> pd.DataFrame:
    """Return the first examinations that say something of the weld, one row each.

    Repairs (round 1 and more), re-shoots and examinations not done are left out; they are counted
    by :func:`ndtstats.rates.set_aside`.

    Parameters
    ----------
    attributes : sequence of str
        Which of :data:`ATTRIBUTES` to give, for those that need few.

    Returns
    -------
    DataFrame
        Columns ``id``, ``job``, ``joint``, ``method``, ``from_mm``, ``to_mm``, ``date``,
        ``verdict``, ``request``, ``unit`` (number of the joint), ``month``, ``joint_mm``, the
        attributes, and: ``rejected`` (bool); ``length_mm`` examined; ``spot``, ``part``, ``pi``,
        ``weight`` and ``stratum``, as :func:`ndtstats.rates.chance.with_parts` gives them.
    """
    every = read_examinations(
        register, job=job, method=method, as_of=as_of, attributes=attributes, columns=NEEDED
    )
    return first_of(register, every, job=job, as_of=as_of)


def first_of(
    register: Register, every: pd.DataFrame, *, job: str | None, as_of: datetime | None
) -> pd.DataFrame:
    """Return the first of some examinations as :func:`first_examinations` does."""
    rows = every[(every["round"] == 0) & every["verdict"].isin(["accept", "reject"])]
    rows = planned(register, rows.reset_index(drop=True), every, job=job, as_of=as_of)
    return rows.assign(
        rejected=rows["verdict"] == "reject", length_mm=rows["to_mm"] - rows["from_mm"]
    )


def planned(
    register: Register,
    rows: pd.DataFrame,
    every: pd.DataFrame,
    *,
    job: str | None,
    as_of: datetime | None,
) -> pd.DataFrame:
    """Return some of all examinations, indexed from 0, with the part of a plan they belong to."""
    spots = register.table("spots", job=job, as_of=as_of, columns=_OF_SPOTS)
    plans = register.table("plans", job=job, as_of=as_of, columns=["plan", "drawn_at"])
    not_done = every.loc[every["verdict"] == "not done", "request"]
    return with_parts(rows, spots, plans, not_done)


def indications(
    register: Register,
    rows: pd.DataFrame,
    *,
    job: str | None,
    as_of: datetime | None,
    only: Mapping[str, Sequence[str]] | None = None,
) -> pd.DataFrame:
    """Return the rejectable indications of some examinations, one row each.

    Parameters
    ----------
    rows : DataFrame
        Examinations: ``id``, ``from_mm``, ``to_mm``, ``rejected``.
    only : mapping, optional
        As of :meth:`~ndtstats.register.Register.table`; it holds the joints of these examinations.

    Returns
    -------
    DataFrame
        Columns ``id`` (of the examination), ``imperfection``, ``start_mm``, ``end_mm``,
        ``located`` (whether place and length are known), ``imp_from_mm``, ``imp_length_mm``,
        ``imp_pass``, ``imp_side``. One that is not located spans its whole spot, and so does the
        one row of a rejected spot with no indication recorded: nothing shorter is known. Where it
        is not said whether an indication of a rejected spot is rejectable, it is.
    """
    shown = register.table("imperfections", job=job, as_of=as_of, only=only)
    shown = shown[shown["imp_rejectable"].fillna(value=True).astype(bool)]
    rejected = rows.loc[rows["rejected"], ["id", "from_mm", "to_mm"]]
    joined = rejected.merge(
        shown, left_on="id", right_on="examination", suffixes=("", "_row"), how="left"
    )
    located = joined["imp_from_mm"].notna() & (joined["imp_length_mm"] > 0)
    end = joined["imp_from_mm"] + joined["imp_length_mm"]
    told = joined[["id", "imperfection", "imp_from_mm", "imp_length_mm", "imp_pass", "imp_side"]]
    return told.assign(
        start_mm=joined["imp_from_mm"].where(located, joined["from_mm"]),
        end_mm=end.where(located, joined["to_mm"]),
        located=located,
    )
