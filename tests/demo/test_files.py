import hashlib
import shutil
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

from ndtstats.demo import write_files
from ndtstats.demo.files import (
    ABOUT,
    BOOK,
    CONTRACTOR,
    MAPPING,
    MENDED,
    READINGS,
    SPOILED,
    spoiled_from,
)
from ndtstats.demo.spoiled import MISTAKES
from ndtstats.errors import UseError
from ndtstats.findings import CODES
from ndtstats.intake import load
from ndtstats.register import Counts, Register

DATASETS = Path(__file__).parents[2] / "datasets" / "demo"

ORDER = (
    "jobs", "zones", "joints", "welders", "qualifications", "confirmations", "deposits", "beads",
    "tests",
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(yard, tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("yard")
    write_files(yard, made)
    return made


@pytest.fixture(scope="module")
def loaded(folder: Path, tmp_path_factory) -> Path:
    """A register that holds all sheets of the yard's spreadsheet, made once."""
    path = tmp_path_factory.mktemp("loaded") / "yard.sqlite"
    register = Register.open(path, create=True)
    now = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    for name in ORDER:
        assert load(register, name, folder / BOOK, now=now).errors == []
    assert load(register, "examinations", folder / BOOK, sheet="visual", now=now).errors == []
    register.close()
    return path


@pytest.fixture
def filled(loaded: Path, tmp_path: Path) -> Iterator[Register]:
    """A copy of it, for a test to write to."""
    copied = Register.open(shutil.copy(loaded, tmp_path / "yard.sqlite"))
    yield copied
    copied.close()


def digests(folder: Path) -> dict[str, str]:
    return {name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in ABOUT}


def test_the_same_yard_gives_the_same_bytes(yard, folder, tmp_path):
    write_files(yard, tmp_path)
    assert digests(tmp_path) == digests(folder)


@pytest.mark.parametrize("name", sorted({CONTRACTOR, MAPPING, SPOILED, MENDED, READINGS}))
def test_the_text_files_that_come_with_the_project_are_those_of_the_default_seed(folder, name):
    assert (DATASETS / name).read_bytes() == (folder / name).read_bytes()


def test_so_is_the_spreadsheet_cell_for_cell(folder):
    # Not byte for byte: another xlsxwriter may pack the same cells otherwise.
    mine, theirs = (
        pd.read_excel(path / BOOK, sheet_name=None, header=None, engine="calamine")
        for path in (folder, DATASETS)
    )
    assert list(mine) == list(theirs)
    for name, sheet in mine.items():
        pd.testing.assert_frame_equal(sheet, theirs[name])


@pytest.mark.parametrize("name", ORDER)
def test_a_sheet_loads_as_the_table_it_was_written_from(yard, filled, name):
    kept = filled.table(name).drop(columns=["id", "batch"])
    pd.testing.assert_frame_equal(kept, yard.tables[name])


def test_the_contractors_file_loads_as_the_results_it_was_written_from(yard, filled, folder, now):
    result = load(filled, "examinations", folder / CONTRACTOR, mapping=folder / MAPPING, now=now)
    assert result.errors == []
    columns = ["joint", "from_mm", "to_mm", "round", "verdict", "date", "report", "exposure"]
    kept = filled.table("examinations")
    kept = kept[kept["method"] == "RT"][columns].reset_index(drop=True)
    early = yard.early[yard.early["date"] < spoiled_from(yard)]
    wanted = early[columns].drop_duplicates(ignore_index=True)
    pd.testing.assert_frame_equal(kept, wanted.astype(kept.dtypes), check_exact=False)


def test_every_mistake_of_the_spoiled_file_is_told_in_one_pass(filled, folder, now):
    load(filled, "examinations", folder / CONTRACTOR, mapping=folder / MAPPING, now=now)
    result = load(filled, "examinations", folder / SPOILED, now=now)
    meant = {mistake.code for mistake in MISTAKES}
    errors = {code for code in meant if CODES[code].severity == "error"}
    assert len(errors) >= 10
    assert {finding.code for finding in result.errors} == errors
    assert len(result.errors) == len(errors)
    assert {finding.code for finding in result.warnings} >= (meant - errors) | {"RT-ON-FILLET"}
    assert result.counts == Counts()


def test_the_good_rows_and_the_mended_ones_make_the_file_whole(yard, filled, folder, now, tmp_path):
    load(filled, "examinations", folder / CONTRACTOR, mapping=folder / MAPPING, now=now)
    spoiled = tmp_path / SPOILED
    spoiled.write_bytes((folder / SPOILED).read_bytes())
    load(filled, "examinations", spoiled, take_good=True, now=now)
    assert load(filled, "examinations", folder / MENDED, now=now).errors == []
    key = ["joint", "from_mm", "round", "verdict", "date", "report", "exposure"]
    kept = filled.table("examinations")
    films = kept[(kept["method"] == "RT") & ~kept["joint"].str.startswith("F")][key]
    wanted = yard.early[key].drop_duplicates().astype(films.dtypes)
    order = ["date", "joint", "from_mm", "exposure"]
    pd.testing.assert_frame_equal(
        films.sort_values(order, ignore_index=True), wanted.sort_values(order, ignore_index=True)
    )


def test_a_mapping_is_suggested_from_the_headings_below_the_contractors_titles(
    filled, folder, now, tmp_path
):
    theirs = tmp_path / CONTRACTOR
    theirs.write_bytes((folder / CONTRACTOR).read_bytes())
    with pytest.raises(UseError, match="a suggested mapping is in"):
        load(filled, "examinations", theirs, now=now)
    suggested = tomllib.loads(
        (tmp_path / "contractor-spring.examinations.mapping.toml").read_text()
    )
    meant = tomllib.loads((folder / MAPPING).read_text())["columns"]
    # A guess is a guess, but none of them is wrong, and most are there.
    assert suggested["columns"].items() <= meant.items()
    assert len(suggested["columns"]) >= len(meant) / 2
