"""Bounds on a proportion: how many of those examined were rejected, and how sure that is.

All functions take arrays and broadcast; only the distinct pairs (rejected, examined) are computed,
since a table over welders and months repeats few of them.
"""

from collections.abc import Callable
from typing import Any, Literal, NamedTuple, cast

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError, nearest

FloatArray = npt.NDArray[np.float64]
Method = Literal["clopper-pearson", "wilson", "jeffreys", "mid-p"]


class Interval(NamedTuple):
    """Lower and upper bound, arrays of one shape."""

    lower: FloatArray
    upper: FloatArray


def proportion_interval(
    k: Any,
    n: Any,
    *,
    level: float = 0.95,
    method: str = "clopper-pearson",
    sides: str = "two",
) -> Interval:
    """Return bounds on a proportion of which ``k`` of ``n`` were seen.

    Parameters
    ----------
    k, n : array_like
        Rejected and examined, 0 <= k <= n, broadcast against each other. Fractions of a unit are
        allowed, as an effective sample size gives them. With n = 0 nothing is known: (0, 1).
    level : float
        Confidence level, between 0 and 1.
    method : {"clopper-pearson", "wilson", "jeffreys", "mid-p"}
        Clopper-Pearson never covers less often than it says (Clopper & Pearson 1934, Biometrika
        26:404). Wilson inverts the score test (Wilson 1927, JASA 22:209). Jeffreys is the interval
        of equal tails of the posterior under Beta(1/2, 1/2), with the lower bound 0 at k = 0 and
        the upper 1 at k = n (Brown, Cai & DasGupta 2001, Stat. Sci. 16:101). Mid-P inverts the
        exact test with half the probability of what was seen (Lancaster 1961, JASA 56:223; Berry &
        Armitage 1995, The Statistician 44:417). The last three hold their level on average only:
        of 5 to 200 places, a two-sided 95 % interval covers at worst 83 % (Wilson), 87 % (Jeffreys)
        and 92 % (mid-P), computed exactly by ``python -m ndtstats.simulation.calibration``.
    sides : {"two", "upper", "lower"}
        Both bounds, or all of the error on one side; the other bound is then 0 or 1.

    Returns
    -------
    Interval
        Arrays of the broadcast shape.

    Raises
    ------
    UseError
        If k is outside [0, n], or level, method or sides are unknown.

    Notes
    -----
    Checked against Newcombe 1998 (Stat. Med. 17:857, table I), NIST/SEMATECH e-Handbook 7.2.4.1,
    Brown, Cai & DasGupta 2001 (table 5), the AICPA audit tables, and scipy.

    Examples
    --------
    >>> lower, upper = proportion_interval([0, 3], 30)
    >>> lower.round(4).tolist(), upper.round(4).tolist()
    ([0.0, 0.0211], [0.1157, 0.2653])
    """
    tail = tail_probability(level, sides)
    solve = _METHODS.get(method)
    if solve is None:
        close = nearest(method, list(_METHODS))
        hint = f'did you mean "{close}"?' if close else f"use one of {', '.join(_METHODS)}"
        raise UseError(f'interval "{method}" is not known; {hint}')
    seen, total = np.broadcast_arrays(np.asarray(k, float), np.asarray(n, float))
    if not bool(np.all((seen >= 0) & (seen <= total))):
        raise UseError("rejected must lie between 0 and examined")
    if not total.any():
        # Nothing is to be solved, and what solves it is slow to import.
        return Interval(np.zeros(seen.shape), np.ones(seen.shape))
    pairs, back = _distinct(seen, total)
    x, m = pairs.real, pairs.imag
    lower, upper = solve(x, m, tail)
    lower = np.where((x == 0) | (sides == "upper"), 0.0, lower)
    upper = np.where((x == m) | (sides == "lower"), 1.0, upper)
    return Interval(lower[back].reshape(seen.shape), upper[back].reshape(seen.shape))


def tail_probability(level: float, sides: str) -> float:
    """Return the probability of error on each side in use; UseError if it makes no sense.

    Examples
    --------
    >>> round(tail_probability(0.9, "two"), 6), round(tail_probability(0.9, "upper"), 6)
    (0.05, 0.1)
    """
    if not 0 < level < 1:
        raise UseError(f"level {level} is not a confidence level; write it between 0 and 1: 0.95")
    if sides not in {"two", "upper", "lower"}:
        raise UseError(f'sides "{sides}" is not known; use two, upper or lower')
    return (1 - level) / 2 if sides == "two" else 1 - level


def _distinct(seen: FloatArray, total: FloatArray) -> tuple[npt.NDArray[np.complex128], Any]:
    """Return the distinct pairs as complex numbers, and where each element finds its own."""
    pairs, back = np.unique(seen.ravel() + 1j * total.ravel(), return_inverse=True)
    return cast(npt.NDArray[np.complex128], pairs), back.ravel()


# At k = 0 the lower bound, and at k = n the upper bound, is the end itself, which the caller sets;
# the functions below only have to bear these cases.


def _clopper_pearson(x: FloatArray, n: FloatArray, tail: float) -> Interval:
    from scipy import special  # noqa: PLC0415  (slow to import)

    lower = special.betaincinv(np.where(x > 0, x, 1.0), n - x + 1, tail)
    upper = special.betainccinv(x + 1, np.where(x < n, n - x, 1.0), tail)
    return Interval(np.asarray(lower, float), np.asarray(upper, float))


def _wilson(x: FloatArray, n: FloatArray, tail: float) -> Interval:
    from scipy import special  # noqa: PLC0415  (slow to import)

    z2 = special.ndtri(tail) ** 2
    share = x / np.where(n > 0, n, 1.0)
    centre = (x + z2 / 2) / (n + z2)
    half = np.sqrt(z2) / (n + z2) * np.sqrt(x * (1 - share) + z2 / 4)
    return Interval(centre - half, centre + half)


def _jeffreys(x: FloatArray, n: FloatArray, tail: float) -> Interval:
    from scipy import special  # noqa: PLC0415  (slow to import)

    a, b = x + 0.5, n - x + 0.5
    lower, upper = special.betaincinv(a, b, tail), special.betainccinv(a, b, tail)
    return Interval(np.asarray(lower, float), np.asarray(upper, float))


def _mid_p(x: FloatArray, n: FloatArray, tail: float) -> Interval:
    from scipy import special  # noqa: PLC0415  (slow to import)

    some, some_left = np.where(x > 0, x, 1.0), np.where(x < n, n - x, 1.0)

    def at_most(p: FloatArray) -> FloatArray:
        """Probability of fewer than seen, and half the probability of what was seen."""
        fewer = np.where(x > 0, special.betaincc(some, n - x + 1, p), 0.0)
        no_more = np.where(x < n, special.betaincc(x + 1, some_left, p), 1.0)
        return np.asarray((fewer + no_more) / 2, float)

    # at_most falls as p rises; the bounds are where it crosses 1 - tail and tail.
    return Interval(_falling_root(at_most, 1 - tail, x), _falling_root(at_most, tail, x))


def _falling_root(
    function: Callable[[FloatArray], FloatArray], value: float, like: FloatArray
) -> FloatArray:
    """Return where a function falling on [0, 1] crosses ``value``, by halving all at once."""
    low, high = np.zeros_like(like), np.ones_like(like)
    for _ in range(60):  # 2**-60 is below the spacing of doubles near any bound of interest
        middle = (low + high) / 2
        above = function(middle) > value
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return (low + high) / 2


_METHODS: dict[str, Callable[[FloatArray, FloatArray, float], Interval]] = {
    "clopper-pearson": _clopper_pearson,
    "wilson": _wilson,
    "jeffreys": _jeffreys,
    "mid-p": _mid_p,
}
