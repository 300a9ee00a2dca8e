"""Weld in the order in which it was made: first stretches of welders, increments of length."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.rules import ExtentRule
from ndtstats.rules.families import SpotPerIncrement
from ndtstats.statistics import union_intervals
from ndtstats.units import MM_PER_M


def first_stretches(
    joints: pd.DataFrame, deposits: pd.DataFrame, amount: SpotPerIncrement
) -> pd.DataFrame:
    """Return the first ``amount.first_m`` metres of weld, of each welder or in all.

    Parameters
    ----------
    joints : DataFrame
        Columns ``joint``, ``length_mm``; the joints that are counted together.
    deposits : DataFrame
        Columns ``joint``, ``welder``, ``date``, ``from_mm``, ``to_mm``; those of other joints are
        left out, blank bounds mean the whole joint.
    amount : SpotPerIncrement
        Says how long the stretch is and whether each welder has one.

    Returns
    -------
    DataFrame
        Columns ``welder`` ("" where there is one stretch in all), ``joint``, ``from_mm``,
        ``to_mm``: in the order of the days of welding; of the same day, as the joints are named.

    Examples
    --------
    >>> joints = pd.DataFrame({"joint": ["V1", "V2"], "length_mm": [2400.0, 2400.0]})
    >>> deposits = pd.DataFrame({"joint": ["V2", "V1"], "welder": ["A", "A"],
    ...                          "date": pd.to_datetime(["2026-03-02", "2026-03-01"]),
    ...                          "from_mm": [None, None], "to_mm": [None, None]})
    >>> tank = SpotPerIncrement(family="spot-per-increment", increment_m=30.0, first_m=3.0,
    ...                         first_for="each-welder")
    >>> first_stretches(joints, deposits, tank)
      welder joint  from_mm   to_mm
    0      A    V1      0.0  2400.0
    1      A    V2      0.0   600.0
    """
    made = spans_made(joints, deposits)
    if amount.first_for == "once":
        made = made.assign(welder=pd.Series("", index=made.index, dtype="str"))
    whose = made.groupby(["welder", "joint"], sort=False).ngroup()
    heads = made.assign(group=whose).groupby("group")
    first = heads.agg(welder=("welder", "first"), joint=("joint", "first"), date=("date", "min"))
    stretches = union_intervals(whose, made["from_mm"], made["to_mm"]).merge(
        first, left_on="group", right_index=True
    )
    stretches = stretches.sort_values(["welder", "date", "joint", "start"], ignore_index=True)
    length = stretches["end"] - stretches["start"]
    before = length.groupby(stretches["welder"]).cumsum() - length
    left = amount.first_m * MM_PER_M - before
    kept = stretches.assign(end=stretches["start"] + np.minimum(length, left))[left > 0]
    named = kept.rename(columns={"start": "from_mm", "end": "to_mm"})
    return named[["welder", "joint", "from_mm", "to_mm"]].reset_index(drop=True)


def spans_made(joints: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return the deposits on joints with their bounds filled in and clipped to the joint."""
    columns = ["joint", "welder", "date", "from_mm", "to_mm"]
    made = deposits[columns].merge(joints[["joint", "length_mm"]], on="joint")
    made["from_mm"] = made["from_mm"].astype("float64").fillna(0.0)
    made["to_mm"] = np.minimum(made["to_mm"].astype("float64").fillna(np.inf), made["length_mm"])
    return made[made["to_mm"] > made["from_mm"]].reset_index(drop=True)


def in_stretches(cells: pd.DataFrame, stretches: pd.DataFrame) -> pd.DataFrame:
    """Return which cells lie in which stretch: half of the cell in it, or half of it in the cell.

    Parameters
    ----------
    cells : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``; the index names the cell.
    stretches : DataFrame
        As :func:`first_stretches` returns them.

    Returns
    -------
    DataFrame
        Columns ``cell``, ``welder``.
    """
    near = cells.loc[cells["joint"].isin(stretches["joint"]), ["joint", "from_mm", "to_mm"]]
    pairs = near.rename_axis("cell").reset_index()
    pairs = pairs.merge(stretches, on="joint", suffixes=("", "_of"))
    shared = np.minimum(pairs["to_mm"], pairs["to_mm_of"]) - np.maximum(
        pairs["from_mm"], pairs["from_mm_of"]
    )
    least = np.minimum(pairs["to_mm"] - pairs["from_mm"], pairs["to_mm_of"] - pairs["from_mm_of"])
    inside = (shared > 0) & (shared >= least / 2)
    return pairs.loc[inside, ["cell", "welder"]].drop_duplicates(ignore_index=True)


def increment_of(
    places: pd.DataFrame, joints: pd.DataFrame, deposits: pd.DataFrame, increment_m: float
) -> "pd.Series[int]":
    """Return in which increment of weld length each place lies, from 1, as the welding went on.

    In the order of welding, so that a joint that is added later leaves the others where they were.

    Parameters
    ----------
    places : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``; where its middle is, a place is.
    joints : DataFrame
        Columns ``joint``, ``length_mm`` and ``group``: each group is counted apart.
    deposits : DataFrame
        Columns ``joint``, ``date``.
    increment_m : float
        Length of an increment.
    """
    begun = deposits.groupby("joint")["date"].min()
    ordered = joints.assign(begun=joints["joint"].map(begun)).sort_values(
        ["begun", "joint"], na_position="last"
    )
    after = ordered.groupby("group", dropna=False)["length_mm"].cumsum()
    begins = (after - ordered["length_mm"]).set_axis(ordered["joint"])
    middle = places["joint"].map(begins) + (places["from_mm"] + places["to_mm"]) / 2
    number: pd.Series[int] = (middle // (increment_m * MM_PER_M) + 1).astype("int64")
    return number


def with_sequence(
    cells: pd.DataFrame, joints: pd.DataFrame, deposits: pd.DataFrame, rule: ExtentRule
) -> pd.DataFrame:
    """Return cells with what a rule asks to know of the order of welding.

    Parameters
    ----------
    cells : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``; the cells that are counted together.
    joints : DataFrame
        Columns ``joint``, ``length_mm``; those of other cells are left out.
    deposits : DataFrame
        Columns ``joint``, ``welder``, ``date``, ``from_mm``, ``to_mm``.
    rule : ExtentRule
        The rule that the cells are under.

    Returns
    -------
    DataFrame
        ``cells`` with ``stretch`` (whose first stretch a cell lies in: names parted by semicolons;
        "all" where there is one for all; "" where it is none) and ``increment`` (its number, 0
        where the rule does not ask).
    """
    amount = rule.amount
    stretch = pd.Series("", index=cells.index, dtype="str")
    increment: Any = 0
    if isinstance(amount, SpotPerIncrement):
        mine = joints[joints["joint"].isin(cells["joint"])]
        if amount.first_m > 0:
            pairs = in_stretches(cells, first_stretches(mine, deposits, amount))
            pairs["welder"] = pairs["welder"].mask(pairs["welder"] == "", "all")
            found = pairs.sort_values(["cell", "welder"]).groupby("cell")["welder"].agg("; ".join)
            stretch = found.reindex(cells.index).fillna("").astype("str")
        if amount.shown_in == "each-increment":
            theirs = deposits[deposits["joint"].isin(mine["joint"])]
            whole = mine.assign(group="")
            increment = increment_of(cells, whole, theirs, amount.increment_m)
    return cells.assign(stretch=stretch, increment=increment)
