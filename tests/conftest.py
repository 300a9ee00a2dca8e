"""What all tests share: reference tables, empty registers, a fixed clock."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

from ndtstats.register import Register

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
