"""What must be examined: rules files, the arithmetic of extents, the rules in force for a job.

A rules file (TOML) says for each examination category and method how much is examined, what first,
to which acceptance level, and what a reject sets in motion. The presets follow published rules and
are starting points: the contract's edition governs, and certified people decide.
"""

from ndtstats.rules.amount import spots_required
from ndtstats.rules.force import adopt, rules_in_force
from ndtstats.rules.model import ExtentRule, Risk, Rules, Structure
from ndtstats.rules.procedures import Procedure
from ndtstats.rules.reader import list_presets, load_rules, preset_text, read_rules

__all__ = [
    "ExtentRule",
    "Procedure",
    "Risk",
    "Rules",
    "Structure",
    "adopt",
    "list_presets",
    "load_rules",
    "preset_text",
    "read_rules",
    "rules_in_force",
    "spots_required",
]
