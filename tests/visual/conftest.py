"""A small job, written table by table."""

import pandas as pd
import pytest


@pytest.fixture
def write(register, now):
    """Write tables of job H1 in one batch; what is not given is filled in."""

    def call(**tables):
        usual = {
            "jobs": {}, "zones": {},
            "joints": {"zone": "Z", "category": "A", "joint_type": "tee", "length_mm": 900.0},
            "deposits": {"welder": "K7", "date": pd.Timestamp("2026-01-05")},
            "examinations": {"method": "VT", "round": 0, "report": "V-1"},
            "beads": {"side": "first"},
            "tests": {"test": "leak"},
        }  # fmt: skip
        with register.batch(kind="load", subject="all", now=now) as batch:
            for name, rows in tables.items():
                frame = pd.DataFrame(rows)
                batch.merge(name, frame.assign(
                    job="H1", **{k: v for k, v in usual[name].items() if k not in frame}
                ))  # fmt: skip
        return register

    return call
