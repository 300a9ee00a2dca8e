import json
from pathlib import Path

import openpyxl
import pytest

JOINTS = "job,zone,joint,category,joint_type,length_mm\nH1,Z,B-1,A,butt,1000\n"
HEAD = "job,joint,method,from_mm,to_mm,verdict,date,report\n"
GOOD = "H1,B-1,RT,0,300,accept,2026-03-10,R-1\n"
BAD = "H1,B-1,RT,300,600,rejcet,2026-03-10,R-1\n"


@pytest.fixture
def yard(ndtstats, tmp_path):
    """A register with a job, a zone and a joint in it; then load on."""
    ndtstats("init")
    for table, text in {"jobs": "job\nH1\n", "zones": "job,zone\nH1,Z\n", "joints": JOINTS}.items():
        (tmp_path / f"{table}.csv").write_text(text)
        assert ndtstats("load", table, f"{table}.csv")[0] == 0
    return ndtstats


@pytest.fixture
def results(tmp_path):
    def write(*rows: str) -> str:
        (tmp_path / "results.csv").write_text(HEAD + "".join(rows))
        return "results.csv"

    return write


def test_a_good_file_is_loaded_and_told_in_a_line(yard, results):
    code, out, err = yard("load", "examinations", results(GOOD), "--by", "lead")
    assert (code, err) == (0, "")
    assert out == (
        "results.csv into examinations: 1 new, 0 unchanged, 0 corrected; 0 warnings; batch 4.\n"
    )


def test_the_same_file_twice_says_so(yard, results):
    yard("load", "examinations", results(GOOD))
    code, out, _ = yard("load", "examinations", results(GOOD))
    assert code == 0
    assert out == (
        "results.csv into examinations: this file was loaded before, as batch 4; nothing changed.\n"
    )


def test_errors_are_told_with_their_place_and_nothing_is_loaded(yard, results):
    code, out, _ = yard("load", "examinations", results(GOOD, BAD))
    assert code == 1
    assert out.splitlines() == [
        'error: results.csv, row 3, column verdict: "rejcet" is not a verdict; '
        'did you mean "reject"?',
        "results.csv into examinations: 1 error in 1 of 2 rows, 0 warnings; nothing was loaded.",
    ]
    assert "1 new" in yard("load", "examinations", results(GOOD))[1]


def test_take_good_writes_the_others_to_a_file_and_says_where(yard, results, tmp_path):
    code, out, _ = yard("load", "examinations", results(GOOD, BAD), "--take-good")
    assert code == 1
    assert "1 new, 0 unchanged, 0 corrected, 1 row left out; 0 warnings; batch 4." in out
    assert "The rows left out are in results.corrections.csv: mend them there and load it." in out
    mended = (tmp_path / "results.corrections.csv").read_text(encoding="utf-8-sig")
    assert mended.splitlines()[0] == HEAD.strip() + ",problem"
    (tmp_path / "results.corrections.csv").write_text(mended.replace("rejcet,", "reject,", 1))
    code, out, _ = yard("load", "examinations", "results.corrections.csv")
    assert (code, "1 new" in out) == (0, True)


def test_a_dry_run_writes_nothing(yard, results, tmp_path):
    code, out, _ = yard("load", "examinations", results(GOOD, BAD), "--dry-run", "--take-good")
    assert code == 1
    assert "would be 1 new, 0 unchanged, 0 corrected, 1 row left out" in out
    assert out.rstrip().endswith("nothing was written.")
    assert not (tmp_path / "results.corrections.csv").exists()
    assert "1 new" in yard("load", "examinations", results(GOOD))[1]


def test_a_warning_is_no_error(yard, results):
    done = GOOD.replace("accept", "not done")
    code, out, _ = yard("load", "examinations", results(done))
    assert code == 0
    assert out.startswith("warning: results.csv, row 2, column verdict:")
    assert "1 warning; batch 4." in out


def test_json_gives_the_findings_and_tells_the_rest_beside(yard, results):
    code, out, err = yard("load", "examinations", results(GOOD, BAD), "--format", "json")
    assert code == 1
    (finding,) = json.loads(out)
    assert list(finding) == [
        "code", "severity", "file", "sheet", "row", "column", "value", "reason", "remedy",
    ]  # fmt: skip
    assert (finding["code"], finding["row"], finding["sheet"]) == ("WORD", 3, None)
    assert "nothing was loaded" in err


def test_json_of_a_file_without_findings_is_an_empty_list(yard, results):
    code, out, _ = yard("load", "examinations", results(GOOD), "--format", "json")
    assert (code, json.loads(out)) == (0, [])


def test_csv_gives_all_findings(yard, results):
    rows = [BAD.replace("R-1", f"R-{n}") for n in range(60)]
    _, out, _ = yard("load", "examinations", results(*rows), "--format", "csv")
    assert len(out.splitlines()) == 61
    _, out, _ = yard("load", "examinations", results(*rows))
    assert "rows 2, 3, 4, 5, 6, 7 and 54 more, column verdict" in out
    different = [row.replace("rejcet", f"wrong{n}") for n, row in enumerate(rows)]
    _, out, _ = yard("load", "examinations", results(*different))
    assert "and 20 more; --format csv gives them all" in out


def test_notes_stand_beside_the_result(yard, results):
    code, out, err = yard("load", "examinations", results(GOOD, ",,,,,,,\n", "Total,,,300,,,,\n"))
    assert (code, err) == (0, "results.csv: 1 row of totals left out\n")
    assert out.startswith("results.csv into")


def test_a_sheet_can_be_named(yard, tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "March"
    for sheet in (book.active, book.create_sheet("April")):
        sheet.append(HEAD.strip().split(","))
        sheet.append(GOOD.strip().split(","))
    book.save(tmp_path / "both.xlsx")
    code, _, err = yard("load", "examinations", "both.xlsx")
    assert (code, "name one with --sheet" in err) == (2, True)
    assert yard("load", "examinations", "both.xlsx", "--sheet", "April")[0] == 0
    code, _, err = yard("load", "examinations", "both.xlsx", "--sheet", "Apirl")
    assert (code, 'did you mean "April"?' in err) == (2, True)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["examination", "x.csv"], "examinations"),
        (["examinations", "none.csv"], "there is no file none.csv"),
        (["examinations", "joints.csv"], "no heading says so"),
        (["examinations", "joints.csv", "--mapping", "none.toml"], "there is no mapping file"),
        (["examinations", "joints.csv", "--sheet", "S"], "text file without sheets"),
        (["examinations", "."], "is a folder"),
    ],
)
def test_wrong_use_is_told_without_a_traceback(yard, arguments, told):
    code, out, err = yard("load", *arguments)
    assert (code, out) == (2, "")
    assert told in err
    assert "Traceback" not in err


def test_without_a_register_the_way_to_one_is_told(ndtstats, tmp_path):
    (tmp_path / "jobs.csv").write_text("job\nH1\n")
    code, _, err = ndtstats("load", "jobs", "jobs.csv")
    assert (code, "ndtstats init" in err) == (2, True)


def test_a_template_is_written_once(ndtstats, tmp_path: Path):
    code, out, _ = ndtstats("template", "joints", "joints.xlsx")
    assert (code, (tmp_path / "joints.xlsx").exists()) == (0, True)
    assert "ready to be filled in" in out
    code, _, err = ndtstats("template", "joints", "joints.xlsx")
    assert (code, "is there already" in err) == (2, True)
