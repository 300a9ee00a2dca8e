"""Write what an older program kept: run once with its own code, when the schema changes.

    git archive COMMIT ndtstats | tar x -C FOLDER
    PYTHONPATH=FOLDER python tests/register/older/make.py TARGET

TARGET is a new file or an empty PostgreSQL database. Its dump (the dump of the sqlite3 module, or
pg_dump --inserts --no-owner) stands here as schema_N.DATABASE.sql. Which commit made which is in
README.md.
"""

import sys
from datetime import UTC, datetime, timedelta

import pandas as pd

from ndtstats.register import Register

T0 = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)

JOINTS = pd.DataFrame(
    {
        "job": ["H1", "H1", "H1"],
        "zone": ["Z1", "Z1", "Z2"],
        "joint": ["B-1", "B-2", "Ω-3"],
        "category": ["A", "A", "B"],
        "joint_type": ["butt"] * 3,
        "length_mm": [1000.0, 2500.5, 800.1],
        "whole": [True, None, False],
        "crossings_mm": [None, "100;900", None],
    }
)
EXAMINATIONS = pd.DataFrame(
    {
        "job": ["H1", "H1"],
        "joint": ["B-1", "B-2"],
        "method": ["RT", "RT"],
        "from_mm": [0.0, 100.0],
        "to_mm": [300.0, 400.0],
        "round": [0, 0],
        "verdict": ["accept", "reject"],
        "date": pd.to_datetime(["2026-02-01", "2026-02-02"]),
        "report": ["R1", "R'1"],
    }
)
PORES = pd.DataFrame(
    {
        "examination": [1, 1],
        "imperfection": ["2013", "401"],
        "imp_from_mm": [120.0, 180.0],
        "imp_rejectable": [False, True],
    }
)
PLAN = pd.DataFrame(
    {
        "plan": ["P1"], "job": ["H1"], "kind": ["draw"], "seed": [7], "frame_sha256": ["ab" * 32],
        "drawn_at": [T0.isoformat()], "version": ["0.1.0"],
    }
)  # fmt: skip
SPOTS = pd.DataFrame(
    {
        "spot": ["P1-0001"], "plan": ["P1"], "job": ["H1"], "joint": ["B-2"], "method": ["RT"],
        "from_mm": [100.0], "to_mm": [400.0], "part": ["random"], "pi": [1 / 3], "round": [0],
    }
)  # fmt: skip


def main() -> None:
    """Write joints, a correction, examinations and a plan."""
    register = Register.open(sys.argv[1], create=True)
    corrected = JOINTS.assign(length_mm=[1000.0, 2600.0, 800.1])
    for day, table, frame in (
        (0, "jobs", pd.DataFrame({"job": ["H1"], "title": ["invented hull"]})),
        (1, "joints", JOINTS),
        (2, "joints", corrected),
    ):
        with register.batch(kind="load", subject=table, now=T0 + timedelta(days=day)) as batch:
            batch.merge(table, frame)
    for day, shown in ((3, PORES), (4, PORES.iloc[1:])):
        with register.batch(
            kind="load", subject="examinations", now=T0 + timedelta(days=day), by="lead"
        ) as batch:
            batch.merge("examinations", EXAMINATIONS, shown)
    with register.batch(kind="plan", subject="H1", now=T0 + timedelta(days=5)) as batch:
        batch.insert("plans", PLAN)
        batch.insert("spots", SPOTS)
    register.close()


if __name__ == "__main__":
    main()
