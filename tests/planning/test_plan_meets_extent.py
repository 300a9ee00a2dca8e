"""A plan answered as it stands meets the rules that it was drawn by, as extent measures them."""

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from ndtstats.extent import extent
from ndtstats.planning import draw_plan, plan_spots
from ndtstats.rules import list_presets, load_rules, read_rules

#: Lengths in mm of joints and how far apart their crossings lie, in turn: long ones, ones cut into
#: gaps shorter than a spot, ones shorter than a spot.
LENGTHS = (6000, 2450, 910, 180, 3300, 120, 1250)
PITCH = (1500, 420, 0, 0, 700, 0, 330)
THICKNESSES = (8.0, 12.0, 22.0, 30.0, 6.0)


def joints_of(categories, number, seed):
    rng = np.random.default_rng(seed)
    rows = []
    for n in range(number):
        length, pitch = LENGTHS[n % len(LENGTHS)], PITCH[n % len(PITCH)]
        start = int(rng.integers(20, 400))
        points = range(start, length, pitch) if pitch else ()
        rows.append(
            {
                "job": "H1", "zone": f"Z{n % 3}", "joint": f"J-{n:04d}",
                "category": categories[n % len(categories)], "joint_type": "butt",
                "length_mm": float(length), "procedure": f"WPS-{n % 2 + 1}",
                "thickness_mm": THICKNESSES[n % len(THICKNESSES)],
                "crossings_mm": ";".join(str(at) for at in points) or None,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def deposits_of(joints, welders, seed):
    """One welder a joint, or two side by side, or two in layers."""
    rng = np.random.default_rng(seed)
    first = rng.integers(0, welders, len(joints))
    second = (first + 1 + rng.integers(0, welders - 1, len(joints))) % welders
    kind = rng.integers(0, 3, len(joints))
    base = pd.DataFrame(
        {
            "job": "H1", "joint": joints["joint"], "welder": [f"W{n:02d}" for n in first],
            "date": pd.Timestamp("2026-01-01") + pd.to_timedelta(np.arange(len(joints)), unit="h"),
            "from_mm": 0.0, "to_mm": joints["length_mm"],
        }
    )  # fmt: skip
    half = np.round(joints["length_mm"] / 2)
    base["to_mm"] = base["to_mm"].where(kind != 1, half)
    other = base.assign(
        welder=[f"W{n:02d}" for n in second],
        from_mm=np.where(kind == 1, half, 0.0),
        to_mm=joints["length_mm"],
    )
    return pd.concat([base, other[kind > 0]], ignore_index=True)


def answered(spots):
    """What comes back if each spot is examined where it was asked for, and all are accepted."""
    return spots[["job", "joint", "method", "from_mm", "to_mm", "round"]].assign(
        request=spots["spot"], verdict="accept", date=pd.Timestamp("2026-03-03"), report="R-1"
    )


@pytest.mark.parametrize(
    ("preset", "number", "welders"),
    [*((preset, 40, 4) for preset in list_presets()), ("aluminium-hull", 300, 7)],
)
def test_a_plan_by_a_preset_meets_it(register, now, preset, number, welders):
    rules = load_rules(preset)
    joints = joints_of(sorted(rules.categories), number, seed=7)
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": "H1", "zone": ["Z0", "Z1", "Z2"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits_of(joints, welders, seed=8))
    plan, _ = draw_plan(register, job="H1", rules=rules, seed=9, now=now + timedelta(hours=1))
    spots = plan_spots(register, plan)
    before = extent(register, job="H1", rules=rules)
    assert (before["state"] == "short").any()
    with register.batch(kind="load", subject="answers", now=now + timedelta(hours=2)) as batch:
        batch.merge("examinations", answered(spots[spots["part"] != "reserve"]))
    found = extent(register, job="H1", rules=rules)
    assert found.loc[found["state"] != "met", ["rule", "missing", "note"]].to_dict("records") == []


ONE_SPOT = """
title = "one spot of each joint"
follows = "nothing"
edition = "none"

[[extent]]
name = "butts"
categories = ["A", "B"]
method = "RT"
spot_length_mm = {spot}
amount = {{ family = "percent-of-joints", percent = {percent}, examined = "one-spot" }}
"""


@pytest.mark.parametrize("seed", [0, 9, 12, 13])
@pytest.mark.parametrize(("percent", "spot"), [(100, 150), (60, 300)])
def test_the_one_spot_of_a_joint_is_never_a_gap_shorter_than_a_spot(
    register, now, percent, spot, seed
):
    rules = read_rules(ONE_SPOT.format(percent=percent, spot=spot), source="test")
    joints = joints_of(["A", "B"], 30, seed=seed)
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": "H1", "zone": ["Z0", "Z1", "Z2"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits_of(joints, 4, seed=seed + 1000))
    plan, drawing = draw_plan(
        register, job="H1", rules=rules, seed=seed, now=now + timedelta(hours=1)
    )
    assert any("this is shorter than a spot" in note for note in drawing.notes)
    spots = plan_spots(register, plan)
    with register.batch(kind="load", subject="answers", now=now + timedelta(hours=2)) as batch:
        batch.merge("examinations", answered(spots[spots["part"] != "reserve"]))
    found = extent(register, job="H1", rules=rules)
    assert found["state"].tolist() == ["met"]
    # The probabilities stay those of the draw: they add up to what was drawn, and of a joint to 1
    # at most.
    by_joint = drawing.cells.groupby("joint")["pi"].sum()
    assert by_joint.sum() == pytest.approx((spots["part"] != "reserve").sum(), abs=1e-6)
    assert by_joint.max() <= 1 + 1e-9
