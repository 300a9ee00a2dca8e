"""What must be examined: rules files, the arithmetic of extents, the rules in force for a job.

A rules file (TOML) says for each examination category and method how much is examined, what first,
to which acceptance level, and what a reject sets in motion. The presets follow published rules and
are starting points: the contract's edition governs, and certified people decide.
"""

from ndtstats.rules.amount import (
    amount_of_welders,
    crossing_spots,
    first_off_mm,
    is_spot,
    required,
    spot_length_of,
    spots_required,
)
from ndtstats.rules.describe import CHOSEN, amount_in_words, rules_table, sources
from ndtstats.rules.force import (
    adopt,
    keep_rules,
    rules_by_sha256,
    rules_for_plan,
    rules_in_force,
)
from ndtstats.rules.hold_times import hold_hours, hold_of, hold_tables
from ndtstats.rules.intermittent import beads_specified, throat_mm
from ndtstats.rules.method_choice import power_piping_methods
from ndtstats.rules.model import ExtentRule, Risk, Rules, Structure
from ndtstats.rules.problems import Problem
from ndtstats.rules.procedures import Procedure
from ndtstats.rules.reader import (
    copy_preset,
    list_presets,
    load_rules,
    parse_rules,
    preset_text,
    read_rules,
    rules_text,
)
from ndtstats.rules.where import (
    Range,
    Where,
    in_no_rule,
    is_under,
    joints_under,
    nameless,
    standing,
)
from ndtstats.rules.zone_tests import ZoneTest, how_tested, usual_test

__all__ = [
    "CHOSEN",
    "ExtentRule",
    "Problem",
    "Procedure",
    "Range",
    "Risk",
    "Rules",
    "Structure",
    "Where",
    "ZoneTest",
    "adopt",
    "amount_in_words",
    "amount_of_welders",
    "beads_specified",
    "copy_preset",
    "crossing_spots",
    "first_off_mm",
    "hold_hours",
    "hold_of",
    "hold_tables",
    "how_tested",
    "in_no_rule",
    "is_spot",
    "is_under",
    "joints_under",
    "keep_rules",
    "list_presets",
    "load_rules",
    "nameless",
    "parse_rules",
    "power_piping_methods",
    "preset_text",
    "read_rules",
    "required",
    "rules_by_sha256",
    "rules_for_plan",
    "rules_in_force",
    "rules_table",
    "rules_text",
    "sources",
    "spot_length_of",
    "spots_required",
    "standing",
    "throat_mm",
    "usual_test",
]
