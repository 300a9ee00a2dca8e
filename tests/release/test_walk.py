"""A block with a tank in it, one thing of each kind to do; expectations by hand."""

import re

import openpyxl
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.intake import load
from ndtstats.register import Register
from ndtstats.release import Walk, walk_list, walk_page, walk_sentence, write_walk
from ndtstats.visual import visual_state

DAY = pd.Timestamp("2026-03-01")


@pytest.fixture
def block(register: Register, now):
    """Joints of which each wants something else; the last one wants nothing."""
    stitched = {"bead_length_mm": 75.0, "bead_pitch_mm": 225.0}
    joints = pd.DataFrame(
        [
            {"joint": "F-10", "zone": "TANK"},
            {"joint": "F-9", "zone": "TANK"},
            {"joint": "F-11", "zone": "TANK", **stitched},
            {"joint": "F-12", "zone": "TANK", **stitched},
            {"joint": "B-1", "zone": "BLOCK", "joint_type": "butt"},
            {"joint": "B-2", "zone": "BLOCK"},
            {"joint": "X-1", "zone": "ELSEWHERE"},
        ]
    ).assign(job="H1", category="A", length_mm=900.0)
    joints["joint_type"] = joints["joint_type"].fillna("tee")
    seen = pd.DataFrame(
        [
            {"joint": "F-9", "from_mm": 0.0, "to_mm": 600.0, "verdict": "accept"},
            {"joint": "F-11", "verdict": "accept"},
            {"joint": "F-12", "verdict": "accept"},
            {"joint": "B-1", "verdict": "accept"},
            {"joint": "F-10", "from_mm": 100.0, "to_mm": 200.0, "verdict": "reject"},
            {"joint": "B-1", "method": "RT", "from_mm": 0.0, "to_mm": 300.0, "verdict": "reject"},
        ]
    ).assign(job="H1", date=DAY, round=0, report="V-1")
    seen["method"] = seen["method"].fillna("VT")
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({
            "job": "H1", "zone": ["BLOCK", "TANK", "ELSEWHERE"], "parent": [None, "BLOCK", None],
            "leak_test": [None, True, None], "test_pressure_bar": [None, 0.15, None],
        }))  # fmt: skip
        batch.merge("joints", joints)
        batch.merge("welders", pd.DataFrame({"welder": ["K7"]}))
        welded = joints.loc[joints["joint"] != "B-2", ["joint"]]
        batch.merge("deposits", welded.assign(job="H1", welder="K7", date=DAY))
        batch.merge("examinations", seen)
        batch.merge("beads", pd.DataFrame({
            "job": "H1", "joint": "F-11", "side": "first", "from_mm": [0.0, 225.0, 450.0, 675.0],
            "length_mm": [75.0, 60.0, 75.0, 75.0],
        }))  # fmt: skip
    return register


def test_everything_in_walking_order(block):
    rows = walk_list(block, job="H1", zone="BLOCK")
    assert rows[["zone", "joint", "do"]].fillna("").to_numpy().tolist() == [
        ["BLOCK", "B-1", "repair"],
        ["BLOCK", "B-1", "re-examine"],
        ["BLOCK", "B-2", "weld"],
        ["TANK", "F-9", "look"],
        # What is seen of the rest, and then what was rejected, along the joint.
        ["TANK", "F-10", "look"],
        ["TANK", "F-10", "look"],
        ["TANK", "F-10", "repair"],
        ["TANK", "F-10", "look"],
        ["TANK", "F-11", "mend"],
        ["TANK", "F-12", "measure"],
        ["TANK", "", "test"],
    ]
    told = rows.set_index("do")["what"]
    assert told["weld"] == "not welded, as far as is recorded"
    assert told["mend"] == "beads: 60 mm long, 75 mm are specified"
    assert told["measure"] == "measure 4 beads"
    assert told["test"] == "leak or pressure test missing: the drawing states 0.15 bar"
    assert rows.loc[rows["do"] == "repair", "method"].tolist() == ["RT", "VT"]
    again = rows[rows["what"].str.startswith("look at it again")].iloc[0]
    assert (again["from_mm"], again["to_mm"], again["round"]) == (100.0, 200.0, 1)
    part = rows[rows["joint"] == "F-9"].iloc[0]
    assert (part["from_mm"], part["to_mm"], part["round"]) == (600.0, 900.0, 0)
    assert walk_sentence(rows, "BLOCK").startswith(
        "Zone BLOCK: 11 things to do on 6 joints: 1 weld"
    )


def test_a_zone_within_is_walked_by_itself(block):
    assert set(walk_list(block, job="H1", zone="TANK")["zone"]) == {"TANK"}
    with pytest.raises(UseError, match='did you mean "TANK"'):
        walk_list(block, job="H1", zone="TANC")


def made(register, zone="BLOCK"):
    return Walk("H1", zone, register.latest_time(), walk_list(register, job="H1", zone=zone))


def test_the_filled_sheets_load_back(block, tmp_path, now):
    path = tmp_path / "walk.xlsx"
    write_walk(made(block), path)
    untouched = load(block, "examinations", path, now=now, sheet="visual")
    assert (untouched.errors, untouched.counts.new) == ([], 0)
    assert any("4 rows not answered yet passed over" in note for note in untouched.notes)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["walk", "visual", "beads", "cautions"]
    visual, beads = book["visual"], book["beads"]
    fill(visual, lambda row: row["joint"] == "F-9", verdict="accept", date="2026-03-05",
         report="V-2")  # fmt: skip
    fill(visual, lambda row: row["round"] == 1, verdict="accept", date="2026-03-06", report="V-3")
    fill(beads, lambda row: row["joint"] == "F-11", **{"length_mm [mm]": 76})
    starts = iter([0, 225, 450])
    fill(beads, lambda row: row["joint"] == "F-12" and next(starts, None) is not None,
         **{"length_mm [mm]": 80})  # fmt: skip
    for start, row in zip((0, 225, 450), rows_of(beads, "F-12"), strict=False):
        beads.cell(row, heads(beads)["from_mm [mm]"], start)
    book.save(path)
    # The sheet is found by its headings, without its name.
    result = load(block, "examinations", path, now=now)
    assert (result.errors, result.counts.new, result.left_out) == ([], 2, 0)
    state = visual_state(block, job="H1").set_index("joint")["state"]
    assert (state["F-9"], state["F-10"]) == ("accepted", "partly")
    result = load(block, "beads", path, now=now)
    assert (result.errors, result.counts.new, result.counts.corrected) == ([], 3, 1)
    assert any("1 row not answered yet" in note for note in result.notes)
    left = walk_list(block, job="H1", zone="TANK")
    assert left.loc[left["joint"] == "F-11", "do"].tolist() == []
    assert left.loc[left["joint"] == "F-12", "what"].tolist() == ["beads: a bead missing"]


def heads(sheet):
    top = next(r for r in range(1, 9) if sheet.cell(r, 1).value == "job")
    return {cell.value: cell.column for cell in sheet[top]}


def rows_of(sheet, joint):
    column = heads(sheet)["joint"]
    return [row for row in range(2, sheet.max_row + 1) if sheet.cell(row, column).value == joint]


def fill(sheet, chosen, **answers):
    """Fill in the rows that are chosen; cells by their headings."""
    columns = heads(sheet)
    for row in range(2, sheet.max_row + 1):
        if chosen({name: sheet.cell(row, column).value for name, column in columns.items()}):
            for name, value in answers.items():
                sheet.cell(row, columns[name], value)


def test_a_row_half_answered_is_still_an_error(block, tmp_path, now):
    path = tmp_path / "walk.xlsx"
    write_walk(made(block), path)
    book = openpyxl.load_workbook(path)
    fill(book["visual"], lambda row: row["joint"] == "F-9", verdict="accept")
    book.save(path)
    result = load(block, "examinations", path, now=now)
    assert [(found.code, found.column) for found in result.errors] == [
        ("MISSING", "date"), ("MISSING", "report"),
    ]  # fmt: skip


def test_the_page_prints_and_is_escaped(block, now):
    with block.batch(kind="load", subject="zones", now=now) as batch:
        batch.merge("zones", pd.DataFrame({"job": ["H1"], "zone": ["<b>"], "parent": ["TANK"]}))
        batch.merge("joints", pd.DataFrame({
            "job": "H1", "joint": ["F<1>"], "zone": "<b>", "category": "A", "length_mm": 900.0,
        }))  # fmt: skip
        batch.merge("deposits", pd.DataFrame({
            "job": "H1", "joint": ["F<1>"], "welder": "K7", "date": DAY,
        }))  # fmt: skip
    page = walk_page(made(block))
    assert "<script" not in page
    assert "http" not in page
    assert "F&lt;1&gt;" in page
    assert "F<1>" not in page
    assert "size: A4" in page
    assert "table-header-group" in page
    assert len(re.findall('aria-label="box to tick"', page)) == 12
    # Each zone has its name in the heading that is repeated on every sheet of paper.
    heads = re.findall(r"<thead>.*?</thead>", page, re.DOTALL)
    assert [re.search(r"Zone (\S+?)</strong>", head)[1] for head in heads] == [
        "BLOCK", "TANK", "&lt;b&gt;",
    ]  # fmt: skip
    assert all("licensed people" in head for head in heads)
    assert "HSE GS4" in page
    assert page == walk_page(made(block))


def test_no_file_is_overwritten_and_others_are_refused(block, tmp_path):
    walk = made(block)
    for name in ("walk.xlsx", "walk.html"):
        write_walk(walk, tmp_path / name)
        with pytest.raises(UseError, match="is there already"):
            write_walk(walk, tmp_path / name)
    with pytest.raises(UseError, match=r"write an \.xlsx or an \.html file"):
        write_walk(walk, tmp_path / "walk.pdf")


def test_nothing_to_do_is_told(block):
    assert walk_sentence(walk_list(block, job="H1", zone="TANK").head(0), "TANK") == (
        "Zone TANK: nothing to look at or to finish."
    )
