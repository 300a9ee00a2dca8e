"""A small tank in a block, from first bead to release."""

from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest

from ndtstats.rules import adopt, read_rules

START = datetime(2026, 3, 1, tzinfo=UTC)

RULES = """\
title = "Tank yard (invented)"
follows = "an invented rule"
edition = "2026"
nothing_asked = ["F"]

[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "percent-of-joints", percent = 100 }

[[extent]]
name = "seams"
categories = ["S"]
method = "RT"
escalation = "progressive-piping"
amount = { family = "percent-of-joints", percent = 20 }
"""

ZONES = [
    ("BLOCK", None, "turn", False),
    ("TANK", "BLOCK", "close", True),
    ("DECK", None, None, False),
]
JOINTS = [
    ("T-1", "TANK", "A", "butt", 1000.0),
    ("T-2", "TANK", "F", "tee", 2000.0),
    ("D-1", "DECK", "A", "butt", 1000.0),
]


class Yard:
    """A register that gets rows as the work goes on, a batch an hour."""

    def __init__(self, register):
        self.register, self.hours = register, 0

    @property
    def now(self):
        self.hours += 1
        return START + timedelta(hours=self.hours)

    def add(self, table, *rows):
        with self.register.batch(kind="load", subject=table, now=self.now) as batch:
            batch.merge(table, pd.DataFrame(list(rows)))

    def weld(self, joint, welder="K7", date="2026-02-01", **more):
        self.add("deposits", {"job": "H1", "joint": joint, "welder": welder, "date": date} | more)

    def examine(self, joint, method, verdict="accept", date="2026-02-05", **more):
        row = {
            "job": "H1", "joint": joint, "method": method, "verdict": verdict, "date": date,
            "round": 0, "report": f"{method}-{self.hours}",
        }  # fmt: skip
        self.add("examinations", row | more)


@pytest.fixture
def yard(register):
    """The tank: joints, zones, rules and a qualified welder; nothing is welded yet."""
    made = Yard(register)
    made.add("jobs", {"job": "H1"})
    made.add(
        "zones",
        *(
            {"job": "H1", "zone": z, "parent": p, "milestone": m, "leak_test": t}
            for z, p, m, t in ZONES
        ),
    )
    made.add(
        "joints",
        *(
            {"job": "H1", "joint": j, "zone": z, "category": c, "joint_type": t, "length_mm": mm,
             "process": "131", "penetration": "fillet" if c == "F" else "full"}
            for j, z, c, t, mm in JOINTS
        ),
    )  # fmt: skip
    made.add("welders", {"welder": "K7"}, {"welder": "M2"})
    made.add(
        "qualifications",
        {"welder": "K7", "certificate": "C-1", "standard": "ISO 9606-2", "process": "131",
         "qualified_on": "2025-12-01", "valid_until": "2027-12-01"},
    )  # fmt: skip
    rules = read_rules(RULES, source="r.toml")
    adopt(register, "H1", rules, agreed_by=None, by="lead", now=made.now)
    return made
