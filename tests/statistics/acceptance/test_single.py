import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance import (
    accept_probability,
    average_examined,
    bad_in_lot,
    examinations_needed,
    outgoing_limit,
    outgoing_rate,
    rate_accepted,
    two_point_plan,
)

PLANS = st.integers(1, 300).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, n - 1)))


def test_published_rates_accepted(reference):
    # MIL-STD-105E Table X-K-1 prints the Poisson form; the binomial one was computed beside it.
    rows = reference("oc_quantiles_codeK.csv")
    rates = 100 * rate_accepted(rows["prob_accept"], rows["n"], rows["c"])
    np.testing.assert_allclose(rates, rows["value_percent_binomial"], rtol=1e-10)


def test_published_rectifying_examination(reference):
    # NIST/SEMATECH e-Handbook 6.2.3.2, whose AOQ leaves out (N - n) / N and whose ATI is good to
    # 1; Montgomery ch. 15, who uses P(pass) to four places: source in each row.
    rows = reference("oc_rectifying.csv")
    plan = (rows["p"], rows["n"], rows["c"])
    left, large = outgoing_rate(*plan, lot=rows["N"]), outgoing_rate(*plan)
    total = average_examined(*plan, lot=rows["N"])
    np.testing.assert_allclose(left, rows["value_aoq"], rtol=1e-10)
    np.testing.assert_allclose(large, rows["value_aoq_large_lot"], rtol=1e-10)
    np.testing.assert_allclose(total, rows["value_ati"], rtol=1e-10)
    nist = (rows["n"] == 52) & rows["published_aoq"].notna()
    assert np.all(np.abs(large - rows["published_aoq"])[nist] <= 0.5e-4 * (1 + 1e-9))
    assert np.all(np.abs(left - rows["published_aoq"])[rows["n"] == 89] <= 0.5e-4)
    assert np.all(np.abs(total - rows["published_ati"]) <= 1)


def test_published_factors_of_the_outgoing_limit():
    # Dodge & Romig 1959, factors y with AOQL = y / n for a large lot and sample; from memory. The
    # sample of a million makes the binomial the Poisson of the book.
    factors = [0.3679, 0.8400, 1.371, 1.942, 2.544, 3.168]
    n = 1_000_000
    limit = outgoing_limit(n, np.arange(6))
    np.testing.assert_allclose(n * limit.outgoing, factors, atol=5.1e-4)
    # For none and one allowed the Poisson maximum is known: at 1, and at the golden ratio.
    np.testing.assert_allclose(n * limit.at_rate[:2], [1, (1 + 5**0.5) / 2], rtol=1e-5)
    np.testing.assert_allclose(n * limit.outgoing[:2], factors[:2], atol=5e-5)


@settings(deadline=None)
@given(PLANS)
def test_the_outgoing_limit_is_the_maximum(plan):
    n, c = plan
    limit = outgoing_limit(n, c, lot=2 * n)
    known = optimize.minimize_scalar(
        lambda p: -float(outgoing_rate(p, n, c, lot=2 * n)),
        bounds=(0, 1),
        method="bounded",
        options={"xatol": 1e-10},
    )
    assert float(limit.outgoing) == pytest.approx(-known.fun, rel=1e-9)
    assert np.all(outgoing_rate(np.linspace(0, 1, 201), n, c, lot=2 * n) <= limit.outgoing + 1e-15)


@given(PLANS, st.floats(0.001, 0.999))
def test_a_rate_accepted_is_accepted_so_often(plan, probability):
    n, c = plan
    rate = rate_accepted(probability, n, c)
    assert float(accept_probability(rate, n, c)) == pytest.approx(probability, rel=1e-8)


@given(st.integers(5, 80), st.integers(0, 3), st.floats(0.05, 0.95), st.sampled_from([0.6, 1.0]))
def test_a_rate_accepted_in_a_lot_is_the_last_one(lot, allowed, probability, detection):
    settings = {"lot": lot, "detection": detection}
    passed = accept_probability(np.arange(lot + 1) / lot, 5, allowed, **settings)
    rate = rate_accepted(probability, 5, allowed, **settings)
    assert float(rate) == np.flatnonzero(passed >= probability)[-1] / lot


def test_misses_raise_the_rate_accepted_up_to_all():
    perfect = rate_accepted([0.95, 0.10], 52, 3)
    np.testing.assert_allclose(rate_accepted([0.95, 0.10], 52, 3, detection=0.5), 2 * perfect)
    assert rate_accepted(0.10, 2, 0, detection=0.1) == 1


def test_published_plans_through_two_points(reference):
    # Kiermeier 2008 (80, 7); the others an exhaustive search over pbinom in R.
    rows = reference("oc_design.csv")
    for row in rows.itertuples():
        plan = two_point_plan(
            row.p1, row.p2, producer_risk=row.producer_risk, consumer_risk=row.consumer_risk
        )
        assert plan[:2] == (row.value_n, row.value_c)
        if not np.isnan(row.published_n):
            assert plan[:2] == (row.published_n, row.published_c)


def test_published_plan_for_a_limiting_rate(reference):
    # Birolini, Reliability Engineering, sect. 7.1; its 195 is the Poisson number, 194 the binomial.
    row = reference("oc_ltpd.csv").iloc[0]
    needed = examinations_needed(row["ltpd"], 1 - row["beta"], allowed=row["c"])
    assert needed == row["value_n_binomial"] == 194


def smallest_by_trying(good, bad, producer_risk, consumer_risk, lot):
    for n in range(1, lot + 1):
        for c in range(n):
            passed_good = stats.hypergeom.cdf(c, lot, good, n)
            passed_bad = stats.hypergeom.cdf(c, lot, bad, n)
            if passed_good >= 1 - producer_risk - 1e-12 and passed_bad <= consumer_risk + 1e-12:
                return n, c
    return None


@pytest.mark.parametrize("lot", [20, 60, 90])
@pytest.mark.parametrize(("good", "bad"), [(0.01, 0.10), (0.05, 0.2), (0.1, 0.15), (0.02, 0.03)])
def test_a_plan_for_a_finite_lot_is_the_smallest_of_all(lot, good, bad):
    whole = (int(np.floor(good * lot + 1e-9)), int(bad_in_lot(bad, lot)))
    plan = two_point_plan(good, bad, lot=lot)
    assert plan[:2] == smallest_by_trying(*whole, 0.05, 0.10, lot)
    assert (plan.good * lot, plan.bad * lot) == pytest.approx(whole)


@settings(deadline=None)
@given(st.floats(0.001, 0.1), st.floats(1.5, 10), st.floats(0.01, 0.2), st.floats(0.01, 0.2))
def test_a_plan_keeps_both_risks(good, ratio, producer_risk, consumer_risk):
    bad = good * ratio if good * ratio < 0.9 else 0.9
    plan = two_point_plan(good, bad, producer_risk=producer_risk, consumer_risk=consumer_risk)
    passed = accept_probability([good, bad], plan.examine, plan.allowed)
    assert (plan.good_fails, plan.bad_passes) == (1 - passed[0], passed[1])
    assert plan.good_fails <= producer_risk * (1 + 1e-9)
    assert plan.bad_passes <= consumer_risk * (1 + 1e-9)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: two_point_plan(0.05, 0.05), "must be below"),
        (lambda: two_point_plan(0.05, 0.05001), "too close"),
        (lambda: two_point_plan(0.01, 8), "8 % is 0.08"),
        (lambda: two_point_plan(0.01, 0.1, producer_risk=0), "producer's risk"),
        (lambda: rate_accepted(0.95, 5, 5), "fewer rejects than it examines"),
        (lambda: outgoing_limit(5, 6), "fewer rejects than it examines"),
        (lambda: outgoing_rate(0.1, 30, 1, lot=20), "more are examined"),
    ],
)
def test_impossible_questions_are_told(call, says):
    with pytest.raises(UseError, match=says):
        call()
