"""Weld in the order in which it was made: first stretches of welders, increments of length.

And by whom, all of them, where a rule counts the work of each welder apart.
"""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.places import welders_of
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
        Columns ``joint``, ``length_mm``, ``group``: each group is counted apart.
    deposits : DataFrame
        Columns ``joint``, ``welder``, ``date``, ``from_mm``, ``to_mm``; those of other joints are
        left out, blank bounds mean the whole joint.
    amount : SpotPerIncrement
        Says how long the stretch is and whether each welder has one.

    Returns
    -------
    DataFrame
        Columns ``group``, ``welder`` ("all" where there is one stretch for all), ``joint``,
        ``from_mm``, ``to_mm``: in the order of the days of welding; of the same day, as the joints
        are named.

    Examples
    --------
    >>> joints = pd.DataFrame({"joint": ["V1", "V2"], "length_mm": 2400.0, "group": 8})
    >>> deposits = pd.DataFrame({"joint": ["V2", "V1"], "welder": ["A", "A"],
    ...                          "date": pd.to_datetime(["2026-03-02", "2026-03-01"]),
    ...                          "from_mm": [None, None], "to_mm": [None, None]})
    >>> tank = SpotPerIncrement(family="spot-per-increment", increment_m=30.0, first_m=3.0,
    ...                         first_for="each-welder")
    >>> first_stretches(joints, deposits, tank)
       group welder joint  from_mm   to_mm
    0      8      A    V1      0.0  2400.0
    1      8      A    V2      0.0   600.0
    """
    made = spans_made(joints, deposits)
    if amount.first_for == "once":
        made = made.assign(welder=pd.Series("all", index=made.index, dtype="str"))
    whose = made.groupby(["welder", "joint"], sort=False).ngroup()
    heads = made.groupby(whose)
    first = heads.agg(
        group=("group", "first"), welder=("welder", "first"), joint=("joint", "first"),
        date=("date", "min"),
    )  # fmt: skip
    union = union_intervals(whose, made["from_mm"], made["to_mm"])
    stretches = first.reindex(union["group"]).reset_index(drop=True)
    stretches = stretches.assign(from_mm=union["start"], to_mm=union["end"]).sort_values(
        ["group", "welder", "date", "joint", "from_mm"], ignore_index=True
    )
    length = stretches["to_mm"] - stretches["from_mm"]
    before = length.groupby([stretches["group"], stretches["welder"]]).cumsum() - length
    left = amount.first_m * MM_PER_M - before
    kept = stretches.assign(to_mm=stretches["from_mm"] + np.minimum(length, left))[left > 0]
    return kept[["group", "welder", "joint", "from_mm", "to_mm"]].reset_index(drop=True)


def spans_made(joints: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return the deposits on joints with their bounds filled in and clipped to the joint.

    Columns as in ``deposits``, with ``length_mm`` and ``group`` of the joint.
    """
    columns = ["joint", "welder", "date", "from_mm", "to_mm"]
    made = deposits[columns].merge(joints[["joint", "length_mm", "group"]], on="joint")
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
        Columns ``cell``, ``group``, ``welder``.
    """
    near = cells.loc[cells["joint"].isin(stretches["joint"]), ["joint", "from_mm", "to_mm"]]
    pairs = near.rename_axis("cell").reset_index()
    pairs = pairs.merge(stretches, on="joint", suffixes=("", "_of"))
    shared = np.minimum(pairs["to_mm"], pairs["to_mm_of"]) - np.maximum(
        pairs["from_mm"], pairs["from_mm_of"]
    )
    least = np.minimum(pairs["to_mm"] - pairs["from_mm"], pairs["to_mm_of"] - pairs["from_mm_of"])
    inside = (shared > 0) & (shared >= least / 2)
    return pairs.loc[inside, ["cell", "group", "welder"]].drop_duplicates(ignore_index=True)


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
    begins = places["joint"].map(_begins(joints, deposits))
    middle = begins + (places["from_mm"] + places["to_mm"]) / 2
    number: pd.Series[int] = (middle // (increment_m * MM_PER_M) + 1).astype("int64")
    return number


def _begins(joints: pd.DataFrame, deposits: pd.DataFrame) -> "pd.Series[float]":
    """Return by joint how much weld of its group was begun before it, in mm."""
    begun = deposits.groupby("joint")["date"].min()
    ordered = joints.assign(begun=joints["joint"].map(begun)).sort_values(
        ["begun", "joint"], na_position="last"
    )
    after = ordered.groupby("group", dropna=False)["length_mm"].cumsum()
    return (after - ordered["length_mm"]).set_axis(ordered["joint"])


def cut_at_increments(
    made: pd.DataFrame, joints: pd.DataFrame, deposits: pd.DataFrame, increment_m: float
) -> pd.DataFrame:
    """Return places cut where an increment of weld length ends, with their ``increment``.

    Parameters
    ----------
    made : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``; other columns are kept.
    joints, deposits, increment_m
        As for :func:`increment_of`.
    """
    size = increment_m * MM_PER_M
    begins = made["joint"].map(_begins(joints, deposits)).to_numpy(float)
    low, high = begins + made["from_mm"].to_numpy(float), begins + made["to_mm"].to_numpy(float)
    first = np.floor(low / size).astype(np.int64)
    # A place that ends with an increment has no part in the next one.
    number = np.maximum(np.ceil(high / size).astype(np.int64) - first, 1)
    row = np.repeat(np.arange(len(made)), number)
    step = np.arange(len(row)) - np.repeat(np.cumsum(number) - number, number)
    increment = first[row] + step
    pieces = made.iloc[row].assign(
        from_mm=np.maximum(low[row], increment * size) - begins[row],
        to_mm=np.minimum(high[row], (increment + 1) * size) - begins[row],
        increment=increment + 1,
    )
    return pieces.reset_index(drop=True)


def with_sequence(
    cells: pd.DataFrame, joints: pd.DataFrame, deposits: pd.DataFrame, rule: ExtentRule
) -> pd.DataFrame:
    """Return cells with what a rule asks to know of who welded them, and in which order.

    Parameters
    ----------
    cells : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, ``welder`` (leading); the cells that are counted
        together.
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
        "all" where there is one for all; "" where it is none), ``increment`` (its number, 0
        where the rule does not ask) and ``crew``: all whose work the cell shows, where the rule
        counts each welder apart or shows him in each increment; else who leads it.
    """
    amount = rule.amount
    apart = rule.each_welder or getattr(amount, "shown_in", "") == "each-increment"
    crew = _crew(cells, deposits) if apart else cells["welder"]
    stretch = pd.Series("", index=cells.index, dtype="str")
    increment: Any = 0
    if isinstance(amount, SpotPerIncrement):
        mine = joints[joints["joint"].isin(cells["joint"])].assign(group="")
        if amount.first_m > 0:
            pairs = in_stretches(cells, first_stretches(mine, deposits, amount))
            found = pairs.sort_values(["cell", "welder"]).groupby("cell")["welder"].agg("; ".join)
            stretch = found.reindex(cells.index).fillna("").astype("str")
        if amount.shown_in == "each-increment":
            theirs = deposits[deposits["joint"].isin(mine["joint"])]
            increment = increment_of(cells, mine, theirs, amount.increment_m)
    return cells.assign(stretch=stretch, increment=increment, crew=crew)


def _crew(cells: pd.DataFrame, deposits: pd.DataFrame) -> "pd.Series[str]":
    """Return all whose work each cell shows, parted by semicolons."""
    parts = welders_of(cells, deposits)
    shown = parts[parts["shown"]].sort_values(["cell", "welder"])
    names = shown.groupby("cell")["welder"].agg("; ".join)
    # What shows nobody by half is under the name of who leads it.
    return names.reindex(cells.index).astype("str").fillna(cells["welder"])
