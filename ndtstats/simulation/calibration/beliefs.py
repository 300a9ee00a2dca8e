"""Bounds that rest on a prior: what is hidden, and welders' rates that lend each other strength."""

from collections.abc import Callable, Sequence
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.simulation.frame import Floats, Ints
from ndtstats.simulation.measures import share
from ndtstats.statistics import hidden_imperfections, likely_priors
from ndtstats.statistics.shrinkage import Prior, fit_beta_binomial, fit_gamma_poisson, shrunk
from ndtstats.statistics.wide_shrinkage import shrunk_shares_widely, shrunk_widely

#: Zones of a yard, shape of the gamma distribution of their rates, and its metres.
ZONES = ((5, 2.0, 10.0), (12, 1.5, 3.0), (20, 0.5, 2.0))
#: The method finds so many of what is there.
DETECTION = 0.7
#: Welders of a yard, and shape of the gamma distribution of their rates.
WELDERS = ((4, 2.0), (8, 2.0), (20, 2.0), (20, 20.0), (50, 2.0))
#: Mean rate per metre of welders; least and most metres examined of each.
MEAN_RATE, EXAMINED_M = 0.15, (3.0, 30.0)
#: Mean reject rate of welders; least and most spots examined of each.
MEAN_SHARE, EXAMINED_SPOTS = 0.05, (10, 120)
_JEFFREYS = Prior("beta", 0.5, 0.5, 0.5, 0, np.nan, np.nan, "Jeffreys")


def hidden_coverage(
    yards: int,
    rng: np.random.Generator,
    levels: tuple[float, ...] = (0.90, 0.95),
    kinds: Sequence[tuple[int, float, float]] = ZONES,
) -> pd.DataFrame:
    """Return how often the bound on what is hidden in a yard covers what is there.

    Parameters
    ----------
    yards : int
        Simulated yards of each kind.
    rng : Generator
        Source of chance.
    levels : tuple of float
        Nominal levels.
    kinds : sequence of (int, float, float)
        Kinds of yard, as :data:`ZONES`.

    Returns
    -------
    DataFrame
        A row for each kind of yard, ``level`` and ``prior``: "uncertain" (as the tool has it) and
        "fitted, taken for known"; coverage as :func:`ndtstats.simulation.measures.share` gives it.
    """
    rows = []
    for zones, shape, metres in kinds:
        # What is hidden is a question about one yard; its bound mixes priors of its own.
        covered = np.array([_hidden(zones, shape, metres, levels, rng) for _ in range(yards)])
        for number, level in enumerate(levels):
            for prior, held in zip(_PRIORS, covered[:, number].T, strict=True):
                found = share(held.astype(float), np.ones(yards))
                rows.append(
                    {"zones": zones, "shape": shape, "mean_rate": shape / metres, "prior": prior,
                     "level": level, **found._asdict()}
                )  # fmt: skip
    return pd.DataFrame(rows)


_PRIORS = ("uncertain", "fitted, taken for known")


def _hidden(
    zones: int, shape: float, metres: float, levels: tuple[float, ...], rng: np.random.Generator
) -> list[list[bool]]:
    """Return whether the bounds of one yard cover, for each level under each prior."""
    rate = rng.gamma(shape, 1 / metres, zones)
    examined, left = rng.uniform(2, 8, zones), rng.uniform(10, 60, zones)
    found = rng.poisson(rate * DETECTION * examined)
    there = rng.poisson(rate * left).sum() + rng.poisson(rate * (1 - DETECTION) * examined).sum()
    priors = (_likely(found, examined), _plugged_in(found, examined))
    return [
        [bool(there <= _bound(found, examined, left, level, prior)) for prior in priors]
        for level in levels
    ]


def _bound(found: Any, examined: Floats, left: Floats, level: float, prior: Any) -> float:
    table = hidden_imperfections(
        found, examined, left, **prior, prior_of="found", detection=DETECTION, level=level,
        group=np.zeros(len(examined)),
    )  # fmt: skip
    return float(table["upper"].iloc[0])


def _likely(found: Any, examined: Floats) -> dict[str, Any]:
    priors = likely_priors(found, examined)
    return {
        "prior_shape": priors.shape[:, None],
        "prior_length_m": priors.length_m[:, None],
        "prior_weight": priors.weight,
    }


def _plugged_in(found: Any, examined: Floats) -> dict[str, Any]:
    fitted = fit_gamma_poisson(found, examined)
    if not fitted.alike:
        return {"prior_shape": fitted.a, "prior_length_m": fitted.b}
    # One rate for all, as good as known, is a prior next to no width.
    return {"prior_shape": 1e6, "prior_length_m": 1e6 / max(fitted.mean, 1e-9)}


def shrunken_coverage(
    yards: int,
    rng: np.random.Generator,
    levels: tuple[float, ...] = (0.90, 0.95),
    kinds: Sequence[tuple[int, float]] = WELDERS,
) -> pd.DataFrame:
    """Return how often shrunken intervals cover welders' rates, over all welders and yards.

    Parameters
    ----------
    yards, rng, levels
        As for :func:`hidden_coverage`.
    kinds : sequence of (int, float)
        Kinds of yard, as :data:`WELDERS`.

    Returns
    -------
    DataFrame
        A row for each ``measure`` ("per metre", "share of spots"), kind of yard, ``level`` and
        ``prior``, as :func:`hidden_coverage` has it.

    Notes
    -----
    Where a fit sees no spread, welders' shares have the posterior of one common rate under
    Jeffreys' prior, and rates per metre an interval of no width.
    """
    rows = []
    for welders, shape in kinds:
        of = np.full(yards, float(welders))
        for measure, sample in (("per metre", _metres), ("share of spots", _spots)):
            rate, found, examined = sample(yards, welders, shape, rng)
            for level, prior in product(levels, _PRIORS):
                lower, upper = _intervals(found, examined, measure, prior, level)
                held = ((lower <= rate) & (rate <= upper)).sum(axis=1).astype(float)
                rows.append(
                    {"measure": measure, "welders": welders, "shape": shape, "prior": prior,
                     "level": level, **share(held, of)._asdict()}
                )  # fmt: skip
    return pd.DataFrame(rows).sort_values("measure", kind="stable", ignore_index=True)


def _metres(
    yards: int, welders: int, shape: float, rng: np.random.Generator
) -> tuple[Floats, Ints, Floats]:
    """Return true rates per metre, imperfections found and metres examined."""
    rate = rng.gamma(shape, MEAN_RATE / shape, (yards, welders))
    metres = rng.uniform(*EXAMINED_M, (yards, welders))
    return rate, rng.poisson(rate * metres), metres


def _spots(
    yards: int, welders: int, shape: float, rng: np.random.Generator
) -> tuple[Floats, Ints, Floats]:
    """Return true reject rates, spots rejected and spots examined."""
    rate = rng.beta(shape, shape * (1 - MEAN_SHARE) / MEAN_SHARE, (yards, welders))
    spots = rng.integers(*EXAMINED_SPOTS, (yards, welders))
    return rate, rng.binomial(spots, rate), spots.astype(float)


def _intervals(
    found: Ints, examined: Floats, measure: str, prior: str, level: float
) -> tuple[Floats, Floats]:
    """Return lower and upper bounds, shape (yards, welders)."""
    ways: dict[tuple[str, str], Callable[..., pd.DataFrame]] = {
        ("per metre", _PRIORS[0]): shrunk_widely,
        ("per metre", _PRIORS[1]): _rates_plugged_in,
        ("share of spots", _PRIORS[0]): shrunk_shares_widely,
        ("share of spots", _PRIORS[1]): _shares_plugged_in,
    }
    # A prior is fitted to one yard at a time.
    each = [ways[measure, prior](k, n, level=level) for k, n in zip(found, examined, strict=True)]
    bounds = np.array([table[["lower", "upper"]].to_numpy() for table in each])
    return bounds[..., 0], bounds[..., 1]


def _rates_plugged_in(k: Any, metres: Any, *, level: float) -> pd.DataFrame:
    return shrunk(k, metres, fit_gamma_poisson(k, metres), level=level)


def _shares_plugged_in(k: Any, n: Any, *, level: float) -> pd.DataFrame:
    fitted = fit_beta_binomial(k, n)
    if not fitted.alike:
        return shrunk(k, n, fitted, level=level)
    everything = (np.full(len(k), k.sum()), np.full(len(n), n.sum()))
    return shrunk(*everything, _JEFFREYS, level=level)
