from dataclasses import dataclass
from pathlib import Path

import pytest

from ndtstats.demo import DEFAULT_SEED, Yard, make_yard
from ndtstats.demo.readme import said_by_demo


@dataclass(frozen=True)
class Ran:
    """A demo that was run: its exit code, all that was said, and its folder."""

    code: int
    out: str
    folder: Path

    @property
    def blocks(self) -> list[tuple[str, str]]:
        """Each command line, and what stands below it up to the next one."""
        parts = self.out.split("\n$ ndtstats ")[1:]
        return [(line, text) for line, _, text in (part.partition("\n") for part in parts)]

    def first(self, start: str) -> str:
        return next(text for line, text in self.blocks if line.startswith(start))


@pytest.fixture(scope="session")
def yard() -> Yard:
    return make_yard(DEFAULT_SEED)


@pytest.fixture(scope="session")
def ran(tmp_path_factory) -> Ran:
    """The demo of the default seed, run once."""
    folder = tmp_path_factory.mktemp("tour") / "demo"
    return Ran(*said_by_demo(folder), folder)
