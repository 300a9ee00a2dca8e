"""Exposures grouped in shifts, and which spots no shift reaches before their zone is out of reach.

An exposure is the unit of time: a shift takes so many of them, a day so many shifts, and every
calendar day is worked. A spot of several exposures may begin in one shift and end in a later one;
it is done in the shift in which it ends.
"""

from datetime import date
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.planning.order import in_walking_order

#: Who goes first where not all can be reached. A reserve stands in for a spot drawn by chance.
RANK = {"required": 0, "random": 1, "reserve": 1, "extra": 2, "targeted": 3}

Ints = npt.NDArray[np.int64]


class Shifts(NamedTuple):
    """Spots in shifts, and those that are in none.

    ``rows`` are those of :func:`in_shifts` with the ``day`` of the shift, if the first one is
    known, and ``takes``, all exposures of the spot. ``late`` spots are no longer reached in time;
    ``waiting`` ones wait for their joint to be welded.
    """

    rows: pd.DataFrame
    late: int
    waiting: int


def plan_shifts(spots: pd.DataFrame, *, per_shift: int, per_day: int, start: date | None) -> Shifts:
    """Return the spots that can be asked for today, in shifts.

    Parameters
    ----------
    spots : DataFrame
        Open spots: columns as for :func:`shortfall`.
    per_shift, per_day : int
        Exposures in a shift, shifts in a day.
    start : date or None
        Day of the first shift. None: no shift has a day, and none is too late.
    """
    rows = spots[spots["welded"]]
    waiting, late = len(spots) - len(rows), 0
    if start is not None:
        reached = reachable(rows, per_shift=per_shift, per_day=per_day, start=start)
        late = int((~reached).sum())
        rows = rows[reached]
    shifts = in_shifts(rows.assign(takes=rows["exposures"]), per_shift=per_shift)
    day = pd.Series(pd.NaT, index=shifts.index, dtype="datetime64[s]")
    if start is not None:
        day[:] = day_of_shift(shifts["shift"], per_day=per_day, start=start)
    return Shifts(shifts.assign(day=day), late, waiting)


def shift_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return what is done in each shift, one row for each zone it is in.

    Parameters
    ----------
    rows : DataFrame
        As :func:`plan_shifts` gives them, with ``spot``.

    Returns
    -------
    DataFrame
        Columns ``shift``, ``day``, ``zone``, ``due`` (the nearest), ``spots`` (how many),
        ``exposures`` and ``which``: the spots with their joints, and how many of the exposures of
        a spot are in the shift, where it takes more.
    """
    part = rows["exposures"].astype("str") + " of " + rows["takes"].astype("str") + " exposures"
    which = rows["spot"] + " " + rows["joint"]
    which = which.where(rows["exposures"] == rows["takes"], which + " (" + part + ")")
    by = rows.assign(which=which).groupby(["shift", "zone"], sort=False, dropna=False)
    return by.agg(
        day=("day", "first"),
        due=("due", "min"),
        spots=("spot", "size"),
        exposures=("exposures", "sum"),
        which=("which", ", ".join),
    ).reset_index()


def in_shifts(spots: pd.DataFrame, *, per_shift: int) -> pd.DataFrame:
    """Return spots grouped in shifts: what is due first, then as one walks.

    Parameters
    ----------
    spots : DataFrame
        Columns ``due``, ``zone_path``, ``joint``, ``from_mm``, ``method`` and ``exposures`` (how
        many the spot takes, at least 1).
    per_shift : int
        Exposures in a shift, at least 1.

    Returns
    -------
    DataFrame
        One row for each spot and shift, in order: the columns of ``spots``, ``shift`` (from 1) and
        ``exposures``, those of the spot that fall in the shift. All shifts but the last are full.

    Examples
    --------
    >>> spots = pd.DataFrame({"due": pd.to_datetime(["2026-05-01", "2026-04-01"]),
    ...     "zone_path": "TANK", "joint": ["J-1", "J-2"], "from_mm": 0.0, "method": "RT",
    ...     "exposures": [2, 3]})
    >>> in_shifts(spots, per_shift=4)[["joint", "shift", "exposures"]]
      joint  shift  exposures
    0   J-2      1          3
    1   J-1      1          1
    2   J-1      2          1
    """
    ordered = in_walking_order(spots)
    takes = ordered["exposures"].to_numpy(dtype=np.int64)
    end = np.cumsum(takes)
    begin = end - takes
    first, last = begin // per_shift, (end - 1) // per_shift
    parts = last - first + 1
    at = np.repeat(np.arange(len(ordered)), parts)
    shift = first[at] + np.arange(len(at)) - np.repeat(np.cumsum(parts) - parts, parts)
    low = np.maximum(begin[at], shift * per_shift)
    high = np.minimum(end[at], (shift + 1) * per_shift)
    rows: pd.DataFrame = ordered.iloc[at].reset_index(drop=True)
    return rows.assign(shift=shift + 1, exposures=high - low)


def day_of_shift(shift: Any, *, per_day: int, start: date) -> Any:
    """Return the day of each shift, if the first ones are on a given day.

    Parameters
    ----------
    shift : array_like of int
        Numbers of shifts, from 1.
    per_day : int
        Shifts in a day, at least 1.
    start : date
        Day of the first shift.

    Examples
    --------
    >>> day_of_shift([1, 2, 3], per_day=2, start=date(2026, 4, 30)).astype(str).tolist()
    ['2026-04-30', '2026-04-30', '2026-05-01']
    """
    days = (np.asarray(shift, dtype=np.int64) - 1) // per_day
    return np.datetime64(start, "D") + days


def reachable(
    spots: pd.DataFrame, *, per_shift: int, per_day: int, start: date
) -> "pd.Series[bool]":
    """Return which spots can be examined by the day on which they are due.

    Parameters
    ----------
    spots : DataFrame
        Columns ``due`` (last day on which the spot can be reached; missing: always), ``part`` and
        ``exposures``.
    per_shift, per_day : int
        Exposures in a shift, shifts in a day.
    start : date
        Day of the first shift.

    Returns
    -------
    Series of bool
        Aligned to ``spots``. What it marks can be done in time if taken in order of due dates; what
        cannot be reached takes no exposure from what can.

    Notes
    -----
    First as many required spots as can be; then as many drawn by chance as can be beside them; then
    extra, then targeted ones. Within each part the number is the most there can be: where the
    exposures due by some day do not fit, the spots that take most are left out (Moore 1968, in the
    form with a set of jobs that must be on time of Sidney 1973; from memory). If all spots take
    equally many exposures, the number of all parts together is the most there can be as well, for
    the sets of unit jobs that can be in time form a matroid (Lawler 1976, from memory).

    Examples
    --------
    >>> spots = pd.DataFrame({"due": pd.to_datetime(["2026-05-01"] * 3 + [None]), "exposures": 1,
    ...                       "part": ["random", "required", "random", "extra"]})
    >>> reachable(spots, per_shift=2, per_day=1, start=date(2026, 5, 1)).tolist()
    [True, True, False, True]
    """
    dated = np.flatnonzero(spots["due"].notna())
    days = spots["due"].to_numpy(dtype="datetime64[D]")[dated]
    due, at = np.unique(days, return_inverse=True)
    open_days = np.maximum((due - np.datetime64(start, "D")).astype(np.int64) + 1, 0)
    room = open_days * per_day * per_shift
    takes = spots["exposures"].to_numpy(dtype=np.int64)[dated]
    rank = spots["part"].map(RANK).to_numpy()[dated]
    reached = spots["due"].isna().to_numpy(dtype=bool, copy=True)
    for part in np.unique(rank):
        mine = np.flatnonzero(rank == part)
        mine = mine[_most_in_time(at[mine], takes[mine], room)]
        reached[dated[mine]] = True
        used = np.cumsum(np.bincount(at[mine], takes[mine], len(due))).astype(np.int64)
        # Room by an early day is worth nothing if it is all needed by a later one.
        room = np.minimum.accumulate((room - used)[::-1])[::-1]
    return pd.Series(reached, index=spots.index)


def _most_in_time(at: Ints, takes: Ints, room: Ints) -> Ints:
    """Return the positions of the most spots that fit in the room by each due date.

    Due dates are numbered in order; there are few of them, however many spots there are.
    """
    in_turn = np.argsort(at, kind="stable")
    turns = np.split(in_turn, np.searchsorted(at[in_turn], np.arange(1, len(room))))
    kept = np.empty(0, dtype=np.int64)
    for number, turn in enumerate(turns):
        pool = np.concatenate([kept, turn])
        pool = pool[np.argsort(takes[pool], kind="stable")]
        kept = pool[np.cumsum(takes[pool]) <= room[number]] if len(room) else pool
    return kept


def shortfall(spots: pd.DataFrame, *, per_shift: int, per_day: int, start: date) -> pd.DataFrame:
    """Return the spots that can no longer be reached in time, and why.

    Parameters
    ----------
    spots : DataFrame
        Open spots: columns as for :func:`in_shifts`, and ``part`` and ``welded`` (bool).
    per_shift, per_day, start
        As for :func:`reachable`.

    Returns
    -------
    DataFrame
        Rows of ``spots`` in order, with ``why``. A spot of a joint that is not welded yet is
        reckoned with as if it could be examined from the first day on, so it is short only if it
        would be short even then.

    Examples
    --------
    >>> spots = pd.DataFrame({"due": pd.to_datetime(["2026-05-01", "2026-05-09"]),
    ...     "zone_path": "TANK", "joint": ["J-1", "J-2"], "from_mm": 0.0, "method": "RT",
    ...     "exposures": 1, "part": "random", "welded": False})
    >>> short = shortfall(spots, per_shift=4, per_day=1, start=date(2026, 5, 2))
    >>> short[["joint", "why"]].values.tolist()
    [['J-1', 'was due on 2026-05-01, and the joint is not welded yet']]
    """
    reached = reachable(spots, per_shift=per_shift, per_day=per_day, start=start)
    short = in_walking_order(spots[~reached])
    due = short["due"].dt.strftime("%Y-%m-%d").astype("str")
    past = short["due"] < pd.Timestamp(start)
    why = ("was due on " + due).where(past, "no exposure is left for it by " + due)
    waits = why + ", and the joint is not welded yet"
    return short.assign(why=why.where(short["welded"], waits))


def shortfall_sentence(short: pd.DataFrame, open_spots: int, start: date) -> str:
    """Return a shortfall in a sentence.

    Parameters
    ----------
    short : DataFrame
        As :func:`shortfall` returns it.
    open_spots : int
        Number of open spots in all.
    start : date
        Day of the first shift.

    Examples
    --------
    >>> due = pd.to_datetime(["2026-05-01", "2026-05-03"])
    >>> short = pd.DataFrame({"part": ["random", "required"], "due": due})
    >>> print(shortfall_sentence(short, 40, date(2026, 5, 2)))
    2 of 40 open spots can no longer be reached in time: 1 required, 1 random; 1 was due before.
    >>> shortfall_sentence(short.iloc[:0], 1, date(2026, 5, 1))
    'Every open spot can be reached in time (1 is open).'
    """
    if short.empty:
        verb = "is" if open_spots == 1 else "are"
        return f"Every open spot can be reached in time ({open_spots:,} {verb} open)."
    ranked = sorted(short["part"].value_counts().items(), key=lambda item: RANK[str(item[0])])
    parts = ", ".join(f"{count:,} {part}" for part, count in ranked)
    past = int((short["due"] < pd.Timestamp(start)).sum())
    told = f"; {past:,} {'was' if past == 1 else 'were'} due before" if past else ""
    return (
        f"{len(short):,} of {open_spots:,} open spots can no longer be reached in time: "
        f"{parts}{told}."
    )
