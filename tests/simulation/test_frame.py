"""The frame of the planner, as arrays."""

import numpy as np
import pandas as pd
import pytest

from ndtstats.planning import Yard, frame_of_rules
from ndtstats.rules import load_rules, read_rules
from ndtstats.simulation.chance import draw_as_planned, draw_further, draw_simple
from ndtstats.simulation.frame import frame_of
from ndtstats.simulation.yard import invented_setting

PRESETS = [
    "aluminium-hull", "pressure-vessel", "process-piping", "steel-hull", "steel-structure",
    "tank-shell",
]  # fmt: skip


@pytest.fixture(scope="module", params=PRESETS)
def planned(request):
    rules = load_rules(request.param)
    yard = invented_setting(rules, welders=4, joints_each=18).yard
    return yard, rules, frame_of(yard, rules)


def test_it_is_the_frame_of_the_planner(planned):
    yard, rules, frame = planned
    cells, _ = frame_of_rules(yard, rules)
    # What the eye sees and what leaks takes no exposure.
    cells = cells[~cells["method"].isin(["VT", "LT"])]
    keys = ["joint", "rule", "from_mm"]
    mine = frame.cells.assign(pi=frame.pi, exposures=frame.exposures).sort_values(keys)
    theirs = cells.sort_values(keys)
    for column in (*keys, "to_mm", "pi", "exposures"):
        assert mine[column].tolist() == theirs[column].tolist()
    assert (np.diff(frame.welder) >= 0).all()
    names = np.array(frame.welders)[frame.welder]
    assert dict(zip(zip(*(frame.cells[key] for key in keys), strict=True), names, strict=True)) == {
        (joint, rule, low): welder
        for joint, rule, low, welder in zip(
            *(cells[key] for key in keys), cells["welder"], strict=True
        )
    }


def test_every_rule_has_joints_of_the_invented_yard(planned):
    _, rules, frame = planned
    assert set(frame.cells["rule"]) == {
        rule.name for rule in rules.extent if rule.method not in {"VT", "LT"}
    }


def test_every_replicate_draws_the_numbers_of_the_plan(planned, rng):
    _, _, frame = planned
    replicates = 400
    drawn = draw_as_planned(frame, replicates, rng)
    strata = int(frame.stratum.max()) + 1
    number = np.bincount(
        drawn.replicate * strata + frame.stratum[drawn.cell], minlength=replicates * strata
    ).reshape(replicates, strata)
    asked = np.bincount(frame.stratum, frame.pi)
    assert np.allclose(number, asked)
    often = np.bincount(drawn.cell, minlength=len(frame.pi)) / replicates
    error = np.sqrt(frame.pi * (1 - frame.pi) / replicates)
    assert (np.abs(often - frame.pi) <= 4.5 * error + 1e-9).all()
    order = drawn.replicate * len(frame.pi) + drawn.cell
    assert (np.diff(order) > 0).all()


def test_what_a_welder_has_welded_grows_to_all_his_weld(planned):
    yard, rules, frame = planned
    assert (frame.welded_mm > 0).all()
    length = yard.joints.set_index("joint")["length_mm"]
    own = pd.Series(frame.cells["joint"].unique()).map(length).sum()
    last = pd.Series(frame.welded_mm).groupby(frame.welder).max()
    # Every joint here has one welder, and the rules are about all of it or its crossings only.
    assert last.sum() <= own + 1e-6
    if all(rule.places == "all" for rule in rules.extent):
        assert last.sum() == pytest.approx(own)


def test_a_reject_at_a_crossing_belongs_to_the_lot_of_its_weld():
    rules = load_rules("aluminium-hull")
    frame = frame_of(invented_setting(rules, welders=2, joints_each=8).yard, rules)
    crossing = frame.cells["rule"] == "intersections of butts and seams"
    assert crossing.any()
    joint = frame.cells["joint"].where(frame.cells["rule"].isin(
        ["intersections of butts and seams", "butts in plating"]
    ))  # fmt: skip
    lots = pd.Series(frame.lot).groupby(joint).nunique()
    assert (lots == 1).all()


ONE_RULE = """
title = "t"
follows = "common practice"
edition = "none"

[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", percent = 10.0 }
spot_length_mm = 300.0
"""


def test_metres_are_counted_in_the_order_of_welding():
    setting = invented_setting(
        read_rules(ONE_RULE, source="test"), welders=1, joints_each=3, joint_mm=900.0
    )
    deposits = setting.yard.deposits.assign(
        date=pd.to_datetime(["2026-03-03", "2026-03-01", "2026-03-02"])
    )
    yard = Yard(setting.yard.joints, deposits, setting.yard.rejects)
    frame = frame_of(yard, read_rules(ONE_RULE, source="test"))
    assert frame.cells["joint"].tolist() == [f"J-{n}" for n in (2, 2, 2, 3, 3, 3, 1, 1, 1)]
    assert frame.welded_mm.tolist() == [300.0 * n for n in range(1, 10)]


def test_simple_draws_take_every_set_alike(rng):
    drawn = draw_simple(2, 4, 6000, rng)
    sets, count = np.unique(drawn, axis=0, return_counts=True)
    assert len(sets) == 6
    assert np.abs(count - 1000).max() < 4.5 * np.sqrt(6000 * (1 / 6) * (5 / 6))


def test_a_further_place_is_drawn_by_its_length(rng):
    # One of three: in proportion to length. Two of three, one after the other: the long one is left
    # out when both short ones come first, 1/4 x 1/3 each way round.
    mm, many = np.array([1.0, 1.0, 2.0]), 9000
    group, cell = np.repeat(np.arange(many), 3), np.tile(np.arange(3), many)
    one = draw_further(group, cell, np.ones(many, dtype=np.int64), mm, rng).reshape(many, 3)
    assert one.mean(axis=0) == pytest.approx([0.25, 0.25, 0.5], abs=0.02)
    two = draw_further(group, cell, np.full(many, 2), mm, rng).reshape(many, 3)
    assert two[:, 2].mean() == pytest.approx(5 / 6, abs=0.02)
    assert (two.sum(axis=1) == 2).all()
