"""Bounds on a rate per metre: how many indications in how much weld."""

from typing import Any

import numpy as np

from ndtstats.errors import UseError
from ndtstats.statistics.proportions import Interval, tail_probability


def rate_interval(
    count: Any, exposure: Any, *, level: float = 0.95, sides: str = "two"
) -> Interval:
    """Return exact bounds on the rate of a Poisson count over an exposure.

    Parameters
    ----------
    count : array_like
        Events seen, 0 or more.
    exposure : array_like
        How much was looked at, such as metres examined; with 0 the bounds are (0, inf).
    level, sides
        As in :func:`ndtstats.statistics.proportion_interval`.

    Returns
    -------
    Interval
        Rates per unit of exposure.

    Notes
    -----
    Garwood 1936, Biometrika 28:437: quantiles of gamma distributions of shape count and count + 1.
    Checked against R's qgamma on the limits of Garwood and the AICPA reliability factors (from
    memory), and as the inversion of the Poisson test.

    Examples
    --------
    >>> lower, upper = rate_interval(3, 10.0)
    >>> round(float(lower), 4), round(float(upper), 4)
    (0.0619, 0.8767)
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    tail = tail_probability(level, sides)
    seen, looked = np.broadcast_arrays(np.asarray(count, float), np.asarray(exposure, float))
    if not bool(np.all((seen >= 0) & (looked >= 0))):
        raise UseError("a count and the length it was found in must not be negative")
    low = special.gammaincinv(np.where(seen > 0, seen, 1.0), tail)
    high = special.gammainccinv(seen + 1, tail)
    with np.errstate(divide="ignore", invalid="ignore"):
        lower = np.where((seen == 0) | (looked == 0) | (sides == "upper"), 0.0, low / looked)
        upper = np.where((looked == 0) | (sides == "lower"), np.inf, high / looked)
    return Interval(lower, upper)
