"""Blaker's exact bounds on a proportion: two-sided, and never wider than Clopper-Pearson's."""

from typing import Any

import numpy as np
import numpy.typing as npt

from ndtstats.statistics.proportions import Interval, proportion_interval

_Floats = npt.NDArray[np.float64]

#: Places looked at between the exact bound of equal tails and the share seen; the first of them
#: that is accepted has the bound before it, which halving finds.
_PLACES = 2000
_HALVINGS = 50


def blaker_interval(k: Any, n: Any, *, level: float = 0.95) -> Interval:
    """Return two-sided bounds on a proportion that never cover less often than they say.

    Parameters
    ----------
    k, n : array_like of whole numbers
        Rejected and examined, 0 <= k <= n, broadcast; with n = 0 nothing is known: (0, 1).
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Interval
        Arrays of the broadcast shape, within the bounds of Clopper & Pearson.

    Raises
    ------
    UseError
        If k is outside [0, n], or the level makes no sense.

    Notes
    -----
    A rate is kept while the smaller tail of what was seen, with as much of the other tail as is no
    likelier, comes to more than 1 - level (Blaker 2000, Can. J. Stat. 28:783, from memory). Rates
    so kept need not be without a gap; these are the lowest and the highest of them, but for gaps
    narrower than 1/2000 of the way. It has no one-sided form. Checked against the limits in the
    documentation of R's epiR, and by enumeration: it covers, and lies within Clopper-Pearson.

    Examples
    --------
    >>> lower, upper = blaker_interval(3, 30)
    >>> round(float(lower), 4), round(float(upper), 4)
    (0.0278, 0.2596)
    """
    outer = proportion_interval(k, n, level=level)
    seen, total = np.broadcast_arrays(np.asarray(k, float), np.asarray(n, float))
    pairs, first, back = np.unique(
        seen.ravel() + 1j * total.ravel(), return_index=True, return_inverse=True
    )
    x, m = pairs.real, pairs.imag
    low, high = (np.asarray(bound).ravel()[first] for bound in outer)
    lower = _first_kept(x, m, low, 1 - level)
    # The upper bound is 1 less the lower one of what was accepted.
    upper = 1 - _first_kept(m - x, m, 1 - high, 1 - level)
    lower, upper = np.where(x == 0, 0.0, lower), np.where(x == m, 1.0, upper)
    return Interval(*(bound[back.ravel()].reshape(seen.shape) for bound in (lower, upper)))


def _first_kept(x: _Floats, n: _Floats, start: _Floats, error: float) -> _Floats:
    """Return the lowest rate from ``start`` on that is kept."""
    share = x / np.where(n > 0, n, 1.0)
    steps = np.linspace(0.0, 1.0, _PLACES)
    grid = start[:, None] + (share - start)[:, None] * steps
    kept = _acceptable(x[:, None], n[:, None], grid) > error
    # At the share seen itself both tails are large: the last place is kept in any case.
    at = np.where(kept.any(axis=1), kept.argmax(axis=1), _PLACES - 1)
    place = np.arange(len(x))
    low, high = grid[place, np.maximum(at - 1, 0)], grid[place, at]
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        good = _acceptable(x, n, middle) > error
        low, high = np.where(good, low, middle), np.where(good, middle, high)
    return np.asarray(high, float)


def _acceptable(x: _Floats, n: _Floats, rate: _Floats) -> _Floats:
    """Return the tail of x or more, with what of the other tail is no likelier, at rates below."""
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    tail = stats.binom.sf(x - 1, n, rate)
    other = stats.binom.ppf(tail, n, rate) - 1
    return np.asarray(np.minimum(tail + stats.binom.cdf(other, n, rate), 1.0), float)
