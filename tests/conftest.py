"""What all tests share: reference tables, empty registers, a fixed clock."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import settings

from ndtstats.cli.root import run
from ndtstats.register import Register

# A loaded machine is slow now and then; that is no fault of what is tested. The usual run keeps
# within minutes; --hypothesis-profile=thorough looks longer.
settings.register_profile("project", deadline=None, max_examples=25)
settings.register_profile("thorough", deadline=None, max_examples=1000)
settings.load_profile("project")

REFERENCES = Path(__file__).parent / "references"


@pytest.fixture(scope="session")
def reference() -> Callable[[str], pd.DataFrame]:
    """Read a table of published or recomputed values; its source stands in it, row by row."""

    def read(name: str) -> pd.DataFrame:
        return pd.read_csv(REFERENCES / name)

    return read


@pytest.fixture
def now() -> datetime:
    return datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def register(tmp_path: Path) -> Iterator[Register]:
    """An empty register in a file of its own."""
    opened = Register.open(tmp_path / "register.sqlite", create=True)
    yield opened
    opened.close()


@pytest.fixture
def ndtstats(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    """Run one command line in an empty folder: exit code, what it printed, what it told beside."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("NDTSTATS_REGISTER", raising=False)

    def call(*arguments: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = run([str(argument) for argument in arguments])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return call
