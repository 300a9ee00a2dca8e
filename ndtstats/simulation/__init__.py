"""What a plan would do, before anything is spent: yards whose truth is known, planned and shot."""

from ndtstats.simulation.check import simple_check
from ndtstats.simulation.measures import Figure
from ndtstats.simulation.result import FIGURES, Costs, Simulated
from ndtstats.simulation.simulate import simulate
from ndtstats.simulation.truth import Assumptions
from ndtstats.simulation.yard import Setting, invented_setting, setting_of_job

__all__ = [
    "FIGURES",
    "Assumptions",
    "Costs",
    "Figure",
    "Setting",
    "Simulated",
    "invented_setting",
    "setting_of_job",
    "simple_check",
    "simulate",
]
