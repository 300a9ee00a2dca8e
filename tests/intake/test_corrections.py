"""What is left out comes back in a file of the same shape, to be mended and loaded."""

from datetime import UTC, date, datetime, timedelta

import openpyxl
import pytest

from ndtstats.errors import UseError
from ndtstats.intake import load
from ndtstats.register import Counts

NOW = datetime(2026, 6, 2, tzinfo=UTC)
HEAD = ["Weld", "job", "method", "from [cm]", "to [cm]", "verdict", "date", "report", ""]
GOOD = ["B-1", "H1", "RT", 0, 30, "accept", date(2026, 3, 10), "R-1", "a note"]
BAD = ["B-9", "H1", "RT", 0.5, 30, "accept", date(2026, 3, 11), "R-1", "another"]
MAPPING = 'sheet = "Results"\nheader_row = 3\n[columns]\nWeld = "joint"\n'


@pytest.fixture
def mapping(tmp_path):
    path = tmp_path / "his.toml"
    path.write_text(MAPPING)
    return path


@pytest.fixture
def results(spreadsheet):
    return spreadsheet(
        Cover=[["The invented contractor"]],
        Results=[["Results of March"], ["RT, class B"], HEAD, GOOD, BAD],
    )


def test_a_correction_file_of_a_spreadsheet_keeps_its_shape(yard, register, results, mapping):
    result = load(register, "examinations", results, now=NOW, mapping=mapping, take_good=True)
    assert (result.counts, result.left_out) == (Counts(new=1), 1)
    book = openpyxl.load_workbook(result.corrections)
    assert book.sheetnames == ["Results"]
    rows = list(book.active.iter_rows(values_only=True))
    assert [row[0] for row in rows] == ["Results of March", "RT, class B", "Weld", "B-9"]
    assert rows[2] == (*HEAD[:-1], None, "problem")
    assert rows[3][3] == "0.5"
    assert rows[3][8] == "another"
    assert rows[3][9] == 'joint: "B-9" is not a joint of the job; did you mean "B-2"?'


def test_a_correction_file_once_mended_loads_with_the_same_mapping(
    yard, register, results, mapping
):
    first = load(register, "examinations", results, now=NOW, mapping=mapping, take_good=True)
    book = openpyxl.load_workbook(first.corrections)
    book.active["A4"] = "B-2"
    book.save(first.corrections)
    later = NOW + timedelta(hours=1)
    result = load(register, "examinations", first.corrections, now=later, mapping=mapping)
    assert (result.errors, result.counts) == ([], Counts(new=1))
    assert result.notes == []  # the column problem is nothing to speak of
    rows = register.table("examinations")
    assert rows["joint"].tolist() == ["B-1", "B-2"]
    assert rows["from_mm"].tolist() == [0.0, 5.0]


def test_a_correction_file_that_may_be_half_mended_is_left(yard, register, results, mapping):
    names = []
    for hour in range(2):
        at = NOW + timedelta(hours=hour)
        result = load(register, "examinations", results, now=at, mapping=mapping, take_good=True)
        names.append(result.corrections.name)
    assert names == ["book.corrections.xlsx", "book.corrections-2.xlsx"]


def test_a_correction_file_of_text_keeps_titles_and_delimiter(yard, tmp_path):
    text = (
        "Results;;;;;\n\n"
        "job;joint;method;verdict;date;report\n"
        "H1;B-9;RT;accept;10.3.2026;R-1\nH1;B-1;RT;accept;13.3.2026;R-1\n"
    )
    result = yard("examinations", text, name="r.csv", take_good=True)
    lines = result.corrections.read_text(encoding="utf-8-sig").splitlines()
    assert lines[0].startswith("Results;")
    assert lines[2] == "job;joint;method;verdict;date;report;problem"
    assert lines[3].startswith('H1;B-9;RT;accept;10.3.2026;R-1;"joint:')


def test_nothing_is_loaded_where_the_correction_file_cannot_be_written(yard, register, monkeypatch):
    def full(*_: object, **__: object) -> None:
        raise UseError("no room")

    monkeypatch.setattr("ndtstats.intake.corrections.write_table", full)
    text = "job,joint,method,verdict,date,report\nH1,B-1,RT,accept,2026-03-10,R-1\nH1,B-9,RT,accept,2026-03-10,R-1\n"  # noqa: E501
    with pytest.raises(UseError, match="no room"):
        yard("examinations", text, take_good=True)
    assert register.table("examinations").empty


def test_a_mended_file_warns_of_a_row_only_once(yard, register):
    text = (
        "job,joint,method,verdict,date,report\n"
        "H1,F-1,RT,accept,2026-03-10,R-1\nH1,B-1,RT,accept,2026-03-10,R-1\n"
    )
    yard("examinations", text)
    yard("examinations", text.replace("H1,B-1,RT,accept", "H1,B-1,RT,reject"))
    assert register.table("warnings")["code"].tolist() == ["RT-ON-FILLET"]
