"""The whole study: every interval, rate, signal and bound against a truth that is known."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.progress import Progress, silent
from ndtstats.simulation.calibration.beliefs import hidden_coverage, shrunken_coverage
from ndtstats.simulation.calibration.designed import (
    completed_lots,
    design_coverage,
    pooled_bias,
)
from ndtstats.simulation.calibration.exact import interval_coverage
from ndtstats.simulation.calibration.signals import confounded_alarms, signal_rates
from ndtstats.simulation.calibration.yards import Planned, make_yards, plan_yard

#: Least number of yards: with fewer what is hidden would be told from one.
LEAST = 16
#: What takes long is told from a part of the yards: comparisons, and what rests on a prior.
_HALF, _EIGHTH = 2, 8


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the study found, a table for each question; each row has its own error.

    Attributes
    ----------
    yards, seed : int
        Simulated yards of each kind, and the seed of their chance.
    intervals : DataFrame
        :func:`~ndtstats.simulation.calibration.exact.interval_coverage`.
    designed, bias : DataFrame
        :func:`~ndtstats.simulation.calibration.designed.design_coverage` and
        :func:`~ndtstats.simulation.calibration.designed.pooled_bias`, with the ``plan``.
    lots : DataFrame
        Careless rates of completed lots, exactly.
    signals : DataFrame
        :func:`~ndtstats.simulation.calibration.signals.signal_rates`.
    hidden, shrunken : DataFrame
        :func:`~ndtstats.simulation.calibration.beliefs.hidden_coverage` and
        :func:`~ndtstats.simulation.calibration.beliefs.shrunken_coverage`.
    """

    yards: int
    seed: int
    intervals: pd.DataFrame
    designed: pd.DataFrame
    bias: pd.DataFrame
    lots: pd.DataFrame
    signals: pd.DataFrame
    hidden: pd.DataFrame
    shrunken: pd.DataFrame


def calibrate(yards: int, *, seed: int, progress: Progress = silent) -> Calibration:
    """Return how often bounds cover, rates miss and signals cry wolf.

    Parameters
    ----------
    yards : int
        Simulated yards of each kind, 16 or more. Signals are told from half of them and what
        rests on a prior from an eighth, as those take long.
    seed : int
        Seed of the chance; the same arguments give the same figures.
    progress : Progress
        Who listens.

    Raises
    ------
    UseError
        If there are too few yards.
    """
    if yards < LEAST:
        raise UseError(f"{yards} yards tell nothing; write {LEAST} or more, such as 2000")
    seeds = iter(np.random.SeedSequence(seed).spawn(5))
    chance = (np.random.default_rng(one) for one in seeds)
    progress("parts of the study", 0, 5)
    intervals, lots = interval_coverage(), _lots()
    designed, bias = _designed(yards, next(chance))
    progress("parts of the study", 1, 5)
    signals = signal_rates(yards // _HALF, next(chance))
    progress("parts of the study", 2, 5)
    confounded = pd.DataFrame(confounded_alarms(yards // _HALF, next(chance)))
    progress("parts of the study", 3, 5)
    shrunken = shrunken_coverage(yards // _EIGHTH, next(chance))
    progress("parts of the study", 4, 5)
    hidden = hidden_coverage(yards // _EIGHTH, next(chance))
    signals = pd.concat([signals, confounded.reindex(columns=signals.columns)], ignore_index=True)
    return Calibration(yards, seed, intervals, designed, bias, lots, signals, hidden, shrunken)


def plans() -> dict[str, Planned]:
    """Return the plans that are tried: pipe joints shot whole, and spots along a hull's welds."""
    piping = plan_yard(
        "process-piping", method="RT", welders=12, joints_each=160, joint_mm=500.0,
        category="NORMAL",
    )  # fmt: skip
    hull = plan_yard("aluminium-hull", method="RT", welders=12, joints_each=15, joint_mm=3000.0)
    return {"process-piping": piping, "aluminium-hull": hull}


def _designed(yards: int, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    coverage, bias = [], []
    for name, planned in plans().items():
        made = make_yards(planned, yards, rng)
        coverage.append(design_coverage(made).assign(plan=name))
        bias.append(pooled_bias(made, rng).assign(plan=name))
    return pd.concat(coverage, ignore_index=True), pd.concat(bias, ignore_index=True)


def _lots() -> pd.DataFrame:
    """Return what completing lots of ten does to careless rates, two examined first."""
    kinds = {"all lots alike, 5 % bad": [0.05], "half of the lots 1 %, half 9 %": [0.01, 0.09]}
    rows = []
    for name, rates in kinds.items():
        pooled, own = completed_lots(10, 2, rates)
        rows.append({"lots": name, "truth": float(np.mean(rates)), "pooled": pooled, "own": own})
    return pd.DataFrame(rows)
