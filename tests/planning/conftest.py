from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from ndtstats.rules import read_rules

RULES = """
title = "test hull"
follows = "nothing: rules for a test"
edition = "none"

[risk]
exponent = 0.5
first_work_of_welder = 2.0
bead_end = 1.5

[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", percent = 10.0 }
always = ["crossings"]
spots_per_welder = 1
reserve_share = 0.5
acceptance = "ISO 10042, level C"
technique = "ISO 17636-1, class B"

[[extent]]
name = "pipe butts"
categories = ["P"]
method = "RT"
amount = { family = "percent-of-joints", percent = 5.0 }
spots_per_welder = 1

[[extent]]
name = "all of it"
categories = ["X"]
method = "UT"
amount = { family = "share-of-length", percent = 100.0 }
spot_length_mm = 500
"""


@pytest.fixture
def rules_text():
    return RULES


@pytest.fixture
def rules():
    return read_rules(RULES, source="test rules")


@pytest.fixture
def yard(register, now):
    """One job: ten butts with crossings, thirty pipe butts by four welders, two critical welds."""
    butts = pd.DataFrame(
        {
            "joint": [f"B-{n}" for n in range(10)],
            "category": "A",
            "length_mm": 3000.0,
            "crossings_mm": ["1500" if n % 2 else None for n in range(10)],
        }
    )
    pipes = pd.DataFrame(
        {"joint": [f"P-{n:02d}" for n in range(30)], "category": "P", "length_mm": 350.0}
    )
    critical = pd.DataFrame({"joint": ["X-1", "X-2"], "category": "X", "length_mm": 1000.0})
    joints = pd.concat([butts, pipes, critical], ignore_index=True).assign(
        job="H1", zone="Z", joint_type="butt"
    )
    deposits = pd.DataFrame(
        {
            "job": "H1",
            "joint": joints["joint"],
            "welder": [f"W{n % 4}" for n in range(len(joints))],
            "date": pd.Timestamp("2026-02-01") + pd.to_timedelta(np.arange(len(joints)), unit="D"),
        }
    )
    with register.batch(kind="load", subject="all", now=now - timedelta(days=1)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": ["H1"], "zone": ["Z"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
    return register
