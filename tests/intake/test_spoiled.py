"""The files of datasets/spoiled, each with the findings that their index promises."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest

from ndtstats.findings import CODES
from ndtstats.intake import load
from ndtstats.register import Register
from ndtstats.rules import adopt, load_rules

SPOILED = Path(__file__).parents[2] / "datasets" / "spoiled"
YARD = ("jobs", "zones", "joints", "welders", "qualifications", "deposits", "examinations")
NOW = datetime(2026, 6, 1, tzinfo=UTC)


def index() -> list[tuple[str, str, list[tuple[int, str | None, str]]]]:
    """File, table, and (row, column, code) of each finding, as the index says."""
    text = (SPOILED / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\S+)` \| (\w+) \| [^|]* \| ([^|]*) \|$", text, re.MULTILINE)
    return [
        (file, table, [_finding(part) for part in found.split(";")]) for file, table, found in rows
    ]


def _finding(text: str) -> tuple[int, str | None, str]:
    row, column, code = text.split()
    return int(row), None if column == "-" else column, code


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    """A register that knows the yard; every file is only rehearsed on it."""
    register = Register.open(tmp_path_factory.mktemp("yard") / "yard.sqlite", create=True)
    for minute, table in enumerate(YARD):
        at = NOW + timedelta(minutes=minute)
        assert load(register, table, SPOILED / "yard" / f"{table}.csv", now=at).findings == []
    adopt(register, "S-2", load_rules("steel-structure"), agreed_by=None, by="lead", now=NOW)
    spot = {
        "spot": "P1-0001", "plan": "P1", "job": "K-3", "joint": "B-1", "rule": "r", "method": "RT",
        "from_mm": 0.0, "to_mm": 300.0, "part": "random",
    }  # fmt: skip
    with register.batch(kind="plan", subject="K-3", now=NOW) as batch:
        batch.insert("spots", pd.DataFrame([spot]))
    yield register
    register.close()


@pytest.mark.parametrize(("file", "table", "expected"), index(), ids=lambda part: str(part)[:30])
def test_a_spoiled_file_is_told_as_its_index_says(yard, told, file, table, expected):
    result = load(yard, table, SPOILED / file, now=NOW, dry_run=True)
    assert told(result) == expected


def test_every_code_has_a_file_and_every_file_stands_in_the_index():
    listed = index()
    assert {code for _, _, found in listed for _, _, code in found} == set(CODES)
    files = {path.name for path in SPOILED.iterdir() if path.is_file()} - {"README.md"}
    assert files == {file for file, _, _ in listed}
