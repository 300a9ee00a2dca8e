"""Fair comparison of two rates, and of many at once."""

from typing import Any

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError
from ndtstats.statistics.proportions import Interval, proportion_interval

_Floats = npt.NDArray[np.float64]


def proportion_difference_interval(
    k1: Any, n1: Any, k2: Any, n2: Any, *, level: float = 0.95
) -> Interval:
    """Return bounds on the difference of two proportions, the first less the second.

    Parameters
    ----------
    k1, n1, k2, n2 : array_like
        Rejected and examined of either side, broadcast. With nothing examined on a side, nothing
        more is known than that a proportion lies between 0 and 1.
    level : float
        Confidence level, between 0 and 1.

    Notes
    -----
    Newcombe 1998, Stat. Med. 17:873, method 10: the Wilson limits of both, squared and added.
    Checked against his Table II.

    Examples
    --------
    >>> lower, upper = proportion_difference_interval(56, 70, 48, 80)
    >>> round(float(lower), 4), round(float(upper), 4)
    (0.0524, 0.3339)
    """
    first = proportion_interval(k1, n1, level=level, method="wilson")
    second = proportion_interval(k2, n2, level=level, method="wilson")
    p1, p2 = (_rate(k, n) for k, n in ((k1, n1), (k2, n2)))
    lower = p1 - p2 - np.hypot(p1 - first.lower, second.upper - p2)
    upper = p1 - p2 + np.hypot(first.upper - p1, p2 - second.lower)
    nothing = np.isnan(p1 - p2)
    return Interval(
        np.where(nothing, first.lower - second.upper, lower),
        np.where(nothing, first.upper - second.lower, upper),
    )


def _rate(k: Any, n: Any) -> _Floats:
    seen, total = np.asarray(k, float), np.asarray(n, float)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(seen / total, float)


def false_discovery(p: Any) -> _Floats:
    """Return p-values adjusted for having looked at many.

    Parameters
    ----------
    p : array_like of shape (n,)
        P-values; a missing one (NaN) is no test and stays missing.

    Returns
    -------
    ndarray
        The share of false ones to be borne with, among those called different, if this one is
        called different.

    Notes
    -----
    Benjamini & Hochberg 1995, J. R. Stat. Soc. B 57:289; checked against their example and scipy.

    Examples
    --------
    >>> false_discovery([0.01, 0.04, 0.03, 0.5]).round(4).tolist()
    [0.04, 0.0533, 0.0533, 0.5]
    """
    values = np.asarray(p, float)
    known = np.flatnonzero(~np.isnan(values))
    if not bool(np.all((values[known] >= 0) & (values[known] <= 1))):
        raise UseError("a p-value must lie between 0 and 1")
    order = known[np.argsort(values[known], kind="stable")]
    scaled = values[order] * len(order) / np.arange(1, len(order) + 1)
    adjusted = np.full(values.shape, np.nan)
    adjusted[order] = np.minimum(np.minimum.accumulate(scaled[::-1])[::-1], 1.0)
    return adjusted
