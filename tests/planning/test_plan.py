from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.planning import draw_plan, plan_spots, repeat_plan
from ndtstats.rules import read_rules


def test_a_plan_holds_what_the_rules_ask_for(yard, rules, now):
    steps: list[int] = []
    plan, drawing = draw_plan(
        yard, job="H1", rules=rules, seed=1, now=now, progress=lambda *told: steps.append(told[1])
    )
    assert steps == [1, 2, 3]
    spots = plan_spots(yard, plan)
    taken = spots[spots["part"] != "reserve"]
    butts = taken[taken["rule"] == "butts"]
    # 10 % of 30 m at 300 mm a spot: ten, of which five are the crossings.
    assert len(butts) == 10
    assert (butts["part"] == "required").sum() == 5
    # 5 % of 30 is two; four welders each need one (ASME B31.3, 341.4.1; opinion, seen).
    pipes = taken[taken["rule"] == "pipe butts"]
    assert len(pipes) == 4
    assert (pipes["to_mm"] - pipes["from_mm"] == 350).all()
    everything = taken[taken["rule"] == "all of it"]
    assert set(everything["part"]) == {"required"}
    assert (everything["to_mm"] - everything["from_mm"]).sum() == 2000
    assert [note.split(":")[0] for note in drawing.notes] == ["RT UT"]
    assert "No results yet" in drawing.notes[0]


def test_every_welder_is_covered(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=2, now=now)
    spots = plan_spots(yard, plan).query("part != 'reserve' and rule == 'pipe butts'")
    welder = yard.table("deposits").set_index("joint")["welder"]
    assert sorted(spots["joint"].map(welder)) == ["W0", "W1", "W2", "W3"]


def test_probabilities_add_up_to_the_spots_drawn(yard, rules, now):
    plan, drawing = draw_plan(yard, job="H1", rules=rules, seed=3, now=now)
    keys = ["rule", "stratum"]
    cells = drawing.cells.groupby(keys)["pi"].sum()
    spots = plan_spots(yard, plan)
    drawn = spots[spots["part"] != "reserve"].groupby(keys).size()
    expected = cells[cells > 1e-9]
    np.testing.assert_allclose(expected, drawn.reindex(expected.index), atol=1e-9)


def test_probabilities_follow_length_times_risk(yard, rules, now):
    _, drawing = draw_plan(yard, job="H1", rules=rules, seed=3, now=now)
    cells = drawing.cells
    one = cells[(cells["rule"] == "butts") & (cells["stratum"] == cells["stratum"].iloc[0])]
    drawn = one[one["pi"] < 1]
    pull = (drawn["to_mm"] - drawn["from_mm"]) * drawn["risk"] ** 0.5
    assert (drawn["pi"] / pull).std() == pytest.approx(0.0, abs=1e-12)


def test_the_risk_is_a_product_of_its_factors(yard, rules, now):
    _, drawing = draw_plan(yard, job="H1", rules=rules, seed=3, now=now)
    butts = drawing.cells[drawing.cells["rule"] == "butts"]
    first = butts[butts["joint"] == "B-0"]
    assert first["risk"].iloc[0] == 2.0 * 1.5  # the first joint of W0, at its end
    middle = butts[butts["joint"] == "B-8"]
    assert middle["risk"].iloc[3] == 1.0


def test_a_spot_says_what_its_risk_is_made_of(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=3, now=now)
    spots = plan_spots(yard, plan).query("rule == 'butts'")
    plain = spots[spots["risk"] == 1.0]
    assert not plain["why"].str.contains("risk").any()
    double = spots[spots["risk"] == 3.0]
    assert len(double)
    assert double["why"].str.endswith("risk: first work of welder 2 × bead end 1.5").all()


def test_a_plan_repeats_to_the_spot(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=4, now=now)
    again = repeat_plan(yard, plan)
    assert (again.equal, again.frame_equal, again.changes) == (True, True, ())


def test_a_repeat_says_what_has_changed_since(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=4, now=now)
    joints = yard.table("joints").drop(columns=["id", "batch"])
    longer = joints[joints["joint"] == "B-3"].assign(length_mm=3100.0)
    new = joints[joints["joint"] == "B-4"].assign(joint="B-99")
    with yard.batch(kind="load", subject="joints", now=now + timedelta(days=1)) as batch:
        batch.merge("joints", pd.concat([longer, new]))
    again = repeat_plan(yard, plan)
    assert again.equal
    assert again.changes == ("1 joint added since", "1 joint corrected since, such as B-3")


def test_another_seed_draws_otherwise(yard, rules, rules_text, now):
    first, _ = draw_plan(yard, job="H1", rules=rules, seed=5, now=now)
    other = read_rules(rules_text.replace('"butts"', '"all butts"'), source="x")
    second, _ = draw_plan(yard, job="H1", rules=other, seed=6, now=now + timedelta(days=1))
    places = [
        plan_spots(yard, p)[["joint", "from_mm"]].to_numpy().tolist() for p in (first, second)
    ]
    assert places[0] != places[1]


def test_a_second_plan_covers_only_what_is_new(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=5, now=now)
    with pytest.raises(UseError, match="new since the last plan"):
        draw_plan(yard, job="H1", rules=rules, seed=6, now=now + timedelta(days=1))
    joint = pd.DataFrame(
        {
            "job": ["H1"], "zone": ["Z"], "joint": ["B-77"], "category": ["A"],
            "joint_type": ["butt"], "length_mm": [3000.0],
        }
    )  # fmt: skip
    with yard.batch(kind="load", subject="joints", now=now + timedelta(days=2)) as batch:
        batch.merge("joints", joint)
    plan, drawing = draw_plan(yard, job="H1", rules=rules, seed=6, now=now + timedelta(days=3))
    assert plan == "P2"
    assert set(drawing.cells["joint"]) == {"B-77"}


def test_a_share_beside_the_crossings_is_that_of_whole_joints(yard, now):
    # Butts of 30 m with 1.5 m at crossings: one in five is 6 m, not a fifth of 28.5 m.
    beside = """
title = "t"
follows = "f"
edition = "e"
[[extent]]
name = "at crossings"
categories = ["A"]
method = "RT"
amount = { family = "check-points", points = 2 }
places = "crossings"
[[extent]]
name = "beside"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", one_in = 5.0 }
places = "elsewhere"
"""
    _, drawing = draw_plan(yard, job="H1", rules=read_rules(beside, source="r"), seed=1, now=now)
    taken = drawing.spots.query("part != 'reserve'").groupby("rule").size()
    assert taken.to_dict() == {"at crossings": 2, "beside": 20}


def test_ids_tell_nothing_of_why(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=7, now=now)
    spots = plan_spots(yard, plan)
    assert spots["spot"].tolist() == [f"P1-{n:04d}" for n in range(1, len(spots) + 1)]
    assert spots["joint"].is_monotonic_increasing
    reserves = np.flatnonzero(spots["part"] == "reserve")
    assert reserves.min() < len(spots) - len(reserves)


def test_an_unknown_plan_is_told(yard):
    with pytest.raises(UseError, match='no plan "P9"; known: none yet'):
        plan_spots(yard, "P9")


def test_check_points_of_the_structure_are_not_asked_for_again_with_every_plan(yard, now):
    rules = read_rules(POINTS, source="x")
    first, _ = draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    more = yard.table("joints").drop(columns=["id", "batch"]).query("category == 'A'")
    more = more.assign(joint="N" + more["joint"])
    with yard.batch(kind="load", subject="joints", now=now + timedelta(days=1)) as batch:
        batch.merge("joints", more)
    later = now + timedelta(days=2)
    second, drawing = draw_plan(yard, job="H1", rules=rules, seed=2, now=later)
    drawn = [(plan_spots(yard, plan)["part"] != "reserve").sum() for plan in (first, second)]
    # Twelve for what was there; half the weld is new, so half of twelve.
    assert drawn == [12, 6]
    assert drawing.cells["joint"].str.startswith("N").all()


POINTS = """
title = "points"
follows = "nothing: rules for a test"
edition = "none"

[[extent]]
name = "points"
categories = ["A"]
method = "RT"
amount = { family = "check-points", points = 12 }
"""
