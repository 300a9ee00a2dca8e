"""What a plan does: figures that can be known otherwise, and how they must move."""

import numpy as np
import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.planning import Yard
from ndtstats.rules import load_rules, read_rules
from ndtstats.simulation import Assumptions, Costs, invented_setting, simulate
from ndtstats.statistics.acceptance import accept_probability

#: A plan by length alone, one spot in ten, nothing after a reject.
PLAIN = """
title = "plain"
follows = "common practice"
edition = "none"

[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", percent = 10.0 }
spot_length_mm = 300.0
"""
WITH_EXTRAS = PLAIN.replace("spot_length", 'escalation = "spot-structure"\nspot_length')


def plain(text=PLAIN, **changes):
    rules = read_rules(text, source="test")
    return invented_setting(rules, welders=6, joints_each=20, joint_mm=1500.0).yard, rules


def run(text=PLAIN, replicates=3000, seed=1, costs=None, **assumed):
    yard, rules = plain(text)
    [found] = simulate(
        yard, [rules], Assumptions(**assumed), replicates=replicates, seed=seed, costs=costs
    )
    return found


def near(figure, exact):
    return abs(figure.value - exact) <= 4 * figure.standard_error + 1e-12


@pytest.mark.parametrize("allowed", [0, 1])
def test_without_escalation_it_is_the_binomial_curve(allowed):
    # 100 cells of 300 mm each welder, 10 of them drawn: Bin(10, p), scipy and tests/references.
    found = run(allowed=allowed)
    assert found.welders["examined"].tolist() == [10.0] * 6
    assert near(found.figures["bad_caught"], 1 - float(accept_probability(0.10, 10, allowed)))
    assert near(found.figures["good_caught"], 1 - float(accept_probability(0.02, 10, allowed)))
    exact = 1 - accept_probability(found.curve["rate"].to_numpy(), 10, allowed)
    error = found.curve["standard_error"].to_numpy()
    # 121 points of one curve rise and fall together.
    assert (np.abs(found.curve["value"] - exact) <= 4.5 * error + 2e-3).all()


def test_without_escalation_exposures_and_what_is_left_are_exact():
    found = run(costs=Costs(exposure=100.0, repair=900.0), bad_share=0.5)
    figures = found.figures
    assert figures["first_exposures"][:2] == (60.0, 0.0)
    assert figures["extra_exposures"].value == 0
    assert figures["good_extra"].value == 0
    # 60 places, half at 10 % and half at 2 %: 3.6 rejects, each repaired and shot again.
    assert near(figures["rejected"], 3.6)
    assert near(figures["exposures"], 63.6)
    assert near(figures["cost"], 100 * 63.6 + 900 * 3.6)
    # 540 places are left. Of a Poisson number with P(none) = 1 - rate, -log(1 - rate) is expected.
    expected = 540 * -(np.log(0.9) + np.log(0.98)) / 2
    assert near(figures["left"], expected)


def test_until_he_is_caught():
    # The place of the first bad one of ten, given that there is one: by hand from the geometric
    # distribution; exposures are one each.
    first = np.arange(1, 11)
    chance = 0.9 ** (first - 1) * 0.1
    exact = float(np.sum(first * chance) / chance.sum())
    found = run()
    assert near(found.figures["bad_caught_after_exposures"], exact)
    # Ten of a hundred places of 300 mm, spread evenly: the k-th lies at about (k - 1/2) x 3 m.
    metres = found.figures["bad_caught_after_mm"].value / 1000
    assert metres == pytest.approx(3.0 * (exact - 0.5) + 0.15, abs=0.4)


def test_every_error_told_is_what_repetition_shows():
    repeated = [run(WITH_EXTRAS, replicates=150, seed=seed, bad_share=0.3) for seed in range(20)]
    for name in ("bad_caught", "good_extra", "exposures", "left", "bad_caught_after_mm"):
        values = [found.figures[name].value for found in repeated]
        told = np.mean([found.figures[name].standard_error for found in repeated])
        # 20 repetitions know a spread within 16 %; three times that.
        assert np.std(values, ddof=1) == pytest.approx(told, rel=0.5), name


def test_the_same_seed_gives_the_same_and_another_does_not():
    one, same, other = (run(WITH_EXTRAS, replicates=200, seed=seed) for seed in (7, 7, 8))
    assert one.figures == same.figures
    pd.testing.assert_frame_equal(one.curve, same.curve)
    assert one.figures["exposures"] != other.figures["exposures"]


def test_a_worse_welder_is_caught_more_often_and_sooner():
    found = [run(WITH_EXTRAS, bad_rate=rate) for rate in (0.05, 0.15, 0.40)]
    caught = [one.figures["bad_caught"].value for one in found]
    metres = [one.figures["bad_caught_after_mm"].value for one in found]
    assert caught == sorted(caught)
    assert metres == sorted(metres, reverse=True)
    assert (np.diff(found[0].curve["value"]) >= 0).all()


def test_escalation_costs_exposures_and_leaves_less():
    without, with_ = run(bad_share=0.5), run(WITH_EXTRAS, bad_share=0.5)
    assert with_.figures["extra_exposures"].value > 0
    assert with_.figures["left"].upper < without.figures["left"].lower
    assert 0 < with_.figures["good_extra"].value < with_.figures["bad_extra"].value < 1
    assert with_.figures["bad_whole_lot"].value < with_.figures["bad_extra"].value
    # Who is caught hangs on the first examinations alone.
    assert with_.figures["bad_caught"] == without.figures["bad_caught"]


def test_whole_lots_by_hand():
    # Lots are joints of five places, one in ten drawn: reject p, then of two extras one or both bad
    # 1 - (1 - p)^2. All welders alike, all cells of one size, so the counts per joint follow.
    found = run(WITH_EXTRAS, bad_share=1.0, bad_rate=0.3, replicates=2000)
    # Where a joint holds one first examination it owes 2 extras at 0.3, and 2 more at 0.3 x 0.51.
    one_each = 60 * (2 * 0.3 + 2 * 0.3 * 0.51)
    # The draw is spread, so that joints of five places seldom hold two.
    assert found.figures["extra_exposures"].value == pytest.approx(one_each, rel=0.05)


def test_everything_examined_leaves_nothing_and_owes_nothing():
    found = run(WITH_EXTRAS.replace("10.0", "100.0"), replicates=50)
    assert found.figures["left"].value == 0
    assert found.figures["extra_exposures"].value == 0
    assert found.figures["first_exposures"].value == 600


def test_two_plans_meet_the_same_yard():
    yard, rules = plain()
    more = read_rules(PLAIN.replace("10.0", "30.0"), source="test")
    one, other = simulate(yard, [rules, more], Assumptions(), replicates=500, seed=1)
    assert other.figures["bad_caught"].value > one.figures["bad_caught"].value
    assert other.figures["left"].value < one.figures["left"].value
    assert other.figures["first_exposures"].value == 3 * one.figures["first_exposures"].value


def test_weld_that_only_the_other_plan_is_about_counts_as_left():
    half = PLAIN.replace('["A"]', '["A", "B"]')
    both = read_rules(half, source="test")
    yard = invented_setting(both, welders=6, joints_each=20, joint_mm=1500.0).yard
    only_a = read_rules(PLAIN, source="test")
    [alone] = simulate(yard, [only_a], Assumptions(), replicates=300, seed=1)
    beside, _ = simulate(yard, [only_a, both], Assumptions(), replicates=300, seed=1)
    # Half of the joints are B: 300 places more than the 270 left of A.
    assert beside.figures["left"].value / alone.figures["left"].value == pytest.approx(570 / 270)
    assert beside.figures["bad_caught"] == alone.figures["bad_caught"]


def test_weld_of_nobody_is_no_welders(make):
    yard, rules = plain()
    known = yard.deposits[yard.deposits["welder"] != "W1"]
    lost = Yard(yard.joints, known, yard.rejects)
    [found] = simulate(lost, [rules], Assumptions(), replicates=100, seed=1)
    assert found.nobody_mm == 20 * 1500
    assert found.welders["welder"].tolist() == ["W2", "W3", "W4", "W5", "W6"]


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"bad_rate": 1.0}, "bad rate 1 is no share below 1"),
        ({"good_rate": 0.2}, "the good rate 0.2 is above the bad rate 0.1"),
        ({"bad_share": 1.5}, "bad share 1.5 is no share"),
        ({"place_mm": 0.0}, "not above 0"),
        ({"allowed": -1}, "-1 rejects cannot be allowed"),
    ],
)
def test_impossible_assumptions_are_refused(wrong, says):
    with pytest.raises(UseError, match=says):
        Assumptions(**wrong)


def test_one_replicate_tells_nothing():
    with pytest.raises(UseError, match="1 replicates tell nothing"):
        run(replicates=1)


@pytest.mark.parametrize("name", ["pressure-vessel", "process-piping", "steel-hull"])
def test_presets_run(name):
    rules = load_rules(name)
    yard = invented_setting(rules, welders=3, joints_each=12).yard
    [found] = simulate(yard, [rules], Assumptions(), replicates=60, seed=1)
    assert all(np.isfinite(figure.value) for figure in found.figures.values())
    assert found.check["deviation"].abs().max() < 4.5
