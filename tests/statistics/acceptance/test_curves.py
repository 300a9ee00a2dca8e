import numpy as np
import pytest

from ndtstats.statistics.acceptance import (
    DoublePlan,
    SequentialPlan,
    accept_probability,
    average_examined,
    double_curve,
    double_outcome,
    outgoing_rate,
    sequential_card,
    sequential_curve,
    single_curve,
)
from ndtstats.statistics.acceptance.curves import SELDOM


def falls_from_one_to_seldom(curve):
    passed = curve["pass_probability"]
    assert curve["rate"].iloc[0] == 0
    assert passed.iloc[0] == 1
    assert passed.iloc[-1] <= SELDOM
    assert 8 <= len(curve) <= 20


@pytest.mark.parametrize(("examined", "allowed"), [(2, 0), (5, 4), (52, 3), (1250, 0), (800, 21)])
def test_a_single_curve_spans_what_matters(examined, allowed):
    curve = single_curve(examined, allowed)
    falls_from_one_to_seldom(curve)
    rate = curve["rate"]
    np.testing.assert_array_equal(
        curve["pass_probability"], accept_probability(rate, examined, allowed)
    )
    np.testing.assert_array_equal(curve["outgoing_rate"], outgoing_rate(rate, examined, allowed))


@pytest.mark.parametrize("lot", [20, 137, 5000, 1_000_000])
def test_a_curve_of_a_lot_stands_at_whole_numbers_of_it(lot):
    curve = single_curve(13, 1, lot=lot)
    bad = curve["rate"] * lot
    np.testing.assert_allclose(bad, np.round(bad), atol=1e-6)
    falls_from_one_to_seldom(curve)
    known = average_examined(curve["rate"], 13, 1, lot=lot)
    np.testing.assert_array_equal(curve["average_examined"], known)


def test_misses_leave_out_what_supposes_that_all_is_found():
    curve = single_curve(20, 0, lot=100, detection=0.7)
    assert list(curve) == ["rate", "pass_probability"]
    # With 30 % missed even a lot that is bad throughout passes now and then.
    assert curve["rate"].iloc[-1] <= 1


def test_a_whole_lot_examined_passes_or_fails():
    curve = single_curve(10, 1, lot=10, points=40)
    np.testing.assert_array_equal(curve["pass_probability"], (curve["rate"] <= 0.1).astype(float))


def test_a_double_curve_holds_the_outcome():
    plan = DoublePlan(50, 1, 4, 100, 3)
    curve = double_curve(plan)
    falls_from_one_to_seldom(curve)
    outcome = double_outcome(curve["rate"], plan)
    np.testing.assert_array_equal(curve["average_examined"], outcome.average_examined)
    assert np.all(curve["pass_first_probability"] <= curve["pass_probability"])


def test_a_sequential_curve_holds_all_outcomes():
    curve = sequential_curve(SequentialPlan(0.01, 0.10), most=100)
    falls_from_one_to_seldom(curve)
    ends = ["pass_probability", "fail_probability", "undecided_probability"]
    np.testing.assert_allclose(curve[ends].sum(axis="columns"), 1, rtol=1e-12)


def test_the_card_says_what_the_lines_say():
    plan, most = SequentialPlan(0.01, 0.10), 100
    card = sequential_card(plan, most=most).set_index("examined")
    assert card.index[-1] == most
    # Between two rows of the card nothing changes.
    n = np.arange(1, most + 1)
    full = card.reindex(n, method="ffill")
    accept, reject = plan.acceptance_number(n), plan.rejection_number(n)
    assert full["accept"].fillna(-1).tolist() == accept.tolist()
    assert full["reject"].fillna(-1).tolist() == np.where(reject > n, -1, reject).tolist()
