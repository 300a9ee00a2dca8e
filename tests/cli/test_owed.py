import json

import pandas as pd
import pytest


@pytest.fixture
def rejected(register, now):
    """One pipe butt by one welder, rejected; no rules are in force."""
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["L1"]}))
        batch.merge("zones", pd.DataFrame({"job": ["L1"], "zone": ["RACK"]}))
        joint = {"job": "L1", "zone": "RACK", "joint": "J1", "category": "NORMAL",
                 "joint_type": "butt", "length_mm": 350.0, "whole": True}  # fmt: skip
        batch.merge("joints", pd.DataFrame([joint]))
        film = {"job": "L1", "joint": "J1", "method": "RT", "verdict": "reject", "report": "R-1",
                "round": 0, "date": pd.Timestamp("2026-03-02")}  # fmt: skip
        batch.merge("examinations", pd.DataFrame([film]))
    return register


def test_something_owed_is_a_finding(rejected, ndtstats):
    code, out, err = ndtstats("owed", "--register", rejected.name)
    assert code == 1
    assert out.startswith("Owed: 1 repair, 1 re-examination.")
    assert "no rules in force" in err


def test_machines_get_the_keys_they_know(rejected, ndtstats):
    code, out, _ = ndtstats("owed", "--job", "L1", "--format", "json", "--register", rejected.name)
    assert code == 1
    rows = json.loads(out)
    assert set(rows[0]) == {
        "item", "handle", "job", "lot", "procedure", "round", "what", "count", "places", "because",
        "state",
    }  # fmt: skip
    assert rows[0]["places"] == [{"joint": "J1", "from_mm": 0.0, "to_mm": 350.0}]


def test_other_rules_can_be_tried(rejected, ndtstats):
    arguments = ("owed", "--rules", "process-piping", "--format", "json")
    _, out, err = ndtstats(*arguments, "--register", rejected.name)
    # The lot has one weld, and that one is examined: nothing is left of it to choose from.
    assert {row["procedure"] for row in json.loads(out)} == {"progressive-piping"}
    assert "no rules in force" not in err


def test_before_it_was_known_nothing_was_owed(rejected, ndtstats):
    code, out, _ = ndtstats("owed", "--as-of", "2020-01-01", "--register", rejected.name)
    assert (code, out.strip()) == (0, "Nothing is owed.")


def test_a_job_there_is_none_of_is_wrong_use(rejected, ndtstats):
    code, _, err = ndtstats("owed", "--job", "L2", "--register", rejected.name)
    assert code == 2
    assert 'job "L2" is not in' in err
