from datetime import timedelta

import openpyxl
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.planning import draw_plan, plan_spots
from ndtstats.request import reconcile, request_rows, write_request
from ndtstats.rules import read_rules

#: Words that would tell the contractor why a place was chosen, or by whom it was welded.
TELLING = {"part", "why", "risk", "pi", "stratum", "welder", "rule", "draw_order", "because"}


@pytest.fixture
def plan(yard, rules, now):
    number, _ = draw_plan(yard, job="H1", rules=rules, seed=11, now=now + timedelta(hours=1))
    return number


def test_a_request_is_blind(yard, plan, tmp_path):
    assert TELLING.isdisjoint(request_rows(yard, plan).rows.columns)
    write_request(yard, plan, tmp_path / "r.xlsx")
    book = openpyxl.load_workbook(tmp_path / "r.xlsx")
    text = " ".join(str(cell.value) for sheet in book for row in sheet for cell in row)
    for telling in ("required", "random", "reserve", "drawn", "K7", "butts"):
        assert telling not in text


def test_a_request_is_in_order_of_due_date_zone_joint(yard, plan):
    rows = request_rows(yard, plan).rows
    assert rows["zone"].unique().tolist() == ["EARLY", "LATE"]
    ordered = rows.sort_values(["due", "zone", "joint", "from_mm"], kind="stable")
    pd.testing.assert_frame_equal(rows, ordered)


def test_a_zone_within_another_is_due_no_later_than_that(yard, plan, bring):
    zones = {"job": "H1", "zone": ["LATE", "BLOCK"], "parent": ["BLOCK", None],
             "due": ["2026-09-01", "2026-04-01"]}  # fmt: skip
    bring("zones", pd.DataFrame(zones))
    rows = request_rows(yard, plan).rows
    assert rows["zone"].unique().tolist() == ["LATE", "EARLY"]
    assert (rows.loc[rows["zone"] == "LATE", "due"] == pd.Timestamp("2026-04-01")).all()


def test_conditions_stand_where_there_are_any(yard, plan, rules, now, tmp_path):
    assert request_rows(yard, plan).rows["conditions"].isna().all()
    write_request(yard, plan, tmp_path / "without.xlsx")
    text = rules.text.replace('method = "RT"', 'method = "RT"\nconditions = "after heat treatment"')
    other = read_rules(text, source="x")
    number, _ = draw_plan(yard, job="H1", rules=other, seed=11, now=now + timedelta(hours=2))
    write_request(yard, number, tmp_path / "with.xlsx")
    heads = [
        {cell.value for cell in openpyxl.load_workbook(tmp_path / name).worksheets[0][1]}
        for name in ("without.xlsx", "with.xlsx")
    ]
    assert heads[1] - heads[0] == {"conditions"}


def test_a_hold_time_stands_where_the_rule_asks_for_one(yard, plan, rules, now, tmp_path):
    assert request_rows(yard, plan).rows["hold"].isna().all()
    text = rules.text.replace('method = "RT"', 'method = "RT"\nhold_hours = 48.0')
    number, _ = draw_plan(yard, job="H1", rules=read_rules(text, source="x"), seed=11,
                          now=now + timedelta(hours=2))  # fmt: skip
    write_request(yard, number, tmp_path / "held.csv")
    asked = pd.read_csv(tmp_path / "held.csv")
    assert asked["hold"].unique() == ["48 h after the end of welding on 2026-02-01"]


def test_joints_not_welded_yet_wait(yard, plan, bring):
    request = request_rows(yard, plan)
    assert {"B-18", "B-19"}.isdisjoint(request.rows["joint"])
    spots = plan_spots(yard, plan)
    waiting = spots["joint"].isin(["B-18", "B-19"]) & (spots["part"] != "reserve")
    assert request.not_welded == waiting.sum() > 0
    made = {"job": "H1", "joint": ["B-18", "B-19"], "welder": "K7", "date": "2026-03-01"}
    bring("deposits", pd.DataFrame(made))
    after = request_rows(yard, plan)
    assert (len(after.rows), after.not_welded) == (len(request.rows) + waiting.sum(), 0)


def test_without_any_deposit_every_joint_is_taken_as_welded(register, bring, rules, now):
    bring("jobs", pd.DataFrame({"job": ["H1"]}))
    bring("zones", pd.DataFrame({"job": ["H1"], "zone": ["Z"]}))
    joint = {"job": "H1", "zone": "Z", "joint": ["B-1"], "category": "A", "joint_type": "butt",
             "length_mm": 3000}  # fmt: skip
    bring("joints", pd.DataFrame(joint))
    plan, _ = draw_plan(register, job="H1", rules=rules, seed=1, now=now + timedelta(hours=1))
    request = request_rows(register, plan)
    assert request.all_taken_as_welded
    assert (len(request.rows), request.not_welded) == (1, 0)


def test_shifts_hold_no_more_than_asked(yard, plan):
    rows = request_rows(yard, plan, per_shift=4).rows
    assert rows["shift"].value_counts().max() == 4
    assert rows["shift"].is_monotonic_increasing
    assert request_rows(yard, plan).rows["shift"].isna().all()


def filled_in(path):
    """Fill a request in as the contractor would, in the file itself."""
    answer = {"verdict": "accept", "date": "2026-03-10", "report": "R-1"}
    if path.suffix == ".csv":
        pd.read_csv(path, dtype="str").assign(**answer).to_csv(path, index=False)
        return
    book = openpyxl.load_workbook(path)
    sheet = book["examinations"]
    column = {cell.value: cell.column for cell in sheet[1]}
    for row in range(2, sheet.max_row + 1):
        for name, value in answer.items():
            sheet.cell(row, column[name]).value = value
    book.save(path)


@pytest.mark.parametrize("kind", [".xlsx", ".csv"])
@pytest.mark.parametrize("per_shift", [None, 3])
def test_the_filled_file_loads_as_it_is(yard, plan, bring, tmp_path, kind, per_shift):
    path = tmp_path / f"request{kind}"
    asked = write_request(yard, plan, path, per_shift=per_shift).rows
    filled_in(path)
    result = bring("examinations", path)
    assert result.findings == []
    assert result.counts.new == len(asked)
    states = reconcile(yard, plan)
    assert (states["state"] == "done").sum() == len(asked)
    assert bring("examinations", path).counts.changed is False
    with pytest.raises(UseError, match="no open spot to ask for; 2 wait for their joint"):
        write_request(yard, plan, tmp_path / f"again{kind}")


def test_a_file_half_filled_in_loads_what_is_there(yard, plan, bring, tmp_path):
    path = tmp_path / "request.csv"
    asked = write_request(yard, plan, path).rows
    filled_in(path)
    half = pd.read_csv(path, dtype="str")
    half.loc[2:, ["verdict", "date", "report"]] = None
    half.to_csv(path, index=False)
    result = bring("examinations", path)
    assert (result.errors, result.counts.new) == ([], 2)
    assert len(request_rows(yard, plan).rows) == len(asked) - 2


def test_the_spreadsheet_has_drop_downs_units_and_cautions(yard, plan, tmp_path):
    path = tmp_path / "request.xlsx"
    write_request(yard, plan, path)
    book = openpyxl.load_workbook(path)
    sheet = book["examinations"]
    assert sheet.freeze_panes == "A2"
    heads = [cell.value for cell in sheet[1]]
    assert heads[:7] == ["request", "job", "zone", "joint", "method", "from_mm [mm]", "to_mm [mm]"]
    assert {"technique", "acceptance", "due", "verdict", "imp_length_mm [mm]"} <= set(heads)
    column = heads.index("verdict") + 1
    letter = openpyxl.utils.get_column_letter(column)
    verdicts = [r for r in sheet.data_validations.dataValidation if f"{letter}2" in r.sqref]
    assert verdicts[0].formula1 == '"accept,reject,re-shoot,not done"'
    cautions = " ".join(str(row[0].value) for row in book["cautions"].iter_rows())
    for words in ("licensed", "local law", "certified people decide"):
        assert words in cautions


def test_the_cautions_of_a_csv_file_stand_beside_it(yard, plan, tmp_path):
    write_request(yard, plan, tmp_path / "r.csv")
    assert "licensed" in (tmp_path / "r.cautions.txt").read_text(encoding="utf-8")
    head = (tmp_path / "r.csv").read_text(encoding="utf-8-sig").splitlines()[0]
    assert head.startswith("request,job,zone,joint")


def test_text_that_looks_like_a_formula_stays_text(yard, plan, bring, tmp_path):
    zone = pd.DataFrame({"job": ["H1"], "zone": ["=1+1"], "due": ["2026-04-01"]})
    bring("zones", zone)
    joints = yard.table("joints").drop(columns=["id", "batch"])
    bring("joints", joints.assign(zone="=1+1").dropna(axis="columns", how="all"))
    write_request(yard, plan, tmp_path / "r.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "r.xlsx")["examinations"]
    cell = sheet.cell(2, 3)
    assert (cell.value, cell.data_type) == ("=1+1", "s")


@pytest.mark.parametrize("there", ["r.csv", "r.cautions.txt"])
def test_nothing_is_overwritten(yard, plan, tmp_path, there):
    (tmp_path / there).write_text("mine")
    with pytest.raises(UseError, match=f"{there} is there already"):
        write_request(yard, plan, tmp_path / "r.csv")
    assert [path.name for path in tmp_path.glob("r.*")] == [there]


def test_another_kind_of_file_is_refused(yard, plan, tmp_path):
    with pytest.raises(UseError, match=r"write an \.xlsx or a \.csv file"):
        write_request(yard, plan, tmp_path / "r.pdf")


def test_as_of_asks_for_what_was_open_then(yard, plan, bring, tmp_path, now):
    with yard.batch(kind="load", subject="nothing", now=now + timedelta(hours=2)):
        pass
    path = tmp_path / "r.csv"
    asked = write_request(yard, plan, path).rows
    filled_in(path)
    bring("examinations", path)
    then = request_rows(yard, plan, as_of=now + timedelta(hours=1)).rows
    pd.testing.assert_frame_equal(then, asked)
