"""Bounds on what is measured, tried and read: tolerance limits, a90/95, kappas, corrected rates."""

from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from ndtstats.errors import UseError
from ndtstats.simulation.calibration.standing import row
from ndtstats.simulation.frame import Floats
from ndtstats.statistics import (
    cohens_kappa,
    fleiss_kappa,
    hit_miss_pod,
    normal_share_below,
    tolerance_factor,
    true_rate,
)
from ndtstats.statistics.tolerance import order_for_limit

#: Share of the beads that a tolerance limit is to be passed by, and beads measured.
SHARE, BEADS = 0.95, (60, 100)
#: Spread of the logarithm of how much shorter than the longest beads are, where there is a tail.
SKEWED = 0.5
#: Size found half of the time, slope of the logit over the logarithm of the size; flaws of a trial,
#: of sizes evenly spread on the logarithm between the ends.
A50, SLOPE, FLAWS, SIZES = 2.0, 3.0, (60, 200), (0.5, 10.0)
#: Films read, share of them that is bad, share of the bad and of the good that a reader rejects.
FILMS, BAD, HIT, FALSE = (50, 200), 0.10, 0.90, 0.05
#: Places examined at a true rate, and flawed and sound places of the trial of the method.
EXAMINED, TRUE_RATE, TRIED = 200, 0.05, (50, 100)


def tolerance_coverage(
    samples: int, rng: np.random.Generator, levels: tuple[float, ...] = (0.90, 0.95)
) -> pd.DataFrame:
    """Return how often one-sided tolerance limits are passed by as many as they say.

    Parameters
    ----------
    samples : int
        Simulated samples of each kind.
    rng : Generator
        Source of chance.
    levels : tuple of float
        Confidence asked.

    Returns
    -------
    DataFrame
        A row for each ``bound``, ``sample`` and ``level``: coverage as
        :func:`ndtstats.simulation.measures.share` gives it, and ``told``, the share of the samples
        of which there is a bound.

    Notes
    -----
    By order statistics and by mean and standard deviation, of normal lengths and of lengths with a
    tail of short ones (a lognormal turned round); and the bound on the share below a length, of a
    tenth as many samples.
    """
    rows = []
    for beads in BEADS:
        normal = rng.standard_normal((samples, beads))
        lengths = {"normal": normal, "a tail of short ones": -np.exp(-SKEWED * normal)}
        below = float(special.ndtri(1 - SHARE))
        true = {"normal": below, "a tail of short ones": -float(np.exp(-SKEWED * below))}
        for kind, measured in lengths.items():
            sample = f"{beads} beads, {kind}"
            for level in levels:
                for bound, limit in _limits(measured, level).items():
                    rows.append(row(bound, sample, level, (limit <= true[kind])[:, None]))
                few = measured[: max(samples // 10, 1)]
                most = np.array(
                    [normal_share_below(one, true[kind], confidence=level)[1] for one in few]
                )
                name = "share below a length, normal, upper"
                rows.append(row(name, sample, level, (most >= 1 - SHARE)[:, None]))
    return pd.DataFrame(rows)


def _limits(measured: Floats, level: float) -> dict[str, Floats]:
    """Return the lower limits of each sample, by name."""
    number = measured.shape[1]
    order = int(order_for_limit(number, SHARE, level))
    factor = float(tolerance_factor(number, SHARE, level))
    return {
        "tolerance limit, by order (Wilks)": np.partition(measured, order - 1, axis=1)[
            :, order - 1
        ],
        "tolerance limit, normal": measured.mean(axis=1) - factor * measured.std(axis=1, ddof=1),
    }


def detection_coverage(
    trials: int, rng: np.random.Generator, levels: tuple[float, ...] = (0.90, 0.95)
) -> pd.DataFrame:
    """Return how often upper bounds of a90 lie above the size that is found nine times of ten.

    Parameters and result as of :func:`tolerance_coverage`; where hits and misses do not overlap, or
    the larger were not found oftener, there is no curve and no bound.
    """
    rows = []
    for flaws in FLAWS:
        size = np.geomspace(*SIZES, flaws)
        chance = special.expit(SLOPE * np.log(size / A50))
        a90 = A50 * np.exp(special.logit(0.9) / SLOPE)
        found = [_curve(size, rng.random(flaws) < chance) for _ in range(trials)]
        curves = [curve for curve in found if curve is not None]
        for method in ("likelihood-ratio", "wald", "band"):
            for level in levels:
                bounds = np.array([c.size_bound(0.9, level, method=method) for c in curves])
                name = f"a90, upper, {method}"
                told = row(name, f"{flaws} flaws", level, (bounds >= a90)[:, None])
                rows.append(told | {"told": len(curves) / trials})
    return pd.DataFrame(rows)


def _curve(size: Floats, hits: Any) -> Any:
    try:
        curve = hit_miss_pod(size, hits)
    except UseError:
        return None
    return curve if curve.slope > 0 else None


def kappa_coverage(
    samples: int, rng: np.random.Generator, levels: tuple[float, ...] = (0.90, 0.95)
) -> pd.DataFrame:
    """Return how often bounds of kappa hold the kappa of all films, of two and of three readers.

    Parameters and result as of :func:`tolerance_coverage`; where all readers gave one verdict
    alone, there is no kappa.
    """
    rows = []
    for films in FILMS:
        bad = rng.random((samples, films, 1)) < BAD
        rejects = (rng.random((samples, films, 3)) < np.where(bad, HIT, FALSE)).astype(int)
        both = 2 * rejects[..., 0] + rejects[..., 1]
        tables = np.stack([(both == pair).sum(axis=1) for pair in range(4)], axis=1)
        voted = rejects.sum(axis=2)
        for level in levels:
            two = [cohens_kappa(table.reshape(2, 2), level=level) for table in tables]
            three = [
                fleiss_kappa(np.column_stack([votes, 3 - votes]), level=level)[0] for votes in voted
            ]
            for name, each in (("kappa, Cohen's", two), ("kappa, Fleiss', 3 readers", three)):
                told = [a for a in each if np.isfinite(a.lower)]
                held = np.array([a.lower <= _true_kappa() <= a.upper for a in told])[:, None]
                rows.append(
                    row(name, f"{films} films", level, held) | {"told": len(told) / samples}
                )
    return pd.DataFrame(rows)


def _true_kappa() -> float:
    """Return kappa of all films; readers are alike, so Cohen's and Fleiss' are one."""
    rejected = BAD * HIT + (1 - BAD) * FALSE
    both = BAD * HIT**2 + (1 - BAD) * FALSE**2
    return (both - rejected**2) / (rejected * (1 - rejected))


def corrected_coverage(
    samples: int, rng: np.random.Generator, levels: tuple[float, ...] = (0.90, 0.95)
) -> pd.DataFrame:
    """Return how often bounds of rates corrected for misses and false calls hold the true rate.

    Parameters and result as of :func:`tolerance_coverage`. Sensitivity and specificity as they are,
    and as a trial of the method told them.
    """
    seen = TRUE_RATE * HIT + (1 - TRUE_RATE) * FALSE
    rejected = rng.binomial(EXAMINED, seen, samples)
    hits = rng.binomial(TRIED[0], HIT, samples) / TRIED[0]
    clear = 1 - rng.binomial(TRIED[1], FALSE, samples) / TRIED[1]
    ways = {"method known": (HIT, 1 - FALSE), "method from a trial": (hits, clear)}
    rows = []
    for name, (sensitivity, specificity) in ways.items():
        for level in levels:
            rate = true_rate(
                rejected, EXAMINED, sensitivity=sensitivity, specificity=specificity, level=level
            )
            held = (rate.lower <= TRUE_RATE) & (rate.upper >= TRUE_RATE)
            rows.append(
                row(f"corrected rate (Rogan & Gladen), {name}", f"{EXAMINED} places", level,
                    held[:, None])
            )  # fmt: skip
    return pd.DataFrame(rows)
