"""Unions and intersections of intervals along joints, group by group, without a loop.

An interval is half open, [start, end), in mm from the datum of its joint. The work is one sort and
one running maximum (the measure of a union by a sweep: Klee 1977, Amer. Math. Monthly 84:284,
from memory).
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

_Floats = npt.NDArray[np.float64]


def union_intervals(group: Any, start: Any, end: Any) -> pd.DataFrame:
    """Return the union of the intervals of each group, as intervals that do not touch.

    Parameters
    ----------
    group : array_like of shape (n,)
        Labels; intervals of different groups never merge.
    start, end : array_like of shape (n,)
        Bounds in mm; an empty or reversed interval counts nothing.

    Returns
    -------
    DataFrame
        Columns ``group``, ``start``, ``end``, by the groups' first occurrence, then by ``start``.

    Examples
    --------
    >>> union_intervals(["a", "a", "b", "a"], [0, 5, 0, 20], [10, 12, 3, 25])
      group  start   end
    0     a    0.0  12.0
    1     a   20.0  25.0
    2     b    0.0   3.0
    """
    codes, names = pd.factorize(pd.Series(group))
    low, high = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    kept = (high > low) & (codes >= 0)
    codes, low, high = codes[kept], low[kept], high[kept]
    order = np.lexsort((low, codes))
    codes, low, high = codes[order], low[order], high[order]
    reach = _running_maximum(codes, high)
    opens = np.ones(len(low), dtype=bool)
    opens[1:] = (codes[1:] != codes[:-1]) | (low[1:] > reach[:-1])
    first = np.flatnonzero(opens)
    last = np.append(first[1:], len(low)) - 1 if len(first) else first
    return pd.DataFrame(
        {"group": names.take(codes[first]), "start": low[first], "end": reach[last]}
    )


def _running_maximum(codes: npt.NDArray[np.int64], values: _Floats) -> _Floats:
    """Return the running maximum of ``values`` within runs of equal, ascending ``codes``."""
    # Ranks instead of values: whole numbers stay exact when the groups are laid end to end.
    distinct, rank = np.unique(values, return_inverse=True)
    laid = np.maximum.accumulate(codes * len(distinct) + rank)
    running: _Floats = distinct[laid - codes * len(distinct)]
    return running


def union_length(group: Any, start: Any, end: Any) -> "pd.Series[float]":
    """Return the length of the union of the intervals of each group, in mm.

    Parameters and conventions as in :func:`union_intervals`; the result is indexed by group.

    Examples
    --------
    >>> union_length(["a", "a", "b"], [0, 5, 0], [10, 12, 3]).to_dict()
    {'a': 12.0, 'b': 3.0}
    """
    union = union_intervals(group, start, end)
    lengths = (union["end"] - union["start"]).groupby(union["group"], sort=False).sum()
    return lengths.rename("length_mm")


def intersect_length(
    group_a: Any, start_a: Any, end_a: Any, group_b: Any, start_b: Any, end_b: Any
) -> "pd.Series[float]":
    """Return the length that two families of intervals have in common, per group, in mm.

    By inclusion and exclusion: what two unions share is their sum less the union of both.

    Examples
    --------
    >>> intersect_length(["a"], [0], [10], ["a", "b"], [6, 0], [20, 5]).to_dict()
    {'a': 4.0, 'b': 0.0}
    """
    of_a, of_b = union_length(group_a, start_a, end_a), union_length(group_b, start_b, end_b)
    of_both = union_length(
        pd.concat([pd.Series(group_a), pd.Series(group_b)], ignore_index=True),
        np.concatenate([np.asarray(start_a, dtype=float), np.asarray(start_b, dtype=float)]),
        np.concatenate([np.asarray(end_a, dtype=float), np.asarray(end_b, dtype=float)]),
    )
    shared = of_a.reindex(of_both.index, fill_value=0.0) + of_b.reindex(
        of_both.index, fill_value=0.0
    )
    return (shared - of_both).rename("length_mm")
