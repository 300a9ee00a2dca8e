"""Seen by eye: what every weld must show before anything else, and what its beads must measure."""

from ndtstats.visual.faults import KINDS, bead_sides, check_beads
from ndtstats.visual.state import STATES, examined_before_seen, visual_state

__all__ = [
    "KINDS",
    "STATES",
    "bead_sides",
    "check_beads",
    "examined_before_seen",
    "visual_state",
]
