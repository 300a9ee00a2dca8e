"""Verbs of escalation: repairs, waive, overturn, severity, review, and the story of an item."""

import json
import re

import pandas as pd
import pytest

from ndtstats.rules import adopt, load_rules

BY = ("--by", "A. Lead", "--reason", "agreed with the owner")


@pytest.fixture
def yard(register, now):
    """Four pipe butts by one welder under piping rules; J1 and J2 rejected, J1 repaired."""
    joints = [f"J{n}" for n in range(1, 5)]
    weld = {"job": "L1", "zone": "RACK", "category": "NORMAL", "joint_type": "butt",
            "length_mm": 350.0, "whole": True}  # fmt: skip
    films = [("J1", "reject", "R-1", 0, 2), ("J2", "reject", "R-2", 0, 3),
             ("J1", "accept", "R-3", 1, 5)]  # fmt: skip
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["L1"]}))
        batch.merge("zones", pd.DataFrame({"job": ["L1"], "zone": ["RACK"]}))
        batch.merge("joints", pd.DataFrame({"joint": joints} | weld))
        batch.merge("deposits", pd.DataFrame(
            {"job": "L1", "joint": joints, "welder": "A", "date": pd.Timestamp("2026-02-01")}
        ))  # fmt: skip
        batch.merge("examinations", pd.DataFrame(
            [
                {"job": "L1", "joint": joint, "method": "RT", "verdict": verdict, "report": report,
                 "round": round_, "date": pd.Timestamp(2026, 3, day)}
                for joint, verdict, report, round_, day in films
            ]
        ))  # fmt: skip
    adopt(register, "L1", load_rules("process-piping"), agreed_by=None, by="lead", now=now)
    return register


@pytest.fixture
def call(yard, ndtstats):
    return lambda *arguments: ndtstats(*arguments, "--register", yard.name)


def handle_of(call, what):
    _, out, _ = call("owed", "--format", "json")
    return next(row["handle"] for row in json.loads(out) if row["what"] == what)


def test_an_item_is_waived_withdrawn_and_told(call):
    handle = handle_of(call, "extra")
    code, out, _ = call("waive", handle, *BY)
    assert code == 0
    number = re.search(r"decision (D\d+)", out).group(1)
    _, out, err = call("owed", "--everything", "--format", "json")
    told = next(row for row in json.loads(out) if row["handle"] == handle)
    assert (told["state"], told["count"]) == ("waived", 0)
    assert f"{handle} (extra" in err
    assert "waived by A. Lead" in err
    code, out, _ = call("owed", "--explain", handle)
    assert code == 0
    assert "Nothing is owed of it any more: waived by A. Lead" in out
    assert call("decisions", "--withdraw", number, *BY)[0] == 0
    assert handle_of(call, "extra") == handle


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("waive", "nothing", *BY), "nothing was ever owed"),
        (("overturn", "R-3", *BY), "a correction: load the row again"),
        (("overturn", "R-9", *BY), 'did you mean "R-'),
        (("review", "B", *BY), 'charged to welder "B"'),
        (("owed", "--explain", "nothing"), "nothing was ever owed"),
    ],
)
def test_what_cannot_be_decided_is_wrong_use(call, arguments, told):
    code, _, err = call(*arguments)
    assert code == 2
    assert told in err


def test_a_decision_needs_a_name_and_a_reason(call):
    code, _, err = call("waive", handle_of(call, "repair"), "--reason", "enough")
    assert (code, "by name" in err) == (2, True)
    code, _, err = call("overturn", "R-2", "--by", "A. Lead")
    assert (code, "the reason" in err) == (2, True)


def test_an_overturned_reject_stays_visible_and_owes_nothing(call):
    code, out, _ = call("overturn", "R-2", *BY)
    assert code == 0
    assert out.startswith("RT R-2, J2 0-350 mm, 2026-03-03 is overturned by A. Lead: decision D")
    _, out, _ = call("owed", "--everything", "--format", "json")
    states = {row["state"] for row in json.loads(out) if "R-2" in row["item"]}
    assert states == {"overturned"}
    _, out, _ = call("repairs", "--format", "json")
    assert [row["state"] for row in json.loads(out)] == ["closed", "overturned"]
    _, out, _ = call("rates", "--by", "welder", "--format", "json")
    assert json.loads(out)[-1]["rejected"] == 1


def test_open_repairs_are_a_finding(call):
    code, out, _ = call("repairs", "--open", "--as-of", "2026-12-01")
    assert code == 1
    assert out.startswith("1 reject is open, for 273 days (RT R-2, J2 0-350 mm, 2026-03-03).")
    # 1 of 1: the exact lower bound is 0.025 (Clopper & Pearson: p = alpha / 2 at k = n = 1).
    assert "Of 1 first repairs examined 1 was accepted: 100.0 % (exact bounds at 95 %: 2.5 %" in out
    assert "to repair" in out
    _, out, _ = call("repairs", "--ages", "--format", "json", "--as-of", "2026-12-01")
    assert [row["open"] for row in json.loads(out)] == [0, 0, 0, 1]
    call("overturn", "R-2", *BY)
    assert call("repairs")[0] == 0


def test_a_welder_is_tightened_and_reviewed(call):
    code, out, _ = call("severity")
    # 2 of 2 rejected: at a limit of 10 % that has a probability of 1 %.
    assert code == 1
    assert out.startswith("Tightened (extent × 2): A.")
    assert "state no [signals]" in out
    _, out, _ = call("severity", "--show", "changes", "--format", "json")
    (change,) = json.loads(out)
    assert change["after"] == "tightened"
    assert "RT R-1, J1 0-350 mm, 2026-03-02" in change["because"]
    assert call("review", "A", *BY)[0] == 0
    code, out, _ = call("severity")
    assert (code, out.startswith("Nobody is tightened or stopped")) == (0, True)


def test_lots_in_order_are_shown(call):
    _, out, _ = call("severity", "--show", "lots", "--format", "json")
    (lot,) = json.loads(out)
    assert (lot["lot"], lot["rejected"], lot["examined"]) == ("welder A, month 2026-02", 2, 2)
