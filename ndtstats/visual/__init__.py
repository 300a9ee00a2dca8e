"""Seen by eye: what every weld must show before anything else, and what its beads must measure."""

from ndtstats.visual.faults import KINDS, bead_sides, check_beads
from ndtstats.visual.intermittent import Intermittent, faults_sentence, intermittent
from ndtstats.visual.lengths_of_beads import Beads, beads_of, beads_sentence
from ndtstats.visual.state import STATES, examined_before_seen, left_to_see, visual_state

__all__ = [
    "KINDS",
    "STATES",
    "Beads",
    "Intermittent",
    "bead_sides",
    "beads_of",
    "beads_sentence",
    "check_beads",
    "examined_before_seen",
    "faults_sentence",
    "intermittent",
    "left_to_see",
    "visual_state",
]
