"""The calibration study: whether bounds cover as often as they say, where the truth is known.

Run it with ``python -m ndtstats.simulation.calibration``; its last full table stands in the
README.md of this folder.
"""

from ndtstats.simulation.calibration.beliefs import hidden_coverage, shrunken_coverage
from ndtstats.simulation.calibration.designed import (
    completed_lots,
    design_coverage,
    pooled_bias,
)
from ndtstats.simulation.calibration.exact import interval_coverage
from ndtstats.simulation.calibration.signals import signal_rates
from ndtstats.simulation.calibration.study import Calibration, calibrate, plans
from ndtstats.simulation.calibration.tables import as_markdown
from ndtstats.simulation.calibration.yards import make_yards, plan_yard

__all__ = [
    "Calibration",
    "as_markdown",
    "calibrate",
    "completed_lots",
    "design_coverage",
    "hidden_coverage",
    "interval_coverage",
    "make_yards",
    "plan_yard",
    "plans",
    "pooled_bias",
    "shrunken_coverage",
    "signal_rates",
]
