import json
from datetime import timedelta

import pandas as pd
import pytest

from ndtstats.planning import draw_plan
from ndtstats.request import open_spots, request_rows
from ndtstats.rules import read_rules

RULES = """
title = "test"
follows = "nothing"
edition = "none"

[[extent]]
name = "pipe butts"
categories = ["P"]
method = "RT"
amount = { family = "percent-of-joints", percent = 50.0 }
image_length_mm = 200.0
reserve_share = 1.0
"""


@pytest.fixture
def planned(register, now):
    """Twelve pipe butts of two images each in two lines; line 2 is due on 4 May, line 10 later.

    The last butt of each line is not welded yet. Half of the butts, six, are to be examined.
    """
    joints = pd.DataFrame({"joint": [f"G-{n}" for n in range(12)]}).assign(
        job="H1", zone=["L-2", "L-10"] * 6, category="P", joint_type="butt", length_mm=400.0,
        whole=True,
    )  # fmt: skip
    due = pd.to_datetime(["2026-05-04", "2026-05-20"])
    made = joints.loc[:9, ["job", "joint"]].assign(welder="K7", date=pd.Timestamp("2026-02-01"))
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": "H1", "zone": ["L-2", "L-10"], "due": due}))
        batch.merge("joints", joints)
        batch.merge("deposits", made)
    rules = read_rules(RULES, source="r")
    draw_plan(register, job="H1", rules=rules, seed=4, now=now + timedelta(hours=1))
    return register


def answer(register, now, rows, **what):
    with register.batch(kind="load", subject="x", now=now + timedelta(hours=2)) as batch:
        columns = {"request": rows["spot"], "report": "R-1", "date": pd.Timestamp("2026-03-05")}
        keys = ["job", "joint", "method", "from_mm", "to_mm", "round"]
        batch.merge("examinations", rows[keys].assign(**columns, **what))


def test_open_spots_know_due_date_exposures_and_weld(planned):
    spots = open_spots(planned)
    assert len(spots) == 6
    assert spots["exposures"].eq(2).all()
    assert spots["due"].is_monotonic_increasing
    assert spots["welded"].tolist() == (~spots["joint"].isin(["G-10", "G-11"])).tolist()


def test_what_was_answered_is_open_no_more_but_a_reserve_may_be(planned, now):
    before = open_spots(planned, plan="P1")
    answer(planned, now, before.iloc[[0]], verdict="accept")
    answer(planned, now, before.iloc[[1]], verdict="not done", remark="flooded")
    after = open_spots(planned, plan="p1")
    assert set(before["spot"].iloc[2:]) < set(after["spot"])
    assert after["part"].value_counts().to_dict() == {"random": 4, "reserve": 1}


def test_a_spot_of_two_exposures_is_asked_for_in_the_shift_in_which_it_ends(planned):
    welded = int(open_spots(planned)["welded"].sum())
    rows = request_rows(planned, "P1", per_shift=3).rows
    # Two exposures each, three a shift: ends 2, 4, 6, 8 … fall in shifts 1, 2, 2, 3 …
    assert rows["shift"].tolist() == [1, 2, 2, 3, 4, 4][:welded]


def test_shifts_are_told_with_zone_and_day(planned, ndtstats):
    command = ("plan", "shifts", "P1", "--exposures", 4, "--register", planned.name)
    code, out, err = ndtstats(*command, "--from", "2026-05-03", "--per-day", 2)
    spots = open_spots(planned)
    welded = spots[spots["welded"]]
    assert code == 0
    assert out.startswith(f"{len(welded)} spots to examine, {2 * len(welded)} exposures in ")
    assert all(spot in out for spot in welded["spot"])
    assert ("the joint is not welded yet" in err) == (len(welded) < len(spots))
    assert "2026-05-03" in out
    assert "2026-05-03" not in ndtstats(*command)[1]


def test_machines_get_a_row_for_each_spot_and_shift(planned, ndtstats):
    code, out, _ = ndtstats("plan", "shifts", "--exposures", 1, "--format", "json",
                            "--register", planned.name)  # fmt: skip
    records = json.loads(out)
    assert code == 0
    assert [record["shift"] for record in records] == list(range(1, len(records) + 1))
    assert {record["exposures"] for record in records} == {1}


def test_a_shortfall_ends_with_1_and_names_each_spot(planned, ndtstats):
    command = ("plan", "shortfall", "--exposures", 100, "--per-day", 1, "--register", planned.name)
    code, out, _ = ndtstats(*command, "--from", "2026-05-04")
    assert (code, out) == (0, "Every open spot can be reached in time (6 are open).\n")
    code, out, _ = ndtstats(*command, "--from", "2026-05-05")
    spots = open_spots(planned)
    late = spots[spots["zone"] == "L-2"]
    assert code == 1
    assert out.startswith(f"{len(late)} of 6 open spots can no longer be reached in time: ")
    assert out.count("was due on 2026-05-04") == len(late)
    assert all(spot in out for spot in late["spot"])


def test_a_job_without_plan_is_told_what_to_do(register, now, ndtstats):
    with register.batch(kind="load", subject="jobs", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
    code, _, err = ndtstats("plan", "shifts", "--exposures", 4, "--register", register.name)
    assert code == 2
    assert "job H1 has no plan yet; make one with: ndtstats plan draw" in err
