"""Seen by eye: what every weld must show before anything else, and the list to walk with."""
