"""Which sheet, which row of headings, which of two columns: chosen for a reason or refused."""

from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest
import xlsxwriter

from ndtstats.errors import UseError
from ndtstats.intake import load
from ndtstats.intake.readers import read_grids

NOW = datetime(2026, 6, 2, tzinfo=UTC)
HEAD = ["job", "joint", "method", "verdict", "date", "report"]
ROW = ["H1", "B-1", "RT", "accept", "2026-03-10", "R-1"]


def test_two_sheets_that_fit_alike_are_not_chosen_between(yard, register, spreadsheet):
    path = spreadsheet(March=[HEAD, ROW], April=[HEAD, ROW])
    with pytest.raises(UseError, match="in sheet March or in April; name one with --sheet"):
        load(register, "examinations", path, now=NOW)
    assert load(register, "examinations", path, now=NOW, sheet="April").counts.new == 1


def test_the_sheet_of_the_tables_own_name_is_meant(yard, register, spreadsheet):
    path = spreadsheet(March=[HEAD, ROW], Examinations=[HEAD, [*ROW[:-1], "R-2"]])
    result = load(register, "examinations", path, now=NOW)
    assert register.table("examinations")["report"].tolist() == ["R-2"]
    assert result.notes == []


def test_a_sheet_that_fits_better_is_read_and_the_other_told(yard, register, spreadsheet):
    path = spreadsheet(Short=[HEAD, ROW], Long=[[*HEAD, "exposure"], [*ROW, "7"]])
    result = load(register, "examinations", path, now=NOW)
    assert register.table("examinations")["exposure"].tolist() == ["7"]
    assert result.notes == ["sheet Long was read; examinations could also be in Short"]


def test_a_column_that_stands_twice_with_other_content_is_refused(yard):
    text = ",".join([*HEAD, "verdict"]) + "\n" + ",".join([*ROW, "reject"]) + "\n"
    with pytest.raises(UseError, match="columns D and G are both verdict and do not hold the same"):
        yard("examinations", text)


def test_a_column_that_stands_twice_with_the_same_content_is_no_matter(yard):
    text = ",".join([*HEAD, "Verdict "]) + "\n" + ",".join([*ROW, "accept"]) + "\n"
    assert yard("examinations", text).counts.new == 1


@pytest.mark.parametrize(
    "title", ["from\n[cm]", "From (cm)", "from_cm", " FROM_MM [cm]", "from\u00a0[ cm ]"]
)
def test_a_heading_states_the_unit_however_it_is_broken(yard, register, title):
    text = ",".join([*HEAD, f'"{title}"']) + "\n" + ",".join([*ROW, "30"]) + "\n"
    assert yard("examinations", text).notes == []
    assert register.table("examinations")["from_mm"].tolist() == [300.0]


def test_headings_repeated_on_every_page_are_left_out(yard):
    lines = [",".join(HEAD), ",".join(ROW), ",".join(HEAD), ",".join(ROW).replace("R-1", "R-2")]
    result = yard("examinations", "\n".join(lines))
    assert (result.counts.new, result.notes) == (2, ["1 row of repeated headings left out"])


def test_a_file_of_headings_alone_says_so(yard):
    result = yard("examinations", ",".join(HEAD) + "\n")
    assert (result.rows, result.notes) == (0, ["there are no rows below the headings"])


def test_a_file_of_one_column(bring, register):
    assert bring("jobs", "job\nH1; the first\nH2\n").findings == []
    assert register.table("jobs")["job"].tolist() == ["H1; the first", "H2"]


def test_a_line_that_names_the_delimiter_is_passed_over(yard):
    text = "sep=;\n" + ";".join(HEAD) + "\n" + ";".join(ROW) + "\n"
    assert yard("examinations", text).counts.new == 1


def test_real_numbers_dates_and_flags_of_a_spreadsheet_become_the_text_that_they_show(spreadsheet):
    cells = [
        [300.0, 0.1, 1e16, True, date(2026, 3, 1), pd.Timestamp("2026-03-01 08:30"), "007", None]
    ]
    (grid,) = read_grids(spreadsheet(S=cells))
    assert grid.cells.iloc[0, :7].tolist() == [
        "300", "0.1", "1e+16", "yes", "2026-03-01", "2026-03-01T08:30:00", "007",
    ]  # fmt: skip


def test_a_formula_that_failed_is_shown_and_one_that_did_not_is_its_value(tmp_path: Path):
    path = tmp_path / "formulas.xlsx"
    with xlsxwriter.Workbook(path) as book:
        for name in ("A & B", "second"):
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, ["a", "b", "c"])
            sheet.write_formula(1, 0, "=1+1", None, 2)
            sheet.write_formula(1, 1, "=1/0", None, "#DIV/0!")
            sheet.write_formula(1, 2, "=A9", None, "text")
            sheet.write_formula(5, 27, "=NA()", None, "#N/A")
    for grid in read_grids(path):
        assert grid.cells.iloc[1, :3].tolist() == ["2", "#DIV/0!", "text"]
        assert grid.cells.iloc[5, 27] == "#N/A"


def test_what_steers_a_terminal_is_not_passed_on(yard):
    text = ",".join(HEAD) + "\n" + ",".join(ROW).replace("B-1", "B\x1b[31m-1\u202e") + "\n"
    (finding,) = yard("examinations", text).findings
    assert str(finding).isprintable()


def test_a_very_long_cell_is_shown_shortened(yard):
    text = ",".join(HEAD) + "\n" + ",".join(ROW).replace("B-1", "x" * 50_000) + "\n"
    (finding,) = yard("examinations", text).findings
    assert len(str(finding)) < 300


def test_a_column_of_nothing_but_mistakes_does_not_take_for_ever(yard):
    rows = [",".join(ROW).replace("2026-03-10", f"day {n}") for n in range(3000)]
    result = yard("examinations", "\n".join([",".join(HEAD), *rows]))
    assert sum(finding.code == "DATE" for finding in result.findings) == 3000
