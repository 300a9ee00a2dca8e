"""A list that was handed out comes back with some rows filled in; the others were not done yet."""

import pytest

HEAD = "job,joint,method,from_mm,to_mm,round,verdict,date,report,technician,remark\n"
DONE = "H1,B-1,VT,0,300,0,accept,2026-03-10,V-1,T. One,\n"
OPEN = "H1,B-2,VT,0,300,0,,,,T. One,\n"


def test_rows_without_an_answer_are_passed_over_with_a_note(yard, told):
    result = yard("examinations", HEAD + OPEN + DONE + OPEN)
    assert told(result) == []
    assert (result.rows, result.counts.new, result.left_out) == (1, 1, 0)
    assert "2 rows not answered yet passed over: row 2, 4" in result.notes


@pytest.mark.parametrize(
    ("row", "missing"),
    [
        ("H1,B-2,VT,0,300,0,accept,,,,\n", ["date", "report"]),
        ("H1,B-2,VT,0,300,0,,2026-03-10,V-1,,\n", ["verdict"]),
        # Somebody had something to say of it.
        ("H1,B-2,VT,0,300,0,,,,,lagging is on\n", ["verdict", "date", "report"]),
    ],
)
def test_a_row_half_answered_is_told(yard, told, row, missing):
    assert told(yard("examinations", HEAD + row)) == [(2, name, "MISSING") for name in missing]


def test_further_imperfections_of_an_answered_row_are_no_open_question(yard, told):
    head = "job,joint,method,from_mm,to_mm,verdict,date,report,request,imperfection\n"
    rows = "H1,B-1,RT,0,300,reject,2026-03-10,R-1,Q1,2011\nH1,B-1,RT,0,300,,,R-1,Q1,401\n"
    result = yard("examinations", head + rows)
    assert told(result) == []
    assert not any("not answered" in note for note in result.notes)


def test_a_file_of_which_nothing_was_answered_is_no_empty_file(yard):
    result = yard("examinations", HEAD + OPEN)
    assert result.notes == ["1 row not answered yet passed over: row 2"]
    assert (result.rows, result.batch) == (0, None)


def test_beads_to_be_measured(yard, told):
    head = "job,joint,side,from_mm,length_mm,date\n"
    result = yard("beads", head + "H1,B-1,first,0,75,\nH1,B-1,first,,,\nH1,B-1,second,225,,\n")
    assert told(result) == []
    assert result.counts.new == 1
    half = yard("beads", head + "H1,B-1,first,225,,2026-03-10\n", name="half.csv")
    assert told(half) == [(2, "length_mm", "MISSING")]


def test_tables_that_ask_nothing_are_as_they_were(yard, told):
    result = yard("tests", "job,zone,test,date,verdict,report\nH1,DECK,leak,,,\n")
    assert {code for _, _, code in told(result)} == {"MISSING"}
