from datetime import timedelta

import openpyxl
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.planning import draw_plan, plan_spots
from ndtstats.request import reconcile, request_rows, write_request

#: Words that would tell the contractor why a place was chosen.
TELLING = {"part", "why", "risk", "pi", "stratum", "welder", "rule", "draw_order", "because"}


@pytest.fixture
def plan(yard, rules, now):
    number, _ = draw_plan(yard, job="H1", rules=rules, seed=11, now=now + timedelta(hours=1))
    return number


def filled(rows, **changes):
    """A request as the contractor returns it."""
    frame = rows.drop(columns=["zone", "technique", "acceptance", "due", "shift"])
    return frame.assign(
        verdict="accept", date="2026-03-10", report="R-1", exposure=range(1, len(frame) + 1)
    ).assign(**changes)


def test_a_request_is_blind(yard, plan):
    assert TELLING.isdisjoint(request_rows(yard, plan).rows.columns)


def test_a_request_is_in_order_of_due_date_zone_joint(yard, plan):
    rows = request_rows(yard, plan).rows
    assert rows["due"].is_monotonic_increasing
    assert rows["zone"].unique().tolist() == ["EARLY", "LATE"]
    early = rows[rows["zone"] == "EARLY"]
    assert early["joint"].is_monotonic_increasing


def test_joints_not_welded_yet_wait(yard, plan):
    request = request_rows(yard, plan)
    assert {"B-18", "B-19"}.isdisjoint(request.rows["joint"])
    spots = plan_spots(yard, plan)
    waiting = spots["joint"].isin(["B-18", "B-19"]) & (spots["part"] != "reserve")
    assert request.not_welded == waiting.sum()


def test_shifts_hold_no_more_than_asked(yard, plan):
    rows = request_rows(yard, plan, per_shift=4).rows
    assert rows["shift"].value_counts().max() == 4
    assert rows["shift"].is_monotonic_increasing


@pytest.mark.parametrize("kind", [".xlsx", ".csv"])
def test_the_filled_file_loads_as_it_is(yard, plan, bring, tmp_path, kind):
    path = tmp_path / f"request{kind}"
    asked = write_request(yard, plan, path).rows
    if kind == ".xlsx":
        book = openpyxl.load_workbook(path)
        sheet = book["examinations"]
        column = {cell.value: cell.column for cell in sheet[1]}
        for row in range(2, sheet.max_row + 1):
            sheet.cell(row, column["verdict"]).value = "accept"
            sheet.cell(row, column["date"]).value = "2026-03-10"
            sheet.cell(row, column["report"]).value = "R-1"
        book.save(path)
    else:
        frame = pd.read_csv(path, dtype="str")
        frame[["verdict", "date", "report"]] = ["accept", "2026-03-10", "R-1"]
        frame.to_csv(path, index=False)
    result = bring("examinations", path)
    assert result.findings == []
    assert result.counts.new == len(asked)
    states = reconcile(yard, plan)
    assert (states["state"] == "done").sum() == len(asked)


def test_the_spreadsheet_has_drop_downs_units_and_cautions(yard, plan, tmp_path):
    path = tmp_path / "request.xlsx"
    write_request(yard, plan, path)
    book = openpyxl.load_workbook(path)
    sheet = book["examinations"]
    assert sheet.freeze_panes == "A2"
    assert "from_mm [mm]" in [cell.value for cell in sheet[1]]
    lists = [rule.formula1 for rule in sheet.data_validations.dataValidation]
    assert any("re-shoot" in formula for formula in lists)
    cautions = " ".join(str(row[0].value) for row in book["cautions"].iter_rows())
    assert "licensed" in cautions
    assert "local law" in cautions


def test_a_written_request_is_not_overwritten(yard, plan, tmp_path):
    write_request(yard, plan, tmp_path / "r.csv")
    with pytest.raises(UseError, match="is there already"):
        write_request(yard, plan, tmp_path / "r.csv")


def test_what_came_back_is_held_against_what_was_asked(yard, plan, bring):
    rows = request_rows(yard, plan).rows
    back = filled(rows).astype({"from_mm": float, "to_mm": float})
    back.loc[0, "to_mm"] -= 120  # short
    back.loc[1, ["from_mm", "to_mm"]] += 200  # shifted
    back.loc[1, ["from_mm", "to_mm"]] = [1200.0, 1500.0]
    if rows.loc[1, "from_mm"] < 1600 and rows.loc[1, "to_mm"] > 1100:
        back.loc[1, ["from_mm", "to_mm"]] = [2700.0, 3000.0]
    back.loc[2, ["verdict", "remark"]] = ["not done", "no access"]
    back.loc[3, "verdict"] = "re-shoot"
    extra = back.iloc[[4]].assign(request=None, joint="B-00", from_mm=0.0, to_mm=10.0, exposure=99)
    assert bring("examinations", pd.concat([back, extra])).errors == []
    states = reconcile(yard, plan).set_index("spot")["state"]
    ids = rows["request"]
    assert states[ids[0]] == "short"
    assert states[ids[1]] == "shifted"
    assert states[ids[2]] == "not done"
    assert states[ids[3]] == "open"
    assert (states == "unasked").sum() == 1
    assert (states[ids[4:]] == "done").all()


def test_a_reserve_takes_the_place_of_a_spot_not_done(yard, plan, bring):
    rows = request_rows(yard, plan).rows
    back = filled(rows, remark="no access")
    back.loc[0, "verdict"] = "not done"
    bring("examinations", back)
    states = reconcile(yard, plan).set_index("spot")
    substitute = states.loc[rows.loc[0, "request"], "substitute"]
    spots = plan_spots(yard, plan).set_index("spot")
    first = spots[spots["part"] == "reserve"].sort_values("draw_order").index[0]
    assert substitute == first
    next_request = request_rows(yard, plan)
    assert set(next_request.rows["request"]) <= {substitute}


def test_a_re_shoot_and_what_replaced_it_settle_one_spot(yard, plan, bring):
    rows = request_rows(yard, plan).rows
    bring("examinations", filled(rows, verdict="re-shoot"))
    assert len(request_rows(yard, plan).rows) == len(rows)
    bring("examinations", filled(rows, exposure=range(101, 101 + len(rows)), report="R-2"))
    with pytest.raises(UseError, match="no open spot"):
        write_request(yard, plan, yard.name + ".csv")


def test_a_place_without_a_request_id_is_matched_by_overlap(yard, plan, bring):
    rows = request_rows(yard, plan).rows
    back = filled(rows, request=None)
    back["from_mm"] += 20
    back["to_mm"] = (back["to_mm"] + 20).clip(upper=3000)
    bring("examinations", back)
    states = reconcile(yard, plan).set_index("spot")["state"]
    assert (states[rows["request"]] == "done").all()


def test_as_of_gives_what_was_known_then(yard, plan, bring, now):
    rows = request_rows(yard, plan).rows
    before = now + timedelta(hours=2)
    with yard.batch(kind="load", subject="nothing", now=before):
        pass
    later = filled(rows)
    bring("examinations", later)
    then = reconcile(yard, plan, as_of=before)
    assert (then["state"] != "done").all()
