import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance import SequentialPlan, sequential_outcome, wald_outcome

NIST = SequentialPlan(0.01, 0.10, producer_risk=0.05, consumer_risk=0.10)


def plan_of(rows):
    first = rows.iloc[0]
    return SequentialPlan(
        first["p0"], first["p1"], producer_risk=first["alpha"], consumer_risk=first["beta"]
    )


def of_plan(plan):
    """Every quantity of the reference table, as this package has it."""
    average = wald_outcome([plan.good, plan.bad, plan.slope], plan).average_examined
    return {
        "k_natural": plan.k,
        "k_log10": plan.k / np.log(10),
        "accept_intercept": -plan.h1,
        "reject_intercept": plan.h2,
        "slope": plan.slope,
        "asn_p0": average[0],
        "asn_p1": average[1],
        "asn_slope": average[2],
        "first_accept_n_zero_defects": plan.first_acceptance,
    }


@pytest.mark.parametrize("case", ["nist", "wald", "hogg_craig"])
def test_published_lines_and_averages(case, reference):
    # NIST/SEMATECH e-Handbook 6.2.6; Wald 1947; Hogg & Craig ch. 8: source in each row.
    table = reference("sprt.csv")
    rows = table[table["case"] == case]
    assert len(rows) == 9
    ours = of_plan(plan_of(rows))
    for row in rows.itertuples():
        assert float(ours[row.quantity]) == pytest.approx(row.value, rel=1e-9)
        if not np.isnan(row.published):
            # To the last place printed; none is printed to more than four.
            places = len(f"{row.published}".partition(".")[2])
            assert round(float(ours[row.quantity]), places) == row.published


def test_the_formulas_meet_the_risks_and_the_ends():
    passed, average = wald_outcome([0.0, 0.01, 0.10, 1.0], NIST)
    np.testing.assert_allclose(passed, [1, 0.95, 0.10, 0], rtol=1e-9, atol=1e-12)
    # With no rejects, or nothing but rejects, the walk to a line is a straight one.
    ends = [NIST.lower / NIST.accept_weight, NIST.upper / NIST.reject_weight]
    np.testing.assert_allclose(average[[0, 3]], ends, rtol=1e-9)


def test_the_formulas_are_smooth_at_the_slope():
    steps = np.array([-1e-5, -2e-7, 0, 2e-7, 1e-5])
    passed, average = wald_outcome(NIST.slope + steps, NIST)
    assert float(passed[2]) == pytest.approx(NIST.h2 / (NIST.h1 + NIST.h2), rel=1e-12)
    np.testing.assert_allclose(passed, passed[2], rtol=2e-3)
    np.testing.assert_allclose(average, average[2], rtol=2e-3)


def enumerated(plan, rate, most):
    """Outcome over all courses of ``most`` examinations, each followed to its decision."""
    passed = failed = average = 0.0
    for course in itertools.product([0, 1], repeat=most):
        chance = np.prod([rate if reject else 1 - rate for reject in course])
        rejects = np.cumsum(course)
        for n, count in enumerate(rejects, start=1):
            ratio = count * plan.reject_weight + (n - count) * plan.accept_weight
            if ratio <= plan.lower or ratio >= plan.upper or n == most:
                passed += chance * (ratio <= plan.lower)
                failed += chance * (ratio >= plan.upper)
                average += chance * n
                break
    return passed, failed, 1 - passed - failed, average


@pytest.mark.parametrize("rate", [0.0, 0.1, 0.35, 0.8, 1.0])
def test_a_short_test_agrees_with_all_its_courses(rate):
    plan = SequentialPlan(0.1, 0.5, producer_risk=0.1, consumer_risk=0.2)
    outcome = sequential_outcome(rate, plan, most=12)
    np.testing.assert_allclose(
        [float(v) for v in outcome], enumerated(plan, rate, 12), rtol=1e-12, atol=1e-14
    )


@pytest.mark.parametrize("rate", [0.01, 0.04, 0.10])
def test_the_exact_outcome_agrees_with_simulation(rate):
    # 20,000 courses; five standard errors, so that a right result fails about once in a million.
    courses, most = 20_000, 300
    rejects = np.cumsum(np.random.default_rng(7).random((courses, most)) < rate, axis=1)
    n = np.arange(1, most + 1)
    passes = rejects <= NIST.acceptance_number(n)
    stops = passes | (rejects >= NIST.rejection_number(n))
    stops[:, -1] = True
    at = stops.argmax(axis=1)
    outcome = sequential_outcome(rate, NIST, most=most)
    passed = passes[np.arange(courses), at].mean()
    spread = np.sqrt(passed * (1 - passed) / courses)
    assert abs(passed - outcome.passed) < 5 * spread
    assert abs((at + 1).mean() - outcome.average_examined) < 5 * (at + 1).std() / courses**0.5


@settings(deadline=None, max_examples=30)
@given(st.floats(0.01, 0.2), st.floats(2, 4), st.floats(0.02, 0.3), st.floats(0.02, 0.3))
def test_the_exact_risks_keep_wald_s_inequalities(good, ratio, alpha, beta):
    # Wald 1947, ch. 3: true risks a, b have a <= alpha / (1 - beta), b <= beta / (1 - alpha) and
    # a + b <= alpha + beta. What is left undecided counts on neither side.
    plan = SequentialPlan(good, good * ratio, producer_risk=alpha, consumer_risk=beta)
    outcome = sequential_outcome([plan.good, plan.bad], plan, most=400)
    failed_good, passed_bad = outcome.failed[0], outcome.passed[1]
    assert failed_good <= alpha / (1 - beta) + 1e-12
    assert passed_bad <= beta / (1 - alpha) + 1e-12
    assert failed_good + passed_bad <= alpha + beta + 1e-12
    np.testing.assert_allclose(outcome.passed + outcome.failed + outcome.undecided, 1, rtol=1e-12)


@pytest.mark.parametrize(
    "plan",
    [
        NIST,
        SequentialPlan(0.02, 0.08),
        SequentialPlan(0.1, 0.3, producer_risk=0.02, consumer_risk=0.03),
        SequentialPlan(0.01, 0.05, producer_risk=0.02, consumer_risk=0.02),
    ],
)
def test_the_practical_end_leaves_little_undecided(plan):
    rates = np.linspace(0, 3 * plan.slope, 61)
    undecided = sequential_outcome(rates, plan, most=plan.practical_end).undecided
    assert 0.005 < undecided.max() < 0.013


def test_the_lines_decide_where_they_say():
    assert NIST.acceptance_number(NIST.first_acceptance) == 0
    assert NIST.acceptance_number(NIST.first_acceptance - 1) == -1
    assert NIST.rejection_number(NIST.first_rejection) == NIST.first_rejection
    before = NIST.first_rejection - 1
    assert NIST.rejection_number(before) > before


@given(st.lists(st.floats(0, 1), min_size=2))
def test_passing_falls_as_the_rate_rises(rates):
    assert np.all(np.diff(wald_outcome(np.sort(rates), NIST).passed) <= 1e-12)
    assert np.all(np.diff(sequential_outcome(np.sort(rates), NIST, most=60).passed) <= 1e-12)


def test_rates_keep_their_shape():
    assert sequential_outcome(np.full((2, 3), 0.05), NIST, most=5).passed.shape == (2, 3)
    assert wald_outcome(0.05, NIST).passed.shape == ()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"good": 0.1, "bad": 0.1}, "must be below"),
        ({"good": 0, "bad": 0.1}, "and be neither"),
        ({"good": 0.01, "bad": 10}, "10 % is 0.1"),
        ({"good": 0.01, "bad": 0.1, "producer_risk": 0.6, "consumer_risk": 0.5}, "less than 1"),
    ],
)
def test_an_impossible_plan_is_told(arguments, says):
    with pytest.raises(UseError, match=says):
        SequentialPlan(**arguments)


def test_a_test_of_no_examinations_is_told():
    with pytest.raises(UseError, match="at least 1"):
        sequential_outcome(0.1, NIST, most=0)
