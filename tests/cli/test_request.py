import json
from datetime import timedelta

import pandas as pd
import pytest

from ndtstats.planning import draw_plan
from ndtstats.request import request_rows
from ndtstats.rules import read_rules

RULES = """
title = "test"
follows = "nothing"
edition = "none"

[[extent]]
name = "pipe butts"
categories = ["P"]
method = "RT"
amount = { family = "percent-of-joints", percent = 20.0 }
reserve_share = 1.0
"""


def planned(register, now, welded=10):
    """Ten pipe butts, of which two are to be examined."""
    joints = pd.DataFrame({"joint": [f"G-{n}" for n in range(10)]}).assign(
        job="H1", zone="Z", category="P", joint_type="butt", length_mm=400.0, whole=True
    )
    deposits = joints.loc[: welded - 1, ["job", "joint"]].assign(
        welder="K7", date=pd.Timestamp("2026-02-01")
    )
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": ["H1"], "zone": ["Z"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
    rules = read_rules(RULES, source="r")
    return draw_plan(register, job="H1", rules=rules, seed=1, now=now + timedelta(hours=1))[0]


@pytest.fixture
def plan(register, now):
    return planned(register, now)


def answer(register, now, rows, hour=2):
    with register.batch(kind="load", subject="x", now=now + timedelta(hours=hour)) as batch:
        batch.merge("examinations", rows.assign(date=pd.Timestamp("2026-03-05"), report="R-1"))


def asked(register, plan):
    rows = request_rows(register, plan).rows
    return rows.drop(columns=["zone", "technique", "acceptance", "hold", "due", "shift"])


@pytest.mark.parametrize("name", ["request.xlsx", "request.csv"])
def test_writing_says_what_to_do_next(register, plan, ndtstats, tmp_path, name):
    code, out, _ = ndtstats("request", "write", plan.lower(), name, "--register", register.name)
    assert code == 0
    assert f"{name}: 2 spots asked for" in out
    assert f"ndtstats load examinations {name}" in out
    assert ("request.cautions.txt" in out) == name.endswith(".csv")
    assert (tmp_path / name).exists()


def test_writing_twice_is_refused(register, plan, ndtstats):
    command = ("request", "write", plan, "r.csv", "--register", register.name)
    assert ndtstats(*command)[0] == 0
    code, _, err = ndtstats(*command)
    assert code == 2
    assert "is there already" in err


def test_spots_that_wait_for_the_weld_are_told_apart(register, ndtstats, now):
    plan = planned(register, now, welded=5)
    _, out, err = ndtstats("request", "write", plan, "r.csv", "--register", register.name)
    assert "1 spot asked for" in out
    assert "1 spot waits for the joint to be welded" in err


def test_reconciling_ends_with_1_where_something_is_to_be_done(register, plan, ndtstats, now):
    command = ("request", "reconcile", plan, "--register", register.name)
    code, out, _ = ndtstats(*command)
    assert code == 0
    assert out.startswith("Plan P1: 2 open, 2 reserve.\n")
    rows = asked(register, plan)
    answer(register, now, rows.iloc[[0]].assign(verdict="not done", remark="flooded"))
    answer(register, now, rows.iloc[[1]].assign(verdict="accept"), hour=3)
    code, out, _ = ndtstats(*command)
    assert code == 1
    assert out.startswith("Plan P1: 1 done, 1 not done, 1 open, 1 reserve.\n")
    assert "flooded" in out
    assert f"in place of {rows['request'].iloc[0]}" in out


def test_machines_get_every_spot_at_full_precision(register, plan, ndtstats):
    _, out, _ = ndtstats("request", "reconcile", plan, "--format", "json",
                         "--register", register.name)  # fmt: skip
    records = json.loads(out)
    assert [record["state"] for record in records].count("open") == 2
    assert set(records[0]) >= {"spot", "joint", "asked_from_mm", "examined_to_mm", "state",
                               "verdict", "substitute", "note"}  # fmt: skip


def test_an_unknown_plan_is_told(register, plan, ndtstats):
    code, _, err = ndtstats("request", "reconcile", "P11", "--register", register.name)
    assert code == 2
    assert 'no plan "P11"; did you mean "P1"?' in err
