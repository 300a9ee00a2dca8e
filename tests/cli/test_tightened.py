"""A welder whom a signal tightens is examined more in the next plan, and everybody reads why."""

from datetime import timedelta

import pandas as pd
import pytest

RULES = """
title = "lines"
follows = "nothing"
edition = "none"

[[extent]]
name = "butts"
categories = ["P"]
method = "RT"
amount = { family = "percent-of-joints", percent = 10.0 }
"""
SIGNALS = '\n[signals]\nwatch = ["lower-bound"]\nlimit = 0.10\nfactor = 3.0\n'


@pytest.fixture
def signalled(register, now):
    """Forty butts of two welders, of whom one had three films of three rejected."""
    names = [f"G-{n:02d}" for n in range(40)]
    joints = pd.DataFrame({"job": "L", "zone": "Z", "joint": names, "category": "P",
                           "joint_type": "butt", "length_mm": 300.0, "whole": True})  # fmt: skip
    deposits = joints[["job", "joint"]].assign(
        welder=["A", "B"] * 20, date=pd.Timestamp("2026-02-01")
    )
    films = joints[["job", "joint"]].iloc[[0, 2, 4]].assign(
        method="RT", round=0, verdict="reject", date=pd.Timestamp("2026-02-10"),
        report=["R-1", "R-2", "R-3"],
    )  # fmt: skip
    with register.batch(kind="load", subject="all", now=now - timedelta(days=2)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["L"]}))
        batch.merge("zones", pd.DataFrame({"job": ["L"], "zone": ["Z"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
        batch.merge("examinations", films)
    return register


def drawn(ndtstats, register, tmp_path, text):
    (tmp_path / "lines.toml").write_text(text)
    code, _, told = ndtstats("plan", "draw", "--rules", "lines.toml", "--seed", 1,
                               "--register", register.name)  # fmt: skip
    assert code == 0, told
    spots = register.table("spots").query("part != 'reserve'")
    welder = register.table("deposits").set_index("joint")["welder"]
    return spots, spots["joint"].map(welder).value_counts().to_dict(), told


def test_the_factor_of_the_rules_holds(ndtstats, signalled, tmp_path):
    spots, count, told = drawn(ndtstats, signalled, tmp_path, RULES + SIGNALS)
    assert count == {"A": 6, "B": 2}
    assert "tightened by signals: A (RT, extent × 3)" in told
    mine = spots[spots["why"].str.contains("tightened, extent × 3")]
    assert len(mine) == 6
    code, out, _ = ndtstats("plan", "show", "P1", "--register", signalled.name)
    assert (code, "Tightened by signals: A (RT, extent × 3)." in out) == (0, True)
    code, out, _ = ndtstats("plan", "repeat", "P1", "--register", signalled.name)
    assert (code, "the same spots" in out) == (0, True)


def test_figures_that_nobody_agreed_multiply_nothing(ndtstats, signalled, tmp_path):
    _, count, told = drawn(ndtstats, signalled, tmp_path, RULES)
    assert count == {"A": 2, "B": 2}
    assert "A signalled" in told
    assert "no [signals]" in told
    _, out, _ = ndtstats("plan", "show", "P1", "--register", signalled.name)
    assert "ightened" not in out
