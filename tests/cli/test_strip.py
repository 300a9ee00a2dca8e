import json

import pandas as pd
import pytest


@pytest.fixture
def yard(register, now):
    """Two butts in a tank of a block, one of them examined with a reject."""
    joints = pd.DataFrame({"joint": ["B-2", "B-10"], "length_mm": [2000.0, 1000.0]}).assign(
        job="H1", zone="TANK", category="P", joint_type="butt"
    )
    zones = pd.DataFrame({"job": "H1", "zone": ["BLOCK", "TANK", "VOID"],
                          "parent": [None, "BLOCK", None]})  # fmt: skip
    exams = pd.DataFrame({"from_mm": [0.0, 600.0], "to_mm": [300.0, 900.0]}).assign(
        job="H1", joint="B-10", method="RT", round=0, verdict=["accept", "reject"], report="R",
        date=pd.Timestamp("2026-03-01"),
    )  # fmt: skip
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", zones)
        batch.merge("joints", joints)
        batch.merge("examinations", exams)
    return register


def test_a_joint_is_pictured_with_what_it_is(yard, ndtstats):
    code, out, _ = ndtstats("plan", "strip", "B-10", "--register", yard.name)
    first, _, _, row, *_ = out.splitlines()
    assert code == 0
    assert first.startswith("Joint B-10, 1,000 mm, zone TANK: 2 examined, 1 of them rejected; ")
    assert row.startswith("RT  ")
    # No indication is recorded, so the whole spot is marked as rejected: 300 of 1,000 mm each.
    assert "!" not in row
    assert row.count("=") == row.count("X") == pytest.approx(0.3 * (len(row) - len("RT    ")), 0.1)


def test_a_zone_is_pictured_with_the_zones_in_it_as_people_count(yard, ndtstats):
    code, out, _ = ndtstats("plan", "strip", "--zone", "BLOCK", "--register", yard.name)
    lines = out.splitlines()
    assert code == 0
    assert lines[0].startswith("Zone BLOCK, 2 joints: 2 examined")
    assert [line.split()[0] for line in lines[3:5]] == ["B-2", "B-10"]
    assert len(lines[3]) > len(lines[4])


def test_machines_get_the_marks(yard, ndtstats):
    _, out, _ = ndtstats("plan", "strip", "B-10", "--format", "json", "--register", yard.name)
    marks = {(mark["from_mm"], mark["mark"]) for mark in json.loads(out)}
    assert marks >= {(0.0, "accepted"), (600.0, "rejected")}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["B-1O"], '"B-1O" is not a joint of job H1; did you mean "B-10"?'),
        (["--zone", "TANKS"], '"TANKS" is not a zone of job H1; did you mean "TANK"?'),
        (["--zone", "VOID"], 'zone "VOID" of job H1 has no joints yet'),
        ([], "name one joint, such as SB-001, or one zone with --zone"),
        (["B-2", "--zone", "TANK"], "name one joint, such as SB-001, or one zone with --zone"),
    ],
)
def test_a_mistake_is_told_with_what_would_be_right(yard, ndtstats, words, told):
    code, _, err = ndtstats("plan", "strip", *words, "--register", yard.name)
    assert code == 2
    assert told in err
