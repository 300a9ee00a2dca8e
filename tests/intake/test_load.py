from datetime import UTC, date, datetime

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.intake import body, load
from ndtstats.register import Counts, verify

NOW = datetime(2026, 6, 2, tzinfo=UTC)

RESULTS = (
    "job,joint,method,from_mm,to_mm,verdict,date,report,exposure,imperfection,imp_from_mm\n"
    "H1,B-1,RT,0,300,accept,2026-03-10,R-1,1,,\n"
    "H1,B-1,RT,300,600,reject,2026-03-10,R-1,2,2013,350\n"
    "H1,B-1,RT,300,600,reject,2026-03-10,R-1,2,401,420\n"
    "H1,B-2,RT,0,300,accept,2026-03-11,R-2,3,,\n"
)


def test_rows_that_differ_in_the_imperfection_are_one_examination(yard, register):
    result = yard("examinations", RESULTS)
    assert result.findings == []
    assert result.counts == Counts(new=3)
    shown = register.table("imperfections")
    assert shown["imperfection"].tolist() == ["2013", "401"]
    assert shown["imp_rejectable"].tolist() == [True, True]


def test_the_same_file_again_changes_nothing_and_says_which_batch(yard, register):
    first = yard("examinations", RESULTS)
    again = yard("examinations", RESULTS)
    assert again.already == first.batch
    assert len(register.batches()) == first.batch


def test_the_same_rows_in_another_file_change_nothing(yard, register):
    first = yard("examinations", RESULTS)
    lines = RESULTS.splitlines()
    turned = "\n".join([lines[0], *reversed(lines[1:])])
    again = yard("examinations", turned, name="other.csv")
    assert again.counts == Counts(unchanged=3)
    assert again.batch is None
    assert len(register.batches()) == first.batch


def test_a_corrected_verdict_supersedes(yard, register):
    yard("examinations", RESULTS)
    mended = RESULTS.replace("H1,B-2,RT,0,300,accept", "H1,B-2,RT,0,300,re-shoot")
    result = yard("examinations", mended)
    assert result.counts == Counts(unchanged=2, corrected=1)
    assert "re-shoot" in register.table("examinations")["verdict"].tolist()


def test_an_old_file_loaded_again_does_not_undo_a_correction(yard, register):
    yard("examinations", RESULTS)
    yard("examinations", RESULTS.replace("accept,2026-03-11", "re-shoot,2026-03-11"))
    yard("examinations", RESULTS)
    assert "re-shoot" in register.table("examinations")["verdict"].tolist()


def test_all_problems_are_told_at_once_and_nothing_is_loaded(yard, register, told):
    text = (
        "job,joint,method,from_mm,to_mm,verdict,date,report\n"
        "H1,B-1,RT,0,300,rejcet,2026-03-10,R-1\n"
        "H1,B-9,RT,0,300,accept,2026-03-10,R-1\n"
        "H1,B-1,RT,0,3OO,accept,2026-13-10,\n"
    )
    result = yard("examinations", text)
    assert told(result) == [
        (2, "verdict", "WORD"),
        (3, "joint", "JOINT-UNKNOWN"),
        (4, "to_mm", "NUMBER"),
        (4, "date", "DATE"),
        (4, "report", "MISSING"),
    ]
    assert register.table("examinations").empty


def test_a_message_says_where_what_and_what_would_be_right(yard):
    text = "job,joint,method,verdict,date,report\nH1,B-1,RT,rejcet,2026-03-10,R-1\n"
    (finding,) = yard("examinations", text, name="results.csv").findings
    assert str(finding) == (
        'results.csv, row 2, column verdict: "rejcet" is not a verdict; did you mean "reject"?'
    )


def test_a_joint_written_otherwise_is_suggested(yard):
    text = "job,joint,method,verdict,date,report\nH1,b-1,RT,accept,2026-03-10,R-1\n"
    (finding,) = yard("examinations", text).findings
    assert finding.remedy == 'did you mean "B-1"?'


def test_good_rows_are_taken_and_the_others_can_be_mended(yard, register, tmp_path):
    text = RESULTS.replace("H1,B-2,RT,0,300,accept", "H1,B-2,RT,0,300,acept")
    result = yard("examinations", text, take_good=True, name="results.csv")
    assert (result.counts.new, result.left_out) == (2, 1)
    assert result.corrections == tmp_path / "results.corrections.csv"
    mended = result.corrections.read_text(encoding="utf-8-sig")
    assert 'did you mean ""accept""?' in mended
    result.corrections.write_text(mended.replace("acept,", "accept,", 1), encoding="utf-8")
    second = load(register, "examinations", result.corrections, now=NOW)
    assert second.errors == []
    assert second.counts == Counts(new=1)


def test_an_examination_with_a_bad_imperfection_is_left_out_whole(yard, register):
    text = RESULTS.replace("401,420", "401,950")
    result = yard("examinations", text, take_good=True)
    assert result.left_out == 2
    assert len(register.table("examinations")) == 2


def test_a_file_with_rows_left_out_may_be_loaded_again(yard, register):
    text = RESULTS.replace("H1,B-2", "H1,B-5")
    assert yard("examinations", text, take_good=True).left_out == 1
    joints = "job,zone,joint,category,joint_type,length_mm\nH1,DECK,B-5,A,butt,900\n"
    yard("joints", joints, name="more.csv")
    result = yard("examinations", text)
    assert result.already is None
    assert result.counts == Counts(new=1, unchanged=2)


def test_a_dry_run_says_what_would_be_and_writes_nothing(yard, register):
    before = len(register.batches())
    result = yard("examinations", RESULTS, dry_run=True)
    assert result.counts == Counts(new=3)
    assert result.batch is None
    assert len(register.batches()) == before
    assert register.table("examinations").empty


def test_warnings_are_kept_with_the_batch(yard, register):
    text = (
        "job,joint,method,verdict,date,report,remark\n"
        "H1,F-1,RT,accept,2026-03-10,R-1,\n"
        "H1,B-1,RT,not done,2026-03-10,R-1,\n"
    )
    result = yard("examinations", text)
    assert result.errors == []
    kept = register.table("warnings")
    assert kept["code"].tolist() == ["RT-ON-FILLET", "NO-REASON"]
    assert kept["row"].tolist() == [2, 3]
    assert kept["job"].tolist() == ["H1", "H1"]


def test_a_warning_comes_with_its_row_and_comes_again_with_its_correction_only(yard, register):
    text = "job,joint,method,verdict,date,report,exposure\nH1,F-1,RT,accept,2026-03-10,R-1,{}\n"
    yard("examinations", text.format(""))
    yard("examinations", text.format("") + "H1,B-1,RT,accept,2026-03-10,R-1,\n", name="longer.csv")
    assert len(register.table("warnings")) == 1
    row = register.table("warnings").iloc[0]
    assert row["table"] == "examinations"
    corrected = (
        "job,joint,method,verdict,date,report,technician\nH1,F-1,RT,accept,2026-03-10,R-1,N\n"
    )
    yard("examinations", corrected, name="corrected.csv")
    again = register.table("warnings")
    assert len(set(again["row_key"])) == 1
    assert len(set(again["batch"])) == 2


def test_lower_case_stamps_are_the_same_stamps(yard, register):
    text = "job,joint,welder,date\nH1,B-1, m2 ,2026-03-05\n"
    assert yard("deposits", text, name="more.csv").errors == []
    assert register.table("deposits")["welder"].tolist()[-1] == "M2"


def test_titles_blank_rows_and_totals_are_passed_over(bring, register):
    text = (
        "Invented yard,,\nJoints of hull H1,,\n\n"
        "job,zone,joint,category,joint_type,length_mm\n"
        "H1,Z,B-1,A,butt,1000\n,,,,,\nH1,Z,B-2,A,butt,500\nTotal,,,,,1500\n"
    )
    bring("jobs", "job\nH1\n")
    bring("zones", "job,zone\nH1,Z\n")
    result = bring("joints", text)
    assert result.errors == []
    assert register.table("joints")["joint"].tolist() == ["B-1", "B-2"]
    assert result.notes == ["1 row of totals left out"]


def test_a_joint_called_total_is_a_joint(bring, register):
    bring("jobs", "job\nH1\n")
    bring("zones", "job,zone\nH1,Z\n")
    text = "joint,job,zone,category,joint_type,length_mm\nTotal 1,H1,Z,A,butt,1000\n"
    assert bring("joints", text).counts.new == 1


def test_leading_zeros_are_kept(bring, register):
    bring("jobs", "job\n007\n")
    assert register.table("jobs")["job"].tolist() == ["007"]


def test_a_spreadsheet_with_real_dates_and_numbers(yard, register, spreadsheet):
    path = spreadsheet(
        notes=[["nothing here"]],
        Results=[
            ["Contractor's results, March", *[None] * 7],
            ["job", "joint", "method", "from_mm", "to_mm", "verdict", "date", "report"],
            ["H1", "B-1", "rt", 0, 300, "Accept", date(2026, 3, 10), "R-1"],
        ],
    )
    result = load(register, "examinations", path, now=NOW)
    assert result.findings == []
    row = register.table("examinations").iloc[0]
    assert (row["to_mm"], row["verdict"], row["method"]) == (300.0, "accept", "RT")
    assert row["date"] == pd.Timestamp("2026-03-10")


def test_a_finding_of_a_spreadsheet_names_its_sheet(yard, register, spreadsheet):
    path = spreadsheet(
        Results=[
            ["job", "joint", "method", "verdict", "date", "report"],
            ["H1", "B-1", "RT", "rejcet", date(2026, 3, 10), "R-1"],
        ]
    )
    (finding,) = load(register, "examinations", path, now=NOW).findings
    assert (finding.sheet, finding.row) == ("Results", 2)


def test_an_unknown_sheet_is_told_with_those_there_are(register, spreadsheet):
    path = spreadsheet(Results=[["job"]])
    with pytest.raises(UseError, match='did you mean "Results"'):
        load(register, "jobs", path, now=NOW, sheet="results")


def test_an_unknown_table_is_told(register):
    with pytest.raises(UseError, match='did you mean "joints"'):
        load(register, "joint", "x.csv", now=NOW)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("missing.csv", None, "there is no file"),
        ("empty.csv", b"  \n", "is empty"),
        ("picture.png", b"\x89PNG", "kind of file is not known"),
        ("zipped.csv", b"PK\x03\x04\x00\x00\x00", "is not a text file"),
        ("text.xlsx", b"job\nH1\n", "is not a spreadsheet"),
    ],
)
def test_files_that_cannot_be_read_are_told(register, tmp_path, name, content, says):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(UseError, match=says):
        load(register, "jobs", path, now=NOW)


@pytest.mark.parametrize(
    ("encoding", "delimiter"),
    [("utf-8", ","), ("utf-8-sig", ";"), ("cp1252", ";"), ("utf-16", "\t"), ("utf-8", "|")],
)
def test_encodings_and_delimiters(register, tmp_path, encoding, delimiter):
    path = tmp_path / "jobs.csv"
    path.write_bytes(delimiter.join(["job", "title\nH1", "Größe é\n"]).encode(encoding))
    assert load(register, "jobs", path, now=NOW).errors == []
    assert register.table("jobs")["title"].tolist() == ["Größe é"]


def test_a_line_break_in_a_quoted_cell_is_one_row(register, tmp_path, told):
    path = tmp_path / "jobs.csv"
    path.write_text('job,title,started\nH1,"one\ntwo",2026-01-05\nH2,three,31.2.2026\n')
    result = load(register, "jobs", path, now=NOW)
    assert told(result) == [(3, "started", "DATE")]


def test_a_quotation_mark_that_is_never_closed_is_told_with_its_row(register, tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text('job,title\nH1,one\nH2,"two\nH3,three\n')
    with pytest.raises(UseError, match=r"jobs.csv, row 3: a quotation mark is not closed"):
        load(register, "jobs", path, now=NOW)
    assert register.table("jobs").empty


def test_a_load_that_is_interrupted_between_its_pieces_leaves_nothing(yard, register, monkeypatch):
    monkeypatch.setattr(body, "PIECE", 1)
    before = len(register.batches())

    def interrupted(what: str, done: int, total: int) -> None:
        if what == "writing" and done == total:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        yard("examinations", RESULTS, progress=interrupted)
    assert register.table("examinations").empty
    assert len(register.batches()) == before
    assert yard("examinations", RESULTS).counts == Counts(new=3)


def test_progress_grows_to_the_end(yard, monkeypatch):
    monkeypatch.setattr(body, "PIECE", 1)
    told: list[tuple[str, int, int]] = []
    yard("examinations", RESULTS, progress=lambda *what: told.append(what))
    assert [what for what, _, _ in told] == [
        "reading", "converting", *["checking"] * 5, *["writing"] * 5,
    ]  # fmt: skip
    done = [part for _, part, _ in told]
    assert done == sorted(done)
    assert told[-1] == ("writing", 100, 100)


def test_an_examination_may_be_spread_over_a_file(yard, register, monkeypatch):
    monkeypatch.setattr(body, "PIECE", 1)
    head, *rows = RESULTS.splitlines()
    shows = [row for row in rows if ",reject," in row]
    assert len(shows) == 2
    others = [row for row in rows if row not in shows]
    text = "\n".join([head, shows[0], *others, shows[1]]) + "\n"
    assert yard("examinations", text).counts == Counts(new=3)
    shown = register.table("imperfections")
    assert len(set(shown["examination"])) == 1
    assert len(shown) == 2


def test_a_correction_of_a_piece_is_found_among_those_of_others(yard, register, monkeypatch):
    monkeypatch.setattr(body, "PIECE", 1)
    yard("examinations", RESULTS)
    changed = RESULTS.replace("401,420", "401,430")
    assert changed != RESULTS
    assert yard("examinations", changed).counts == Counts(unchanged=2, corrected=1)
    assert verify(register).holds
