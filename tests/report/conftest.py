from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from ndtstats.register import Register
from ndtstats.rules import adopt, load_rules

HOSTILE = '<script>alert("x")</script>'


@pytest.fixture
def yard(register: Register, now: datetime) -> Register:
    """A small invented job with rejects, repairs, warnings, and names that try to do harm."""
    rng = np.random.default_rng(5)
    number = 40
    names = [f"B-{n:02d}" for n in range(number - 2)] + [HOSTILE, "\u202eB-99" + "x" * 300]
    joints = pd.DataFrame(
        {
            "job": "H1", "zone": "TANK", "joint": names, "category": "SHELL-BUTT",
            "joint_type": "butt", "length_mm": 3000.0, "process": "131", "position": "PF",
        }
    )  # fmt: skip
    deposits = joints[["job", "joint"]].assign(
        welder=["K7", "M2", HOSTILE, "N3"] * 10, date=pd.Timestamp("2026-01-10")
    )
    exams = joints[["job", "joint"]].assign(
        method="RT", from_mm=300.0, to_mm=600.0, round=0, report="R-1",
        verdict=np.where(rng.random(number) < 0.15, "reject", "accept"),
        date=pd.Timestamp("2026-01-20") + pd.to_timedelta(rng.integers(0, 90, number), unit="D"),
    )  # fmt: skip
    bad = exams.index[exams["verdict"] == "reject"]
    found = pd.DataFrame(
        {
            "examination": bad, "imperfection": "401", "imp_from_mm": 350.0,
            "imp_length_mm": 40.0, "imp_rejectable": True,
        }
    )  # fmt: skip
    rules = load_rules("aluminium-hull")
    adopt(register, "H1", rules, agreed_by=None, by="lead", now=now)
    with register.batch(kind="load", subject="all", now=now + timedelta(hours=1)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"], "title": [f"invented {HOSTILE}"]}))
        batch.merge("zones", pd.DataFrame({"job": ["H1"], "zone": ["TANK"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
        batch.merge("examinations", exams, found)
        warning = {
            "job": "H1", "code": "NO-REASON", "file": HOSTILE, "row": 3, "column": "verdict",
            "value": "not done", "reason": "has no reason", "remedy": "say why",
        }  # fmt: skip
        batch.insert("warnings", pd.DataFrame([warning]))
    return register
