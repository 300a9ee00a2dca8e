"""A small job, written table by table."""

import pandas as pd
import pytest


@pytest.fixture
def write(register, now):
    """Write tables of a job in one batch; blank columns are filled in."""

    def call(target=register, **tables):
        defaults = {
            "joints": {"zone": "Z", "category": "A", "joint_type": "butt", "length_mm": 1000.0},
            "deposits": {"date": pd.Timestamp("2026-01-05")},
            "examinations": {
                "method": "RT", "date": pd.Timestamp("2026-02-01"), "report": "R-1", "round": 0,
                "from_mm": 0.0, "to_mm": 300.0,
            },
            "plans": {"kind": "draw", "seed": 1, "frame_sha256": "f", "version": "0"},
            "spots": {
                "plan": "P1", "method": "RT", "round": 0, "rule": "r", "stratum": "s",
                "from_mm": 0.0, "to_mm": 300.0,
            },
        }  # fmt: skip
        with target.batch(kind="load", subject="all", now=now) as batch:
            for name, frame in tables.items():
                if name == "imperfections":
                    continue
                blanks = {k: v for k, v in defaults[name].items() if k not in frame}
                rows = frame.assign(job="H1", **blanks)
                if name in {"spots", "plans"}:
                    batch.insert(name, rows)
                elif name == "examinations":
                    batch.merge(name, rows, tables.get("imperfections"))
                else:
                    batch.merge(name, rows)

    return call
