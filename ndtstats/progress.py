"""How long work tells what it has done, without knowing who listens."""

from typing import Protocol

#: What is told where the same work is done for one job after the other.
EACH_JOB = "each job"


class Progress(Protocol):
    """Called as work goes on: what is being done, how much is done, of how much."""

    def __call__(self, what: str, done: int, total: int) -> None:
        """Take note that ``done`` of ``total`` units of ``what`` are done."""


def silent(what: str, done: int, total: int) -> None:
    """Take no note: the default listener."""
