"""What must be examined: rules files, the arithmetic of extents, the rules in force for a job.

A rules file (TOML) says for each examination category and method how much is examined, what first,
to which acceptance level, and what a reject sets in motion. The presets follow published rules and
are starting points: the contract's edition governs, and certified people decide.
"""

from ndtstats.rules.families import (
    CheckPoints,
    ExtentRule,
    FirstOff,
    PercentOfJoints,
    ShareOfLength,
    SpotPerIncrement,
)
from ndtstats.rules.model import Risk, Rules, Structure

__all__ = [
    "CheckPoints",
    "ExtentRule",
    "FirstOff",
    "PercentOfJoints",
    "Risk",
    "Rules",
    "ShareOfLength",
    "SpotPerIncrement",
    "Structure",
]
