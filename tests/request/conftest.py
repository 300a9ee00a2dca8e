import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pandas as pd
import pytest

from ndtstats.intake import LoadResult, load
from ndtstats.register import Register
from ndtstats.rules import Rules, read_rules

RULES = """
title = "test hull"
follows = "nothing: rules for a test"
edition = "none"

[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", percent = 10.0 }
reserve_share = 1.0
technique = "ISO 17636-1, class B"
acceptance = "ISO 10042, level C"
"""


@pytest.fixture
def rules() -> Rules:
    return read_rules(RULES, source="test rules")


def bringing(
    register: Register, now: datetime, folder: Path, first: int
) -> Callable[..., LoadResult]:
    """Load a file, or a frame as a file, a minute after the one before."""
    minutes = count(first)

    def call(table: str, what: pd.DataFrame | Path, **options: object) -> LoadResult:
        at = now + timedelta(minutes=next(minutes))
        path = what if isinstance(what, Path) else folder / f"{at:%H%M}.csv"
        if not isinstance(what, Path):
            what.to_csv(path, index=False)
        return load(register, table, path, now=at, by="lead", **options)

    return call


@pytest.fixture
def bring(register: Register, now: datetime, tmp_path: Path) -> Callable[..., LoadResult]:
    return bringing(register, now, tmp_path, 6)


@pytest.fixture(scope="session")
def yard_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty butts in two zones, all but the last two welded; loaded once for all tests."""
    folder = tmp_path_factory.mktemp("butts")
    register = Register.open(folder / "register.sqlite", create=True)
    bring = bringing(register, datetime(2026, 3, 2, 9, 0, tzinfo=UTC), folder, 1)
    bring("jobs", pd.DataFrame({"job": ["H1"]}))
    zones = {"job": "H1", "zone": ["LATE", "EARLY"], "due": ["2026-09-01", "2026-05-01"]}
    bring("zones", pd.DataFrame(zones))
    joints = pd.DataFrame(
        {
            "job": "H1",
            "zone": ["LATE", "EARLY"] * 10,
            "joint": [f"B-{n:02d}" for n in range(20)],
            "category": "A",
            "joint_type": "butt",
            "length_mm": 3000,
        }
    )
    bring("joints", joints)
    bring("welders", pd.DataFrame({"welder": ["K7"]}))
    welded = joints.iloc[:18][["job", "joint"]].assign(welder="K7", date="2026-02-01")
    bring("deposits", welded)
    register.close()
    return folder / "register.sqlite"


@pytest.fixture
def yard(register: Register, yard_file: Path, tmp_path: Path) -> Register:
    """The butts in the register of the test."""
    # Closing lets go of the file; the next question opens what stands there then.
    register.close()
    shutil.copy(yard_file, tmp_path / "register.sqlite")
    return register
