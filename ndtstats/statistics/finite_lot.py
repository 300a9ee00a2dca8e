"""Bounds on how many of a lot are bad, where a good part of the lot itself was examined."""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError
from ndtstats.statistics.proportions import Interval, tail_probability

_Ints = npt.NDArray[np.int64]

#: A tail probability this near to the allowed error counts as equal to it: such cases are met
#: exactly, and the sums that give them are rounded.
_SLACK = 1e-12


def finite_lot_interval(
    k: Any, n: Any, lot: Any, *, level: float = 0.95, sides: str = "two"
) -> Interval:
    """Return bounds on the number of bad units in lots of which ``n`` units were drawn by chance.

    Parameters
    ----------
    k, n, lot : array_like of int
        Bad units seen, units examined, units in the lot; 0 <= k <= n <= lot, broadcast.
    level, sides
        As in :func:`ndtstats.statistics.proportion_interval`; with one side the other bound is what
        is certain: k bad, or all of the lot but the n - k good ones.

    Returns
    -------
    Interval
        Whole numbers of units, as floats. A number is kept while what was seen has a tail
        probability above the allowed error, so the bounds never cover less often than they say.

    Raises
    ------
    UseError
        If the numbers do not fit each other, or level or sides are unknown.

    Notes
    -----
    Inverts the hypergeometric tests (Konijn 1973, Statistical Theory of Sample Survey Design and
    Analysis, from memory; Wright 1991, Exact Confidence Bounds when Sampling from Small Finite
    Universes, from memory).
    Checked against exact fractions, and against Kauermann & Küchenhoff 2010, p. 53, whose method
    goes one unit beyond the inverted test at both ends.

    Examples
    --------
    >>> lower, upper = finite_lot_interval(0, 10, 50)
    >>> int(lower), int(upper)
    (0, 13)
    """
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    tail = tail_probability(level, sides)
    seen, drawn, size = (np.asarray(part, np.int64) for part in np.broadcast_arrays(k, n, lot))
    if not bool(np.all((seen >= 0) & (seen <= drawn) & (drawn <= size))):
        raise UseError("bad units must lie between 0 and those examined, and these in the lot")

    def allows_so_many(bad: _Ints) -> npt.NDArray[np.bool_]:
        return np.asarray(stats.hypergeom.cdf(seen, size, bad, drawn) > tail + _SLACK)

    def allows_so_few(bad: _Ints) -> npt.NDArray[np.bool_]:
        return np.asarray(stats.hypergeom.sf(seen - 1, size, bad, drawn) > tail + _SLACK)

    least, most = seen, size - drawn + seen
    upper = most if sides == "lower" else _last(allows_so_many, least, most)
    # Counted down from the most, the fewest that are allowed come last.
    lower = least if sides == "upper" else -_last(lambda bad: allows_so_few(-bad), -most, -least)
    return Interval(lower.astype(float), upper.astype(float))


def _last(allowed: Callable[[_Ints], npt.NDArray[np.bool_]], first: _Ints, end: _Ints) -> _Ints:
    """Return the last whole number in [first, end] that is allowed, where the allowed come first.

    ``first`` itself is always allowed.
    """
    low, high = first, end
    while bool(np.any(low < high)):
        middle = (low + high + 1) // 2
        good = allowed(middle)
        low, high = np.where(good, middle, low), np.where(good, high, middle - 1)
    return low
