from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.planning import Aims, draw_plan, plan_spots, why_spot


def test_the_factors_multiply_to_the_risk_that_was_drawn_by(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=3, now=now)
    spots = plan_spots(yard, plan)
    some = pd.concat([spots[spots["risk"] > 1].head(3), spots.tail(2)])
    for spot in some.itertuples():
        told = why_spot(yard, spot.spot)
        assert np.prod(told.factors["value"]) == pytest.approx(spot.risk)
        assert told.sentence.startswith(f"{spot.spot}, joint {spot.joint}, ")
        assert f'rule "{spot.rule}"' in told.sentence


def test_without_results_it_says_that_the_rules_speak_alone(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=3, now=now)
    spots = plan_spots(yard, plan)
    first = spots[(spots["risk"] == 3.0) & (spots["part"] == "random")].iloc[0]
    told = why_spot(yard, first["spot"])
    assert "No results yet: 0.1 rejectable imperfections a metre" in told.conclusion
    assert "Risk 3 = 2 × 1.5." in told.conclusion
    assert f"probability of {first['pi']:.3g}" in told.sentence
    values = told.factors.set_index("factor")
    assert values.loc["first work of welder", "rests_on"] == "the rules"
    assert values.loc["crossing", "rests_on"] == "the rules state none"
    assert values.loc["welder", "rests_on"] == "no results yet"


def test_it_tells_what_was_known_then(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=3, now=now)
    spot = plan_spots(yard, plan)["spot"].iloc[0]
    before = why_spot(yard, spot)
    rejects = pd.DataFrame(
        {
            "job": "H1", "joint": "B-1", "method": "RT", "from_mm": 0.0, "to_mm": 3000.0,
            "verdict": "reject", "date": pd.Timestamp("2026-03-20"), "report": ["R-1"], "round": 0,
        }
    )  # fmt: skip
    with yard.batch(kind="load", subject="examinations", now=now + timedelta(days=1)) as batch:
        batch.merge("examinations", rejects)
    after = why_spot(yard, spot)
    pd.testing.assert_frame_equal(before.factors, after.factors)
    assert before.conclusion == after.conclusion


def test_a_targeted_spot_in_the_frame_of_an_earlier_plan_is_explained(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    later = now + timedelta(days=1)
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=2, now=later, aims=Aims(budget=2))
    spot = plan_spots(yard, plan).iloc[0]
    told = why_spot(yard, spot["spot"])
    assert "targeted, aimed: " in told.sentence
    assert np.prod(told.factors["value"]) == pytest.approx(spot["risk"])


def test_a_slip_in_the_id_is_helped(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=3, now=now)
    with pytest.raises(UseError, match='no plan has a spot "P1-00001"; did you mean "P1-0001"'):
        why_spot(yard, "P1-00001")
