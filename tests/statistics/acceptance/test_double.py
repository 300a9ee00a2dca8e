import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance import DoublePlan, accept_probability, double_outcome


def test_published_double_plans(reference):
    # Montgomery ch. 15; AS 1199.1 as quoted by Kiermeier 2008: source in each row.
    rows = reference("oc_double.csv")
    assert len(rows) == 7
    for row in rows.itertuples():
        plan = DoublePlan(row.n1, row.c1, row.r1, row.n2, row.c2)
        outcome = double_outcome(row.p, plan)
        expected = [row.value_pa_first, row.value_pa_second, row.value_pa]
        assert [float(v) for v in outcome[:3]] == pytest.approx(expected, rel=1e-10)
        assert float(outcome.average_examined) == pytest.approx(
            row.value_asn_uncurtailed, rel=1e-10
        )
        if not np.isnan(row.published_pa):
            # The book cuts the products of the second sample: 0.010 for 0.01098, and the sum with
            # it: 0.289 for 0.2904.
            assert round(float(outcome.passed_first), 3) == row.published_first
            assert 0 <= outcome.passed_second - row.published_second < 0.001
            assert 0 <= outcome.passed - row.published_pa < 0.0015


def enumerated(lot, bad, plan):
    """Chance of passing and average number examined, over all orders of the bad places."""
    both = plan.examine_first + plan.examine_second
    passed, examined, orders = 0, 0, list(itertools.combinations(range(lot), bad))
    for places in orders:
        first = sum(place < plan.examine_first for place in places)
        if plan.allow_first < first < plan.reject_first:
            passed += sum(place < both for place in places) <= plan.allow_both
            examined += both
        else:
            passed += first <= plan.allow_first
            examined += plan.examine_first
    return passed / len(orders), examined / len(orders)


@pytest.mark.parametrize("bad", range(11))
def test_a_finite_lot_agrees_with_all_its_orders(bad):
    plan = DoublePlan(3, 0, 3, 4, 2)
    outcome = double_outcome(bad / 10, plan, lot=10)
    passed, examined = enumerated(10, bad, plan)
    assert float(outcome.passed) == pytest.approx(passed, rel=1e-12, abs=1e-15)
    assert float(outcome.average_examined) == pytest.approx(examined, rel=1e-12)


def test_two_samples_that_always_both_count_are_one():
    # Passing at once needs 0 rejects and passing in the end needs 0: a second sample never helps.
    outcome = double_outcome(np.linspace(0, 1, 11), DoublePlan(20, 0, 2, 10, 0))
    np.testing.assert_allclose(outcome.passed, accept_probability(np.linspace(0, 1, 11), 20, 0))
    assert np.all(outcome.passed_second == 0)


# Six places: a probability of 1e-308 overflows the library's binomial, and means nothing here.
SHARES = st.floats(0, 1).map(lambda share: round(share, 6))


@given(st.lists(SHARES, min_size=2), st.booleans())
def test_passing_falls_as_the_rate_rises(rates, finite):
    lot = 200 if finite else None
    passed = double_outcome(np.sort(rates), DoublePlan(50, 1, 4, 100, 3), lot=lot).passed
    assert np.all(np.diff(passed) <= 1e-12)


@pytest.mark.parametrize(
    ("numbers", "says"),
    [
        ((50, 1, 2, 100, 3), "leave nothing for a second sample"),
        ((50, 2, 5, 100, 1), "at least the 2 of the first"),
        ((0, 0, 2, 10, 1), "examined 0"),
        ((50, -1, 2, 10, 1), "allowed -1"),
    ],
)
def test_a_plan_that_contradicts_itself_is_told(numbers, says):
    with pytest.raises(UseError, match=says):
        DoublePlan(*numbers)


def test_a_lot_too_small_is_told():
    with pytest.raises(UseError, match="need 150 and the lot has 120"):
        double_outcome(0.1, DoublePlan(50, 1, 4, 100, 3), lot=120)
