from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from ndtstats.cli import console
from ndtstats.cli.pace import MARKS, Marks
from ndtstats.demo import DEFAULT_SEED, Yard, make_yard
from ndtstats.demo.readme import said_by_demo
from ndtstats.progress import Progress


@dataclass(frozen=True)
class Ran:
    """A demo that was run: its exit code, all that was said, its folder.

    ``told`` holds what registers told the verbs that have marks.
    """

    code: int
    out: str
    folder: Path
    told: dict[str, set[str]]

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
    told: dict[str, set[str]] = defaultdict(set)

    @contextmanager
    def listening(marks: Marks) -> Iterator[Progress]:
        verb = next((name for name, known in MARKS.items() if known is marks), "")
        yield lambda what, _done, _total: told[verb].add(what)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(console, "paced", listening)
        return Ran(*said_by_demo(folder), folder, told)
