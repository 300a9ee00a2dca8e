"""Rows that belong together, in whatever order and however much of them is left blank."""

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.intake import body, load
from ndtstats.register import Counts, Register, verify

NOW = datetime(2026, 6, 1, tzinfo=UTC)
HEAD = (
    "job,joint,method,from_mm,to_mm,verdict,date,report,exposure,technician,"
    "imperfection,imp_from_mm"
)
FIRST = "H1,B-1,RT,0,300,reject,2026-03-10,R-1,1,T. Tester,2013,50"


def shown(register: Register) -> list[tuple[str, float]]:
    rows = register.table("imperfections")
    return sorted(zip(rows["imperfection"], rows["imp_from_mm"], strict=True))


@pytest.mark.parametrize(
    "second",
    [
        "H1,B-1,RT,0,300,reject,2026-03-10,R-1,1,T. Tester,401,120",
        "H1,B-1,RT,0,300,,,R-1,1,,401,120",
        "H1,B-1,RT,0,300,reject,,R-1,1,,401,120",
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_a_further_imperfection_need_not_say_again_what_its_examination_is(
    yard, register, second, turned
):
    rows = [second, FIRST] if turned else [FIRST, second]
    result = yard("examinations", "\n".join([HEAD, *rows]) + "\n")
    assert (result.findings, result.counts) == ([], Counts(new=1))
    assert shown(register) == [("2013", 50.0), ("401", 120.0)]
    row = register.table("examinations").iloc[0]
    assert (row["verdict"], row["technician"]) == ("reject", "T. Tester")


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        # another key: it is no further imperfection, and lacks what every examination must have
        ("H1,B-1,RT,0,300,,,,1,,401,120", [(3, "verdict"), (3, "date"), (3, "report")]),
        ("H1,B-1,RT,300,600,,,R-1,1,,401,320", [(3, "verdict"), (3, "date")]),
        # it shows nothing: it is a row that somebody began and left
        ("H1,B-1,RT,0,300,,,R-1,1,,,", [(3, "verdict"), (3, "date")]),
    ],
)
def test_a_row_that_lacks_its_key_or_shows_nothing_is_told(yard, second, expected):
    result = yard("examinations", "\n".join([HEAD, FIRST, second]) + "\n")
    missing = [(f.row, f.column) for f in result.findings if f.code == "MISSING"]
    assert missing == expected


def test_an_imperfection_that_contradicts_its_examination_is_told(yard, told):
    second = FIRST.replace("reject", "accept").replace("2013,50", "401,120")
    result = yard("examinations", "\n".join([HEAD, FIRST, second]) + "\n")
    assert told(result) == [(3, None, "TWICE")]
    assert "with another verdict" in result.findings[0].remedy


def test_the_same_row_twice_is_taken_once_and_noted(yard, register):
    result = yard("examinations", "\n".join([HEAD, FIRST, FIRST]) + "\n")
    assert (result.findings, result.counts.new) == ([], 1)
    assert result.notes == ["1 row stood twice: row 3"]
    assert shown(register) == [("2013", 50.0)]


def test_each_content_of_a_key_is_told_once(yard, told):
    other = FIRST.replace("reject", "accept")
    result = yard("examinations", "\n".join([HEAD, FIRST, other, other]) + "\n")
    assert told(result) == [(3, None, "TWICE")]


# ------------------------------------------------------------------ properties

SPOT = st.fixed_dictionaries(
    {
        "job": st.just("H1"),
        "joint": st.sampled_from(["B-1", "B-2", "F-1", "B-9"]),
        "method": st.sampled_from(["RT", "UT", "VT", "XT"]),
        "from_mm": st.sampled_from(["", "0", "-0", "300", "900", "1e3", "x"]),
        "to_mm": st.sampled_from(["", "300", "600", "1200"]),
        "round": st.sampled_from(["", "0", "1", "R2"]),
        "verdict": st.sampled_from(["accept", "reject", "not done", "", "rejcet"]),
        "date": st.sampled_from(["2026-03-10", "13.3.2026", "1.4.2026", "2026-02-01", ""]),
        "report": st.sampled_from(["R-1", "R-2"]),
        "exposure": st.sampled_from(["", "1", "2"]),
        "imperfection": st.sampled_from(["", "2013", "401", "PO"]),
        "imp_from_mm": st.sampled_from(["", "50", "350"]),
    }
)
YARD = {
    "jobs": "job\nH1\n",
    "zones": "job,zone\nH1,Z\n",
    "joints": (
        "job,zone,joint,category,joint_type,penetration,length_mm\n"
        "H1,Z,B-1,A,butt,full,1000\nH1,Z,B-2,A,butt,full,2000\nH1,Z,F-1,F,tee,fillet,3000\n"
    ),
    "welders": "welder\nK7\n",
    "deposits": "job,joint,welder,date\nH1,B-1,K7,2026-03-02\nH1,B-2,K7,2026-03-02\n",
}


@pytest.fixture(scope="module")
def template_register(tmp_path_factory):
    """The small yard in a file, to be copied for each example."""
    folder = tmp_path_factory.mktemp("yard")
    register = Register.open(folder / "yard.sqlite", create=True)
    for minute, (table, text) in enumerate(YARD.items()):
        (folder / f"{table}.csv").write_text(text)
        at = NOW + timedelta(minutes=minute)
        assert load(register, table, folder / f"{table}.csv", now=at).findings == []
    register.close()
    return folder / "yard.sqlite"


def bring(register: Register, folder: Path, rows: list[dict[str, str]], name: str, **options):
    path = folder / name
    pd.DataFrame(rows).to_csv(path, index=False)
    return load(register, "examinations", path, now=NOW + timedelta(days=1), **options)


@settings(max_examples=5)
@given(st.lists(SPOT, min_size=1, max_size=8), st.randoms(use_true_random=False))
def test_loading_again_in_any_order_changes_nothing(template_register, rows, random):
    turned = rows[:]
    random.shuffle(turned)
    with TemporaryDirectory() as folder:
        path = Path(folder)
        register = Register.open(shutil.copy(template_register, path / "own.sqlite"))
        first = bring(register, path, rows, "first.csv", take_good=True)
        before = {name: register.table(name) for name in ("examinations", "imperfections")}
        batches = len(register.batches())
        again = bring(register, path, turned, "again.csv", take_good=True)
        taken = first.counts.new + first.counts.corrected
        # In the same order without a row left out it is the same file, and not even read.
        assert again.already or again.counts == Counts(unchanged=taken)
        assert len(register.batches()) == batches
        for name, frame in before.items():
            pd.testing.assert_frame_equal(register.table(name), frame)
        register.close()


@settings(max_examples=6)
@given(st.lists(SPOT, min_size=2, max_size=10), st.integers(1, 4))
def test_a_file_loads_the_same_however_it_is_cut_into_pieces(template_register, rows, size):
    told = []
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        for rows_at_once in (body.PIECE, size):
            patch.setattr(body, "PIECE", rows_at_once)
            path = Path(folder) / str(len(told))
            path.mkdir()
            register = Register.open(shutil.copy(template_register, path / "own.sqlite"))
            result = bring(register, path, rows, "file.csv", take_good=True)
            tables = ("examinations", "imperfections", "warnings")
            held = [register.table(name).to_csv() for name in tables]
            assert verify(register).holds
            told.append((result.findings, result.notes, result.counts, result.left_out, held))
            register.close()
    assert told[0] == told[1]


@settings(max_examples=5)
@given(st.lists(SPOT, min_size=1, max_size=8), st.randoms(use_true_random=False))
def test_findings_do_not_depend_on_the_order_of_rows(template_register, rows, random):
    order = list(range(len(rows)))
    random.shuffle(order)
    with TemporaryDirectory() as folder:
        path = Path(folder)
        register = Register.open(shutil.copy(template_register, path / "own.sqlite"))
        one = bring(register, path, rows, "one.csv", dry_run=True)
        other = bring(register, path, [rows[n] for n in order], "other.csv", dry_run=True)
        assert _told(one, range(len(rows))) == _told(other, order)
        assert one.left_out == other.left_out
        register.close()


def _told(result, order) -> tuple[list[tuple[int, str | None, str]], int]:
    """What is told of each row of the first order; of rows with one key, only how often."""
    places = dict(enumerate(order, start=2))
    rows = [(places[f.row], str(f.column), f.code) for f in result.findings if f.code != "TWICE"]
    return sorted(rows), sum(f.code == "TWICE" for f in result.findings)
