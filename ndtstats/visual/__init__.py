"""Seen by eye: what every weld must show before anything else, and the list to walk with."""

from ndtstats.visual.state import STATES, examined_before_seen, visual_state

__all__ = ["STATES", "examined_before_seen", "visual_state"]
