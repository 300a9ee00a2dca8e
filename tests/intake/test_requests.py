"""What an examination says of the request that it answers is held against the register."""

import pandas as pd
import pytest

HEAD = "job,joint,method,from_mm,to_mm,round,verdict,date,report,request\n"


@pytest.fixture
def planned(yard, register, now):
    """The small yard, with one spot asked for: RT of B-1."""
    spot = {
        "spot": "P1-0001", "plan": "P1", "job": "H1", "joint": "B-1", "rule": "r", "method": "RT",
        "from_mm": 0.0, "to_mm": 300.0, "part": "random",
    }  # fmt: skip
    with register.batch(kind="plan", subject="H1", now=now) as batch:
        batch.insert("spots", pd.DataFrame([spot]))
    return yard


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("H1,B-1,RT,0,300,,accept,2026-03-10,R-1,P1-0001", []),
        ("H1,B-1,RT,0,300,,accept,2026-03-10,R-1,", []),
        ("H1,B-1,RT,0,300,,accept,2026-03-10,R-1,P1-0007", [(2, "request", "REQUEST-UNKNOWN")]),
        ("H1,B-2,RT,0,300,,accept,2026-03-10,R-1,P1-0001", [(2, "request", "REQUEST-JOINT")]),
        ("H1,B-1,UT,0,300,,accept,2026-03-10,R-1,P1-0001", [(2, "request", "REQUEST-METHOD")]),
    ],
)
def test_a_request_is_held_against_its_spot(planned, told, row, expected):
    assert told(planned("examinations", HEAD + row + "\n")) == expected


def test_a_slip_in_a_request_is_suggested(planned):
    row = "H1,B-1,RT,0,300,,accept,2026-03-10,R-1,p1 0001\n"
    (finding,) = planned("examinations", HEAD + row).findings
    assert finding.remedy == 'did you mean "P1-0001"?'


def test_a_request_of_another_job_is_another_joint(planned, told):
    planned("jobs", "job\nH2\n", name="j2.csv")
    planned("zones", "job,zone\nH2,Z\n", name="z2.csv")
    head = "job,zone,joint,category,joint_type,length_mm\n"
    planned("joints", head + "H2,Z,B-1,A,butt,900\n", name="w2.csv")
    row = "H2,B-1,RT,0,300,,accept,2026-03-10,R-1,P1-0001\n"
    assert told(planned("examinations", HEAD + row)) == [(2, "request", "REQUEST-JOINT")]


def test_a_repair_under_the_old_request_is_no_mistake(planned):
    rows = (
        "H1,B-1,RT,0,300,,reject,2026-03-10,R-1,P1-0001\n"
        "H1,B-1,RT,0,300,1,accept,2026-03-12,R-2,P1-0001\n"
    )
    assert planned("examinations", HEAD + rows).findings == []


def test_ids_of_somebody_else_are_no_matter_before_the_first_plan(yard):
    row = "H1,B-1,RT,0,300,,accept,2026-03-10,R-1,order 7\n"
    assert yard("examinations", HEAD + row).findings == []
