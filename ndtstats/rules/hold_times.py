"""Hold times: how long a weld waits for its examination, by material, size and heat input.

Hydrogen opens cracks in steel up to two days after welding. The tables stand in
``hold_times.toml`` beside this module, each value with its source.
"""

import tomllib
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
import pandas as pd

from ndtstats.rules.families import Items, NotNegative, Part, Text

if TYPE_CHECKING:
    from ndtstats.rules.model import ExtentRule


class HoldRow(Part):
    """Hours that hold for a range of sizes (mm), heat inputs (kJ/mm) and yield strengths (N/mm2).

    Bounds are "over" (left out) or "from", and "up to" (included); a missing one does not bound.
    """

    hours: NotNegative
    over_mm: NotNegative = 0.0
    up_to_mm: NotNegative = float("inf")
    over_kj_mm: NotNegative = 0.0
    up_to_kj_mm: NotNegative = float("inf")
    from_mpa: NotNegative = 0.0
    over_mpa: NotNegative = 0.0
    quenched: bool = False


class HoldTable(Part):
    """A table of hold times: its name, the standard it follows, a note, and its rows."""

    name: Text
    follows: Text
    note: str = ""
    row: Annotated[tuple[HoldRow, ...], Items]


class _Group(Part):
    over: NotNegative = 0.0
    up_to: NotNegative = float("inf")
    quenched: bool = False
    cool: bool = False


@cache
def _data() -> tuple[dict[str, HoldTable], dict[str, _Group]]:
    text = (resources.files("ndtstats.rules") / "hold_times.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    tables = [HoldTable.model_validate(table) for table in raw["table"]]
    groups = {name: _Group.model_validate(group) for name, group in raw["group"].items()}
    return {table.name: table for table in tables}, groups


def hold_tables() -> dict[str, HoldTable]:
    """Return the tables of hold times by name.

    Examples
    --------
    >>> list(hold_tables())
    ['bs-en-1011-2', 'eemua-158', 'nsss', 'en-1090-2', 'csa-w59', 'aws-d1.1', 'iacs-w33']
    """
    return _data()[0]


def hold_hours(
    scheme: str, material_group: Any, thickness_mm: Any, heat_input_kj_mm: Any = None
) -> pd.DataFrame:
    """Return the hold time of welds by a table.

    Parameters
    ----------
    scheme : str
        Name of the table; KeyError if there is none of that name.
    material_group : array_like of str, shape (n,)
        Group of ISO/TR 15608, missing where not known.
    thickness_mm : array_like, shape (n,)
        Throat of a fillet or thickness of a butt, in mm; missing where not known.
    heat_input_kj_mm : array_like, shape (n,), optional
        Heat input in kJ/mm; None: not known.

    Returns
    -------
    DataFrame
        ``hours`` after the end of welding (0: when it has cooled), and ``assumed``: what was not
        known, so that the longer time was taken; "" where nothing was. The index is that of
        ``material_group``, if it has one.

    Examples
    --------
    >>> hold_hours("en-1090-2", ["1.2", "1.2", "22.3"], [10.0, 10.0, 10.0], [2.5, None, None])
       hours     assumed
    0    8.0
    1   16.0  heat input
    2    0.0
    """
    group = pd.Series(material_group, dtype="str")
    size = pd.Series(thickness_mm, dtype="float64")
    heat = np.nan if heat_input_kj_mm is None else heat_input_kj_mm
    given = pd.DataFrame(
        {"group": group.to_numpy(), "size": size.to_numpy(), "heat": np.asarray(heat, "float64")}
    )
    kind = given.groupby(list(given), dropna=False, sort=False).ngroup()
    distinct = given[~kind.duplicated()].reset_index(drop=True)
    found = _looked_up(hold_tables()[scheme], distinct)
    return found.take(kind.to_numpy()).set_axis(group.index)


def hold_of(rule: "ExtentRule", joints: pd.DataFrame) -> pd.DataFrame:
    """Return the hold time that a rule asks of joints: by its table, and at least ``hold_hours``.

    Parameters
    ----------
    rule : ExtentRule
        The rule.
    joints : DataFrame
        Columns ``material`` and ``thickness_mm``; the register does not know heat input.

    Returns
    -------
    DataFrame
        As :func:`hold_hours`, aligned to ``joints``.
    """
    if rule.hold_times is None:
        return pd.DataFrame({"hours": rule.hold_hours, "assumed": ""}, index=joints.index)
    found = hold_hours(rule.hold_times, joints["material"], joints["thickness_mm"])
    less = found["hours"] < rule.hold_hours
    return found.assign(
        hours=found["hours"].clip(lower=rule.hold_hours), assumed=found["assumed"].mask(less, "")
    )


def _looked_up(table: HoldTable, given: pd.DataFrame) -> pd.DataFrame:
    """Return hours and what was assumed, for each distinct weld against each row of a table."""
    hours = np.array([row.hours for row in table.row])
    may, sure = zip(
        _by_material(table, given["group"]),
        _within(given["size"], [(row.over_mm, row.up_to_mm) for row in table.row]),
        _within(given["heat"], [(row.over_kj_mm, row.up_to_kj_mm) for row in table.row]),
        strict=True,
    )
    applies = np.logical_and.reduce(may)
    certain = np.logical_and.reduce(sure)
    longest = np.where(applies, hours, 0.0).max(axis=1)
    known = np.where(certain, hours, 0.0).max(axis=1)
    behind = applies & (hours == longest[:, None]) & (longest > known)[:, None]
    told = pd.Series("", index=given.index, dtype="str")
    for name, of_input in zip(("material", "thickness", "heat input"), sure, strict=True):
        told += np.where((behind & ~of_input).any(axis=1), f", {name}", "")
    return pd.DataFrame({"hours": longest, "assumed": told.str.removeprefix(", ")})


def _within(values: "pd.Series[float]", bounds: list[tuple[float, float]]) -> tuple[Any, Any]:
    """Return where each value may be, and where it is for sure, within each pair of bounds."""
    low, high = np.array(bounds).T
    at = values.to_numpy()[:, None]
    inside = (at > low) & (at <= high)
    unbounded = (low == 0.0) & np.isinf(high)
    return inside | np.isnan(at), inside | unbounded


def _by_material(table: HoldTable, named: "pd.Series[str]") -> tuple[Any, Any]:
    """Return where each row may hold, and where it does for sure, for the steel of each weld."""
    groups = [_group_of(name) for name in named.fillna("")]
    low = np.array([g.over for g in groups])[:, None]
    high = np.array([g.up_to for g in groups])[:, None]
    unknown = np.array([g == _Group() for g in groups])[:, None]
    hard = np.array([g.quenched for g in groups])[:, None]
    cool = np.array([g.cool for g in groups])[:, None]
    least = np.array([row.from_mpa for row in table.row])
    over = np.array([row.over_mpa for row in table.row])
    quenched = np.array([row.quenched for row in table.row])
    may = (high >= least) & (high > over) & (~quenched | hard | unknown) & ~cool
    # A row for any steel is taken to hold for an unknown one: that it is no steel is not likely.
    sure = may & (low >= least) & (low >= over) & (~quenched | hard)
    return may, sure


def _group_of(name: str) -> _Group:
    """Return what is known of a group of ISO/TR 15608: its own, or that before the dot."""
    groups = _data()[1]
    return groups.get(name) or groups.get(name.split(".", maxsplit=1)[0]) or _Group()
