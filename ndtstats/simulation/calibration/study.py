"""The whole study: every interval, rate, signal and bound against a truth that is known."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.progress import Progress, silent
from ndtstats.simulation.calibration.beliefs import hidden_coverage, shrunken_coverage
from ndtstats.simulation.calibration.designed import (
    completed_lots,
    design_coverage,
    design_gains,
    pooled_bias,
)
from ndtstats.simulation.calibration.exact import interval_coverage
from ndtstats.simulation.calibration.signals import (
    confounded_alarms,
    joint_alarms,
    signal_rates,
)
from ndtstats.simulation.calibration.standing import rank_coverage, ratio_coverage
from ndtstats.simulation.calibration.trials import (
    corrected_coverage,
    detection_coverage,
    kappa_coverage,
    tolerance_coverage,
)
from ndtstats.simulation.calibration.yards import Planned, make_yards, plan_yard

#: Least number of yards: with fewer what is hidden would be told from one.
LEAST = 16
#: What takes long is told from a part of the yards: comparisons, and what rests on a prior.
_HALF, _QUARTER, _EIGHTH = 2, 4, 8


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
    designs : DataFrame
        :func:`~ndtstats.simulation.calibration.designed.design_gains`, with the ``plan``.
    lots : DataFrame
        Careless rates of completed lots, exactly.
    standing : DataFrame
        :func:`~ndtstats.simulation.calibration.standing.ratio_coverage` and
        :func:`~ndtstats.simulation.calibration.standing.rank_coverage`.
    trials : DataFrame
        What :mod:`ndtstats.simulation.calibration.trials` finds, one below the other.
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
    designs: pd.DataFrame
    lots: pd.DataFrame
    standing: pd.DataFrame
    trials: pd.DataFrame
    signals: pd.DataFrame
    hidden: pd.DataFrame
    shrunken: pd.DataFrame


def calibrate(yards: int, *, seed: int, progress: Progress = silent) -> Calibration:
    """Return how often bounds cover, rates miss and signals cry wolf.

    Parameters
    ----------
    yards : int
        Simulated yards of each kind, 16 or more. Signals are told from half of them, signals where
        spots of a joint go together and trials of the method from a quarter, and ratios, ranks and
        what rests on a prior from an eighth, as those take long.
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
    chance = [np.random.default_rng(one) for one in np.random.SeedSequence(seed).spawn(8)]
    intervals, lots = interval_coverage(), _lots()
    half, quarter, eighth = yards // _HALF, yards // _QUARTER, yards // _EIGHTH
    steps: list[Callable[[np.random.Generator], Any]] = [
        lambda rng: _designed(yards, rng),
        lambda rng: signal_rates(half, rng),
        lambda rng: pd.DataFrame(confounded_alarms(half, rng)),
        lambda rng: shrunken_coverage(eighth, rng),
        lambda rng: hidden_coverage(eighth, rng),
        lambda rng: pd.DataFrame(joint_alarms(quarter, rng)),
        lambda rng: pd.concat([ratio_coverage(eighth, rng), rank_coverage(eighth, rng)]),
        lambda rng: _trials(yards, rng),
    ]
    found = []
    for number, (step, rng) in enumerate(zip(steps, chance, strict=True)):
        progress("parts of the study", number, len(steps))
        found.append(step(rng))
    (designed, bias, designs), signals, confounded, shrunken, hidden, joints, standing, tried = (
        found
    )
    every = [part.reindex(columns=signals.columns) for part in (signals, confounded, joints)]
    return Calibration(
        yards, seed, intervals, designed, bias, designs, lots, standing, tried,
        pd.concat(every, ignore_index=True), hidden, shrunken,
    )  # fmt: skip


@cache
def plans() -> Mapping[str, Planned]:
    """Return the plans that are tried: pipe joints shot whole, and spots along a hull's welds.

    Always the same two, which take some seconds to make; nobody may write into them.
    """
    piping = plan_yard(
        "process-piping", method="RT", welders=12, joints_each=160, joint_mm=500.0,
        category="NORMAL",
    )  # fmt: skip
    hull = plan_yard("aluminium-hull", method="RT", welders=12, joints_each=15, joint_mm=3000.0)
    return MappingProxyType({"process-piping": piping, "aluminium-hull": hull})


def _designed(
    yards: int, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    coverage, bias, designs = [], [], []
    for name, planned in plans().items():
        made = make_yards(planned, yards, rng)
        coverage.append(design_coverage(made).assign(plan=name))
        bias.append(pooled_bias(made, rng).assign(plan=name))
        designs.append(design_gains(made).assign(plan=name))
    every = (pd.concat(part, ignore_index=True) for part in (coverage, bias, designs))
    first, second, third = every
    return first, second, third


def _trials(yards: int, rng: np.random.Generator) -> pd.DataFrame:
    parts = [
        tolerance_coverage(yards, rng),
        detection_coverage(yards // _QUARTER, rng),
        kappa_coverage(yards, rng),
        corrected_coverage(10 * yards, rng),
    ]
    return pd.concat(parts, ignore_index=True)


def _lots() -> pd.DataFrame:
    """Return what completing lots of ten does to careless rates, two examined first."""
    kinds = {"all lots alike, 5 % bad": [0.05], "half of the lots 1 %, half 9 %": [0.01, 0.09]}
    rows = []
    for name, rates in kinds.items():
        pooled, own = completed_lots(10, 2, rates)
        rows.append({"lots": name, "truth": float(np.mean(rates)), "pooled": pooled, "own": own})
    return pd.DataFrame(rows)
