from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.planning import draw_plan, plan_spots, plan_worth, worth_by_step


def test_the_curve_counts_what_is_planned_then_the_best_beyond(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    worth = plan_worth(yard, job="H1", rules=rules, further=6)
    spots = plan_spots(yard, plan)
    parts = worth.curve["part"].value_counts()
    assert parts["required"] == (spots["part"] == "required").sum()
    assert parts["random"] == (spots["part"] == "random").sum()
    assert parts["further"] == 6
    further = worth.curve.loc[worth.curve["part"] == "further"]
    assert worth.curve["exposures"].iloc[-1] == worth.planned + further["exposures"].iloc[-1] - (
        worth.planned
    )
    # Nothing was found yet: all is expected at the rate of the rules, moved about by their factors.
    length = pd.concat([plan_frame(yard, name) for name in ("A", "P", "X")])
    assert worth.curve["hidden"].iloc[0] == pytest.approx(0.1 * length.sum() / 1000)
    assert worth.metres == pytest.approx(length.sum() / 1000)
    total = worth.curve["found"] + worth.curve["hidden"]
    np.testing.assert_allclose(total, total.iloc[0])


def plan_frame(yard, category):
    joints = yard.table("joints")
    return joints.loc[joints["category"] == category, "length_mm"]


def test_fewer_exposures_notice_fewer(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    worth = plan_worth(yard, job="H1", rules=rules)
    fewer, planned = worth.at([worth.planned - 10, worth.planned])["caught"]
    assert fewer < planned < worth.curve["caught"].iloc[-1]


def test_a_method_that_misses_half_leaves_more(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    sure = plan_worth(yard, job="H1", rules=rules).curve["hidden"]
    half = plan_worth(yard, job="H1", rules=rules, detection=0.5).curve["hidden"]
    # What is found is what the rate says; there is twice as much then.
    assert half.iloc[0] == pytest.approx(2 * sure.iloc[0])
    assert half.iloc[0] - half.iloc[-1] == pytest.approx(sure.iloc[0] - sure.iloc[-1])


def test_what_was_made_is_no_longer_planned_and_a_reject_is_noticed(yard, rules, now):
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    before = plan_worth(yard, job="H1", rules=rules)
    spots = plan_spots(yard, plan).query("part in ['required', 'random'] and method == 'RT'")
    done = spots[["job", "joint", "method", "from_mm", "to_mm"]].assign(
        request=spots["spot"], verdict="reject", date=pd.Timestamp("2026-03-20"), round=0,
        report=[f"R-{n}" for n in range(len(spots))],
    )  # fmt: skip
    with yard.batch(kind="load", subject="examinations", now=now + timedelta(days=1)) as batch:
        batch.merge("examinations", done)
    after = plan_worth(yard, job="H1", rules=rules)
    assert after.planned < before.planned
    assert after.curve["caught"].iloc[0] == 1.0
    assert after.likelihood.found == len(spots)


def test_the_table_goes_by_steps_and_names_the_end_of_the_plan(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    worth = plan_worth(yard, job="H1", rules=rules, further=25)
    table = worth_by_step(worth, 10)
    assert table["exposures"].is_monotonic_increasing
    assert worth.planned in table["exposures"].tolist()
    assert table["buys"].sum() == pytest.approx(worth.curve["found"].iloc[-1])


def test_the_sentence_says_what_further_exposures_buy(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    said = plan_worth(yard, job="H1", rules=rules, further=10).sentence
    assert "rejectable imperfections are expected in" in said
    assert "10 more would find" in said
    assert "of whom nothing was rejected so far" in said


@pytest.mark.parametrize("detection", [0.0, 1.5])
def test_an_impossible_detection_is_refused(yard, rules, now, detection):
    with pytest.raises(UseError, match="a probability above 0"):
        plan_worth(yard, job="H1", rules=rules, detection=detection)


def test_without_a_plan_there_is_nothing_to_value(yard, rules):
    with pytest.raises(UseError, match="ndtstats plan draw"):
        plan_worth(yard, job="H1", rules=rules)
