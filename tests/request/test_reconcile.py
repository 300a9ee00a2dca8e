from datetime import timedelta

import pandas as pd
import pytest

from ndtstats.planning import draw_plan, plan_spots
from ndtstats.request import reconcile, request_rows


@pytest.fixture
def plan(yard, rules, now):
    number, _ = draw_plan(yard, job="H1", rules=rules, seed=11, now=now + timedelta(hours=1))
    return number


@pytest.fixture
def asked(yard, plan):
    """What was asked for, a row each, as an examinations table that is filled in."""
    rows = request_rows(yard, plan).rows
    rows = rows.drop(columns=["zone", "technique", "acceptance", "hold", "due", "shift"])
    return rows.assign(
        verdict="accept", date="2026-03-10", report="R-1", exposure=range(1, len(rows) + 1)
    )


def reserves_for(yard, plan, row):
    """The reserves that may stand in for a spot, in their order."""
    spots = plan_spots(yard, plan)
    stratum = spots.set_index("spot").loc[row["request"], "stratum"]
    mine = spots[(spots["part"] == "reserve") & (spots["stratum"] == stratum)]
    return mine.sort_values("draw_order")


def state_of(yard, plan, row, **options):
    states = reconcile(yard, plan, **options).set_index("spot")
    return states.loc[row["request"]]


def test_before_anything_came_back_all_is_open_or_in_reserve(yard, plan):
    states = reconcile(yard, plan)
    parts = plan_spots(yard, plan)["part"]
    assert (states["state"] == "reserve").tolist() == (parts == "reserve").tolist()
    assert set(states["state"]) == {"open", "reserve"}


@pytest.mark.parametrize(
    ("begin", "end", "state", "note"),
    [
        (0, 0, "done", ""),
        (0, -1, "done", ""),  # a tape misses a millimetre
        (0, -120, "short", "{} of {} mm examined"),
        (50, 50, "done", ""),
        (51, 51, "shifted", "off by 51 mm"),
        (-60, 60, "done", ""),  # more than asked
        (-300, -300, "shifted", "off by 300 mm"),
    ],
)
def test_the_place_is_held_against_what_was_asked(
    yard, plan, asked, bring, begin, end, state, note
):
    inside = asked[(asked["from_mm"] >= 300) & (asked["to_mm"] <= 2700)].iloc[[0]]
    length = int((inside["to_mm"] - inside["from_mm"]).iloc[0])
    back = inside.assign(from_mm=inside["from_mm"] + begin, to_mm=inside["to_mm"] + end)
    assert bring("examinations", back).errors == []
    found = state_of(yard, plan, inside.iloc[0])
    assert found["state"] == state
    assert found["note"] == note.format(length + end - begin, length)
    assert found["verdict"] == "accept"
    assert (found["examined_from_mm"], found["examined_to_mm"]) == tuple(
        back[["from_mm", "to_mm"]].to_numpy()[0]
    )


def test_the_tolerance_can_be_set(yard, plan, asked, bring):
    row = asked[asked["to_mm"] <= 2900].iloc[0]
    moved = {"from_mm": row["from_mm"] + 80, "to_mm": row["to_mm"] + 80}
    bring("examinations", pd.DataFrame([row]).assign(**moved))
    assert state_of(yard, plan, row)["state"] == "shifted"
    assert state_of(yard, plan, row, tolerance_mm=80)["state"] == "done"


def test_two_exposures_of_one_spot_count_together(yard, plan, asked, bring):
    row = asked.iloc[0]
    middle = (row["from_mm"] + row["to_mm"]) // 2
    halves = pd.DataFrame([row, row]).assign(
        from_mm=[row["from_mm"], middle], to_mm=[middle, row["to_mm"]], exposure=[1, 2],
        verdict=["reject", "accept"],
    )  # fmt: skip
    assert bring("examinations", halves).errors == []
    found = state_of(yard, plan, row)
    assert (found["state"], found["verdict"]) == ("done", "reject")
    assert (found["examined_from_mm"], found["examined_to_mm"]) == (row["from_mm"], row["to_mm"])


def test_a_longer_examination_answers_every_spot_that_it_shows(yard, plan, asked, bring):
    whole = asked.iloc[[0]].assign(request=None, from_mm=None, to_mm=None)
    bring("examinations", whole)
    states = reconcile(yard, plan)
    here = states[(states["joint"] == whole["joint"].iloc[0]) & states["spot"].notna()]
    assert len(here) > 1
    assert set(here["state"]) == {"done"}
    assert "unasked" not in set(states["state"])


def test_an_image_that_is_no_good_leaves_the_spot_open(yard, plan, asked, bring):
    bring("examinations", asked.assign(verdict="re-shoot", remark="too dark"))
    states = reconcile(yard, plan).set_index("spot")
    assert set(states.loc[asked["request"], "state"]) == {"open"}
    assert set(states.loc[asked["request"], "note"]) == {"the image is no good"}
    bring("examinations", asked.assign(exposure=range(101, 101 + len(asked)), report="R-2"))
    states = reconcile(yard, plan).set_index("spot")
    assert set(states.loc[asked["request"], "state"]) == {"done"}
    assert set(states.loc[asked["request"], "report"]) == {"R-2"}


def test_a_second_try_without_access_overrules_an_image_that_was_no_good(yard, plan, asked, bring):
    row = asked.iloc[[0]]
    bring("examinations", row.assign(verdict="re-shoot", remark="too dark"))
    bring("examinations", row.assign(verdict="not done", remark="flooded", date="2026-03-12"))
    found = state_of(yard, plan, row.iloc[0])
    assert (found["state"], found["note"]) == ("not done", "flooded")


def test_reserves_stand_in_by_their_order_and_keep_to_it(yard, plan, asked, bring):
    first, second = reserves_for(yard, plan, asked.iloc[0])["spot"].iloc[:2]
    missed = asked.assign(verdict="not done", remark="no access")
    last, other = missed.iloc[[-1]], missed.iloc[[0]]
    bring("examinations", last)
    assert state_of(yard, plan, last.iloc[0])["substitute"] == first
    called = reconcile(yard, plan).set_index("spot").loc[first]
    assert (called["state"], called["note"]) == (
        "open", f"in place of {last.iloc[0]['request']}"
    )  # fmt: skip
    # What is missed later does not take the reserve of what was missed before.
    bring("examinations", other)
    assert state_of(yard, plan, last.iloc[0])["substitute"] == first
    assert state_of(yard, plan, other.iloc[0])["substitute"] == second
    assert {first, second} <= set(request_rows(yard, plan).rows["request"])


def test_a_reserve_without_access_is_replaced_in_its_turn(yard, plan, asked, bring):
    reserves = reserves_for(yard, plan, asked.iloc[0])
    row = asked.iloc[[0]].assign(verdict="not done", remark="no access")
    bring("examinations", row)
    reserve = reserves.iloc[0]
    place = {"request": reserve["spot"], "joint": reserve["joint"], "from_mm": reserve["from_mm"],
             "to_mm": reserve["to_mm"]}  # fmt: skip
    bring("examinations", row.assign(exposure=None, **place))
    states = reconcile(yard, plan).set_index("spot")
    assert states.loc[reserve["spot"], "state"] == "not done"
    assert states.loc[reserve["spot"], "substitute"] == reserves.iloc[1]["spot"]
    assert states.loc[reserves.iloc[1]["spot"], "note"] == f"in place of {reserve['spot']}"


def test_it_is_told_when_no_reserve_is_left(yard, plan, asked, bring):
    bring("examinations", asked.assign(verdict="not done", remark="no access"))
    for _ in range(3):
        again = request_rows(yard, plan).rows
        if again.empty:
            break
        back = again.drop(columns=["zone", "technique", "acceptance", "hold", "due", "shift"])
        bring("examinations", back.assign(verdict="not done", remark="no access",
                                          date="2026-03-11", report="R-1"))  # fmt: skip
    states = reconcile(yard, plan)
    alone = states[(states["state"] == "not done") & states["substitute"].isna()]
    assert len(alone)
    assert set(alone["note"]) == {"no access; no reserve is left in its place"}


def test_what_nobody_asked_for_is_told(yard, plan, asked, bring):
    strange = asked.iloc[[0]].assign(request=None, joint="B-18", from_mm=0.0, to_mm=10.0)
    bring("examinations", strange)
    found = reconcile(yard, plan).query("state == 'unasked'").set_index("joint")
    assert found.loc["B-18", "note"] == ""


def test_an_answer_that_names_the_request_of_another_joint_is_not_loaded(yard, plan, asked, bring):
    astray = asked.iloc[[1]].assign(joint="B-19", exposure=77, from_mm=0.0, to_mm=10.0)
    assert [finding.code for finding in bring("examinations", astray).errors] == ["REQUEST-JOINT"]
    assert state_of(yard, plan, asked.iloc[1])["state"] == "open"


def test_a_repair_examined_again_is_not_unasked_and_answers_nothing(yard, plan, asked, bring):
    row = asked.iloc[[0]]
    bring("examinations", row.assign(verdict="reject"))
    bring("examinations", row.assign(round=1, report="R-9", date="2026-03-20"))
    states = reconcile(yard, plan)
    assert "unasked" not in set(states["state"])
    assert state_of(yard, plan, row.iloc[0])["verdict"] == "reject"


def test_what_was_examined_before_the_plan_is_not_unasked(yard, bring, rules, now):
    before = pd.DataFrame(
        {"job": ["H1"], "joint": "B-00", "method": "RT", "from_mm": 0.0, "to_mm": 10.0,
         "verdict": "accept", "date": "2026-02-10", "report": "R-0"}
    )  # fmt: skip
    bring("examinations", before)
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=3, now=now + timedelta(hours=1))
    assert "unasked" not in set(reconcile(yard, plan)["state"])


def test_as_of_gives_what_was_known_then(yard, plan, asked, bring, now):
    before = now + timedelta(hours=1)
    with yard.batch(kind="load", subject="nothing", now=now + timedelta(hours=2)):
        pass
    bring("examinations", asked)
    assert set(reconcile(yard, plan, as_of=before)["state"]) == {"open", "reserve"}
    assert (reconcile(yard, plan)["state"] == "done").sum() == len(asked)
