"""Runs command lines as a newcomer would type them, and prints each before its output."""

import os
import shlex
from collections.abc import Callable, Iterator
from contextlib import chdir, contextmanager, nullcontext
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from ndtstats.cli.root import run
from ndtstats.clock import standing_at
from ndtstats.errors import CannotGoOn

#: The variable that names another register; the demo must never write into a real one.
_VARIABLE = "NDTSTATS_REGISTER"

#: When a day of the story begins, and what a command takes of it.
_MORNING, _EACH = time(8, tzinfo=UTC), timedelta(minutes=5)


class Guide:
    """Tells and runs the steps of a tour, and counts them.

    Parameters
    ----------
    echo : callable
        Takes a line to print.
    """

    def __init__(self, echo: Callable[[str], None]) -> None:
        self._echo = echo
        self._clock: datetime | None = None
        self.commands = 0

    def chapter(self, title: str, on: date | None = None) -> None:
        """Begin a part of the tour, on a day of its own if one is given."""
        self._echo(f"\n## {title}")
        if on is not None:
            self.day(on)

    def day(self, on: date) -> None:
        """Let the clock of the commands that follow stand at a day of the story."""
        self._clock = datetime.combine(on, _MORNING)
        self._echo(f"\n# It is {on:%Y-%m-%d}.")

    def tell(self, text: str) -> None:
        """Print a remark."""
        self._echo(f"\n# {text}")

    def run(self, line: str, *, exits: tuple[int, ...] = (0,)) -> int:
        """Print and run one command line; its exit code must be one of those foreseen.

        Raises
        ------
        CannotGoOn
            If it ends with another exit code: then the demo itself is broken.
        """
        self._echo(f"\n$ ndtstats {line}")
        with nullcontext() if self._clock is None else standing_at(self._clock):
            code = run(shlex.split(line))
        self.commands += 1
        self._clock = self._clock and self._clock + _EACH
        if code not in exits:
            foreseen = " or ".join(str(one) for one in exits)
            raise CannotGoOn(
                f"the demo broke off: ndtstats {line} ended with exit code {code}, not {foreseen}"
            )
        if code:
            self._echo(f"(exit code {code})")
        return code


@contextmanager
def inside(directory: Path) -> Iterator[None]:
    """Work in a folder, with the register that a newcomer would have there, and come back."""
    named = os.environ.pop(_VARIABLE, None)
    try:
        with chdir(directory):
            yield
    finally:
        if named is not None:
            os.environ[_VARIABLE] = named
