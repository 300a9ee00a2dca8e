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
    proportion_difference_interval,
    proportion_interval,
    rate_interval,
    true_rate,
)

METHODS = ("clopper-pearson", "mid-p", "jeffreys", "wilson")
#: Places examined, true reject rates, and true numbers of events expected.
SIZES = (5, 10, 20, 50, 100, 200)
RATES = np.geomspace(0.001, 0.5, 400)
EXPECTED = np.geomspace(0.05, 50.0, 400)
#: Units of a lot, and how many of them are examined; every number of bad ones is tried.
LOTS = ((20, 5), (50, 10), (100, 10), (100, 50))
#: Places examined on either side of a difference, and true reject rates of either side.
SIDES, SIDE_RATES = ((10, 10), (20, 50), (50, 50)), np.geomspace(0.005, 0.5, 25)
#: Share of the bad places that a method rejects, and of the good ones that it accepts.
SENSITIVITY, SPECIFICITY = 0.90, 0.95
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


def difference_coverage(sizes: tuple[int, int], rates: Floats, *, level: float) -> Floats:
    """Return how often bounds on the difference of two rates cover, at each pair of true rates.

    Examples
    --------
    >>> difference_coverage((10, 10), np.array([0.1]), level=0.95).round(4).tolist()
    [[0.991]]
    """
    first, second = (np.arange(size + 1) for size in sizes)
    bounds = proportion_difference_interval(first[:, None], sizes[0], second, sizes[1], level=level)
    of_first: Floats = np.asarray(stats.binom.pmf(first, sizes[0], rates[:, None]), float)
    of_second: Floats = np.asarray(stats.binom.pmf(second, sizes[1], rates[:, None]), float)
    covered = np.empty((len(rates), len(rates)))
    # A pair of true rates is held against every pair of counts: one row of pairs at a time.
    for number, rate in enumerate(rates):
        true = (rate - rates)[:, None, None]
        inside = (bounds.lower <= true) & (true <= bounds.upper)
        chance = of_first[number][None, :, None] * of_second[:, None, :]
        covered[number] = (chance * inside).sum(axis=(1, 2))
    return covered


def corrected_rate_coverage(size: int, rates: Floats, *, level: float) -> Floats:
    """Return how often bounds on a rate corrected for a known method cover, at each true rate.

    Examples
    --------
    >>> corrected_rate_coverage(100, np.array([0.05]), level=0.95).round(4).tolist()
    [0.9645]
    """
    count = np.arange(size + 1)
    found = true_rate(count, size, sensitivity=SENSITIVITY, specificity=SPECIFICITY, level=level)
    seen = rates * SENSITIVITY + (1 - rates) * (1 - SPECIFICITY)
    bounds = Interval(found.lower, found.upper)
    return _covered(bounds, stats.binom.pmf(count, size, seen[:, None]), rates)


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
        size, rate = _worst(covered)
        where = f"{SIZES[size]} places, true rate {100 * RATES[rate]:.2g} %"
        named.append((f"proportion, {method}", covered.ravel(), where))
    per_metre = rate_coverage(EXPECTED, level=level, sides=sides)
    where = f"{EXPECTED[_worst(per_metre)]:.2g} events expected"
    named.append(("rate per metre, Garwood", per_metre, where))
    lots = [lot_coverage(lot, examined, level=level, sides=sides) for lot, examined in LOTS]
    (least,) = _worst(np.array([covered.min() for covered in lots]))
    where = f"{_worst(lots[least])[0]} bad of {LOTS[least][0]}, {LOTS[least][1]} examined"
    named.append(("finite lot, hypergeometric", np.concatenate(lots), where))
    if sides == "two":
        named += _two_sided(level)
    return [
        {"interval": name, "sides": sides, "level": level, "mean": float(covered.mean()),
         "worst": float(covered.min()), "where": where}
        for name, covered, where in named
    ]  # fmt: skip


def _worst(covered: Floats) -> tuple[int, ...]:
    """Return where coverage is least: the first of the places that rounding alone tells apart."""
    alike = covered <= covered.min() + 1e-12
    return tuple(int(at) for at in np.unravel_index(alike.argmax(), covered.shape))


def _two_sided(level: float) -> list[tuple[str, Floats, str]]:
    """Return coverages of bounds that have two sides only, and where the worst is."""
    differences = np.array([difference_coverage(sizes, SIDE_RATES, level=level) for sizes in SIDES])
    which, first, second = _worst(differences)
    at = [f"{100 * SIDE_RATES[place]:.2g} %" for place in (first, second)]
    of = "difference of two rates, Newcombe"
    where = f"{at[0]} of {SIDES[which][0]} places, {at[1]} of {SIDES[which][1]}"
    corrected = np.array([corrected_rate_coverage(size, RATES, level=level) for size in SIZES])
    size, rate = _worst(corrected)
    worst = f"{SIZES[size]} places, true rate {100 * RATES[rate]:.2g} %"
    return [
        (of, differences.ravel(), where),
        ("corrected rate, method known, Rogan-Gladen", corrected.ravel(), worst),
    ]


def _covered(bounds: Interval, chance: Any, truth: Floats) -> Floats:
    """Return the chance of the counts whose bounds hold the truth, a number each row."""
    inside = (bounds.lower <= truth[:, None]) & (truth[:, None] <= bounds.upper)
    return np.asarray((chance * inside).sum(axis=1), float)
