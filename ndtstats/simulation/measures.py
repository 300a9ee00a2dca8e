"""What replicates say, and how sure that is: every figure with the error of the simulation."""

from typing import NamedTuple

import numpy as np
from scipy import stats

from ndtstats.simulation.frame import Floats
from ndtstats.statistics import proportion_interval

#: Level of the intervals.
LEVEL = 0.95
_Z = float(stats.norm.ppf((1 + LEVEL) / 2))


class Figure(NamedTuple):
    """A figure with its standard error and 95 % interval, which tell of the simulation alone."""

    value: float
    standard_error: float
    lower: float
    upper: float


NOTHING = Figure(np.nan, np.nan, np.nan, np.nan)


def ratio(number: Floats, of: Floats) -> Figure:
    """Return a ratio of totals over replicates.

    Parameters
    ----------
    number, of : ndarray, shape (replicates,)
        Numerator and denominator in each replicate.

    Notes
    -----
    What belongs to one replicate is not independent, so the error is that of a ratio of two means
    over replicates (linearised; Cochran 1977, 2.11, from memory).

    Examples
    --------
    >>> ratio(np.array([1.0, 3.0]), np.array([2.0, 2.0])).value
    1.0
    """
    total = float(of.sum())
    if total == 0:
        return NOTHING
    value = float(number.sum()) / total
    replicates = len(number)
    spread = float(np.sum((number - value * of) ** 2)) * replicates / max(replicates - 1, 1)
    error = float(np.sqrt(spread)) / total
    return Figure(value, error, value - _Z * error, value + _Z * error)


def share(number: Floats, of: Floats) -> Figure:
    """Return a share as :func:`ratio` does, with an interval that stays within 0 and 1.

    Notes
    -----
    Exact for a sample of the size that would have the same error (Korn & Graubard 1998); where none
    or all were counted, for the number counted.

    Examples
    --------
    >>> some = share(np.zeros(30), np.ones(30))
    >>> some.value, round(some.upper, 3)
    (0.0, 0.116)
    """
    found = ratio(number, of)
    if np.isnan(found.value):
        return found
    inside = found.standard_error > 0 and 0 < found.value < 1
    size = found.value * (1 - found.value) / found.standard_error**2 if inside else of.sum()
    # A share of 1 may come out a hair above it.
    seen = min(found.value * size, size)
    lower, upper = proportion_interval(seen, size, level=LEVEL)
    return found._replace(lower=float(lower), upper=float(upper))


def mean(values: Floats) -> Figure:
    """Return the mean over replicates.

    Examples
    --------
    >>> found = mean(np.array([1.0, 2.0, 3.0]))
    >>> found.value, round(found.standard_error, 3)
    (2.0, 0.577)
    """
    return ratio(values, np.ones(len(values)))


def percentile(values: Floats, level: float = 0.95) -> Figure:
    """Return the value that so many of the replicates do not exceed.

    Notes
    -----
    The interval lies between two order statistics, whose ranks are quantiles of the binomial
    distribution, whatever the values are distributed like (David & Nagaraja 2003, 7.1, from
    memory); the standard error is what a normal interval of that width would have.

    Examples
    --------
    >>> found = percentile(np.arange(1.0, 101.0))
    >>> found.value, found.lower, found.upper
    (95.0, 90.0, 100.0)
    """
    ordered, number = np.sort(values), len(values)
    first = int(stats.binom.ppf((1 - LEVEL) / 2, number, level))
    last = int(stats.binom.ppf((1 + LEVEL) / 2, number, level)) + 1
    lower, upper = (float(ordered[min(max(rank, 1), number) - 1]) for rank in (first, last))
    value = float(np.quantile(ordered, level, method="inverted_cdf"))
    return Figure(value, (upper - lower) / (2 * _Z), lower, upper)
