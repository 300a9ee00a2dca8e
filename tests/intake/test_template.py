from datetime import UTC, date, datetime, timedelta

import openpyxl
import pandas as pd
import pytest

from ndtstats.columns import TABLES, Column
from ndtstats.errors import UseError
from ndtstats.intake import heading, load, write_table, write_template
from ndtstats.intake.convert import clean
from ndtstats.intake.readers import read_grids

NOW = datetime(2026, 6, 1, tzinfo=UTC)

#: One row of each table as a person fills it in, in the order in which a yard loads them.
FILLED: dict[str, dict[str, object]] = {
    "jobs": {"job": "007", "title": "=invented hull", "started": date(2026, 1, 5)},
    "zones": {
        "job": "007",
        "zone": "TANK 1",
        "due": date(2026, 9, 1),
        "milestone": "close",
        "leak_test": "yes",
    },
    "joints": {
        "job": "007",
        "zone": "TANK 1",
        "joint": "1-2",
        "category": "A",
        "joint_type": "butt",
        "penetration": "full",
        "length_mm": 1250.5,
        "whole": "no",
        "thickness_mm": 6,
        "process": "131",
        "position": "PF",
        "crossings_mm": "250;900.5",
    },
    "welders": {"welder": "K7", "name": "Welder K7"},
    "qualifications": {
        "welder": "K7",
        "certificate": "C-1",
        "standard": "ISO 9606-2",
        "process": "131",
        "qualified_on": date(2025, 6, 1),
        "valid_until": date(2027, 6, 1),
    },
    "confirmations": {"welder": "K7", "certificate": "C-1", "date": date(2025, 12, 1)},
    "deposits": {
        "job": "007",
        "joint": "1-2",
        "welder": "K7",
        "date": date(2026, 3, 2),
        "to_mm": 600,
    },
    "examinations": {
        "job": "007",
        "joint": "1-2",
        "method": "RT",
        "from_mm": 0,
        "to_mm": 300,
        "round": 0,
        "verdict": "reject",
        "date": date(2026, 3, 10),
        "report": "R-1",
        "exposure": 1,
        "imperfection": "401",
        "imp_from_mm": 20.5,
        "imp_length_mm": 12,
        "imp_rejectable": "yes",
    },
    "beads": {
        "job": "007",
        "joint": "1-2",
        "side": "first",
        "from_mm": 0,
        "length_mm": 75,
        "wrapped": "yes",
    },
    "tests": {
        "job": "007",
        "zone": "TANK 1",
        "test": "pressure",
        "date": date(2026, 4, 1),
        "pressure_bar": 1.5,
        "verdict": "accept",
        "report": "L-1",
    },
}


def test_every_table_is_filled_in_here():
    assert set(FILLED) == set(TABLES)


@pytest.mark.parametrize("ending", [".xlsx", ".csv"])
def test_a_template_of_every_table_loads_as_it_is_once_filled_in(register, tmp_path, ending):
    for minute, (table, row) in enumerate(FILLED.items()):
        path = tmp_path / (table + ending)
        write_template(table, path)
        headings = {heading(column): column.name for column in TABLES[table].columns}
        if ending == ".xlsx":
            book = openpyxl.load_workbook(path)
            sheet = book[table]
            for cell in sheet[1]:
                sheet.cell(2, cell.column, row.get(headings[cell.value]))
                if str(sheet.cell(2, cell.column).value).startswith("="):
                    sheet.cell(2, cell.column).data_type = "s"
            book.save(path)
        else:
            cells = pd.DataFrame([row]).rename(columns={n: h for h, n in headings.items()})
            empty = pd.read_csv(path, encoding="utf-8-sig")
            cells.reindex(columns=empty.columns).to_csv(path, index=False)
        result = load(register, table, path, now=NOW + timedelta(minutes=minute))
        assert (result.findings, result.notes, result.counts.new) == ([], [], 1), table
        _same(register.table(table).iloc[0], row, table)


def _same(stored: "pd.Series", row: dict[str, object], table: str) -> None:
    for name, value in row.items():
        if name.startswith("imp"):
            continue
        kind = TABLES[table].column(name).kind
        expected = value == "yes" if kind == "flag" else value
        if kind == "date":
            assert stored[name] == pd.Timestamp(value), name
        elif kind in {"text", "numbers"}:
            assert stored[name] == str(value), name
        else:
            assert stored[name] == expected, name


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "examinations.xlsx"
    write_template("examinations", path)
    return openpyxl.load_workbook(path)


def test_a_template_has_units_in_its_headings_and_stays_at_the_top(book):
    sheet = book["examinations"]
    titles = [cell.value for cell in sheet[1]]
    assert titles == [heading(column) for column in TABLES["examinations"].columns]
    assert "from_mm [mm]" in titles
    assert sheet.freeze_panes == "A2"


def test_a_template_has_drop_downs_of_the_words_allowed(book):
    rules = {
        str(rule.sqref).split(":")[0]: rule.formula1
        for rule in book["examinations"].data_validations.dataValidation
    }
    columns = TABLES["examinations"].columns
    for number, column in enumerate(columns):
        cell = f"{openpyxl.utils.get_column_letter(number + 1)}2"
        words = ("yes", "no") if column.kind == "flag" else column.allowed
        assert rules.get(cell) == ('"' + ",".join(words) + '"' if words else None)


def test_a_template_keeps_what_is_text_as_text(book):
    formats = {
        letter: dimension.number_format
        for dimension in book["examinations"].column_dimensions.values()
        for letter in map(openpyxl.utils.get_column_letter, range(dimension.min, dimension.max + 1))
    }
    assert formats["B"] == "@"  # joint: 007 stays, and 1-2 is no day of the year
    assert formats["D"] == "General"  # from_mm


def test_a_template_explains_each_column(book):
    rows = list(book["columns"].iter_rows(values_only=True))
    assert rows[0] == ("column", "required", "type", "unit", "allowed", "meaning")
    explained = {row[0]: row for row in rows[1:]}
    for column in TABLES["examinations"].columns:
        row = explained[heading(column)]
        assert row[1] == ("yes" if column.required else "no")
        assert row[5] == column.meaning
        assert all(word in row[4] for word in column.allowed)


def test_a_csv_template_is_its_headings(tmp_path):
    write_template("joints", tmp_path / "joints.csv")
    text = (tmp_path / "joints.csv").read_text(encoding="utf-8-sig")
    assert text.splitlines() == [",".join(heading(column) for column in TABLES["joints"].columns)]


@pytest.mark.parametrize("name", ["jobs.csv", "jobs.xlsx"])
def test_a_file_that_is_there_is_not_overwritten(tmp_path, name):
    (tmp_path / name).write_text("mine")
    with pytest.raises(UseError, match="is there already"):
        write_template("jobs", tmp_path / name)
    assert (tmp_path / name).read_text() == "mine"


def test_another_kind_of_file_is_refused(tmp_path):
    with pytest.raises(UseError, match=r"write an \.xlsx or a \.csv file"):
        write_template("jobs", tmp_path / "jobs.pdf")


def test_a_table_that_is_none_is_refused(tmp_path):
    with pytest.raises(UseError, match='"joint" is not a table'):
        write_template("joint", tmp_path / "x.csv")


TRICKY = [
    "=1+1",
    "+B1",
    "-B2",
    "@x",
    "-3",
    "-3,5",
    "plain",
    "'quoted",
    "=cmd|' /c x'!A1",
    "a;b",
    'a"b',
]


@pytest.mark.parametrize("ending", [".xlsx", ".csv"])
def test_text_that_looks_like_a_formula_stays_text_and_comes_back(tmp_path, ending):
    path = tmp_path / f"jobs{ending}"
    table = TABLES["jobs"]
    write_table(path, pd.DataFrame({"job": TRICKY}), table)
    (grid,) = read_grids(path)
    assert clean(grid.cells[0]).tolist() == ["job", *TRICKY]
    if ending == ".csv":
        told = path.read_text(encoding="utf-8-sig").splitlines()[1:5]
        assert told == ["'=1+1", "'+B1", "'-B2", "'@x"]
    else:
        cells = openpyxl.load_workbook(path)["jobs"]["A"]
        assert [cell.data_type for cell in cells] == ["s"] * len(cells)


def test_titles_stand_above_and_the_sheet_is_named(tmp_path):
    path = tmp_path / "odd.xlsx"
    write_table(
        path, pd.DataFrame({"job": ["H1"]}), TABLES["jobs"], above=[["Title"], []], sheet="A/B: c"
    )
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["A B  c"]
    assert [row[0] for row in book.active.iter_rows(values_only=True)] == [
        "Title",
        None,
        "job",
        "H1",
    ]
    assert book.active.freeze_panes == "A4"


def test_a_heading_states_the_unit():
    assert heading(Column("length_mm", "number", "", unit="mm")) == "length_mm [mm]"
    assert heading(Column("job", "text", "")) == "job"
