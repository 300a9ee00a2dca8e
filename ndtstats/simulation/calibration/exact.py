"""How often bounds cover where it can be added up: counts that chance alone spreads.

Every count that may be seen is held against every true rate of a grid, so these figures have no
error of simulation.
"""

from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from ndtstats.simulation.frame import Floats
from ndtstats.statistics import (
    Interval,
    finite_lot_interval,
    proportion_interval,
    rate_interval,
)

METHODS = ("clopper-pearson", "mid-p", "jeffreys", "wilson")
#: Places examined, true reject rates, and true numbers of events expected.
SIZES = (5, 10, 20, 50, 100, 200)
RATES = np.geomspace(0.001, 0.5, 400)
EXPECTED = np.geomspace(0.05, 50.0, 400)
#: Units of a lot, and how many of them are examined; every number of bad ones is tried.
LOTS = ((20, 5), (50, 10), (100, 10), (100, 50))
#: Beyond this count nothing of weight is left at the highest number expected.
_MOST_EVENTS = 150


def proportion_coverage(
    size: int, rates: Floats, *, method: str, level: float, sides: str
) -> Floats:
    """Return how often a bound on a proportion covers, at each true rate.

    Parameters
    ----------
    size : int
        Places examined.
    rates : ndarray of shape (r,)
        True reject rates.
    method, level, sides
        As in :func:`ndtstats.statistics.proportion_interval`.

    Notes
    -----
    The binomial probabilities of all counts whose bounds hold the true rate (Brown, Cai & DasGupta
    2001, Stat. Sci. 16:101).

    Examples
    --------
    >>> proportion_coverage(10, np.array([0.1]), method="clopper-pearson", level=0.95,
    ...                     sides="two").round(4).tolist()
    [0.9872]
    """
    count = np.arange(size + 1)
    bounds = proportion_interval(count, size, level=level, method=method, sides=sides)
    return _covered(bounds, stats.binom.pmf(count, size, rates[:, None]), rates)


def rate_coverage(expected: Floats, *, level: float, sides: str) -> Floats:
    """Return how often the bound on a rate per metre covers, at each number of events expected.

    Examples
    --------
    >>> rate_coverage(np.array([1.0]), level=0.95, sides="two").round(4).tolist()
    [0.981]
    """
    count = np.arange(_MOST_EVENTS)
    bounds = rate_interval(count, 1.0, level=level, sides=sides)
    return _covered(bounds, stats.poisson.pmf(count, expected[:, None]), expected)


def lot_coverage(lot: int, examined: int, *, level: float, sides: str) -> Floats:
    """Return how often the bound on the bad units of a lot covers, at each true number of them.

    Examples
    --------
    >>> lot_coverage(4, 2, level=0.5, sides="upper").round(4).tolist()
    [1.0, 0.5, 0.8333, 0.5, 1.0]
    """
    count, bad = np.arange(examined + 1), np.arange(lot + 1.0)
    bounds = finite_lot_interval(count, examined, lot, level=level, sides=sides)
    return _covered(bounds, stats.hypergeom.pmf(count, lot, bad[:, None], examined), bad)


def interval_coverage(levels: tuple[float, ...] = (0.90, 0.95)) -> pd.DataFrame:
    """Return coverage of each interval over its grid.

    Returns
    -------
    DataFrame
        A row for each ``interval``, ``sides`` and ``level``: ``mean`` and ``worst`` coverage, and
        ``where`` the worst is.
    """
    rows = [row for level in levels for sides in ("two", "upper") for row in _rows(level, sides)]
    return pd.DataFrame(rows).sort_values(["interval", "sides", "level"], ignore_index=True)


def _rows(level: float, sides: str) -> list[dict[str, object]]:
    of_proportions = {
        method: np.array(
            [
                proportion_coverage(size, RATES, method=method, level=level, sides=sides)
                for size in SIZES
            ]
        )
        for method in METHODS
    }
    named: list[tuple[str, Floats, str]] = []
    for method, covered in of_proportions.items():
        size, rate = np.unravel_index(covered.argmin(), covered.shape)
        where = f"{SIZES[size]} places, true rate {100 * RATES[rate]:.2g} %"
        named.append((f"proportion, {method}", covered.ravel(), where))
    per_metre = rate_coverage(EXPECTED, level=level, sides=sides)
    where = f"{EXPECTED[per_metre.argmin()]:.2g} events expected"
    named.append(("rate per metre, Garwood", per_metre, where))
    lots = [lot_coverage(lot, examined, level=level, sides=sides) for lot, examined in LOTS]
    worst = int(np.argmin([covered.min() for covered in lots]))
    where = f"{int(lots[worst].argmin())} bad of {LOTS[worst][0]}, {LOTS[worst][1]} examined"
    named.append(("finite lot, hypergeometric", np.concatenate(lots), where))
    return [
        {"interval": name, "sides": sides, "level": level, "mean": float(covered.mean()),
         "worst": float(covered.min()), "where": where}
        for name, covered, where in named
    ]  # fmt: skip


def _covered(bounds: Interval, chance: Any, truth: Floats) -> Floats:
    """Return the chance of the counts whose bounds hold the truth, a number each row."""
    inside = (bounds.lower <= truth[:, None]) & (truth[:, None] <= bounds.upper)
    return np.asarray((chance * inside).sum(axis=1), float)
