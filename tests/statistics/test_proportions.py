import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from ndtstats.errors import UseError
from ndtstats.statistics import proportion_interval

METHODS = ("clopper-pearson", "wilson", "jeffreys", "mid-p")


@pytest.mark.parametrize("method", METHODS)
def test_published_two_sided_bounds(method, reference):
    # Newcombe 1998; NIST e-Handbook 7.2.4.1; Brown, Cai & DasGupta 2001: source in each row.
    table = reference("binomial_ci.csv")
    rows = table[table["method"] == method.replace("-", "_")]
    assert len(rows) >= 2
    for row in rows.itertuples():
        lower, upper = proportion_interval(row.x, row.n, level=row.conf, method=method)
        assert float(lower) == pytest.approx(row.value_lower, rel=1e-9, abs=1e-12)
        assert float(upper) == pytest.approx(row.value_upper, rel=1e-9, abs=1e-12)
        if not np.isnan(row.published_lower):
            assert round(float(lower), int(row.decimals)) == row.published_lower
        if not np.isnan(row.published_upper):
            assert round(float(upper), int(row.decimals)) == row.published_upper


def test_published_upper_bounds(reference):
    # Reliability case book 14.3.3; AICPA audit sampling tables: source in each row.
    rows = reference("binomial_upper_onesided.csv")
    for row in rows.itertuples():
        lower, upper = proportion_interval(row.x, row.n, level=row.conf, sides="upper")
        assert float(lower) == 0.0
        assert float(upper) == pytest.approx(row.value_upper, rel=1e-9)


# Exact Clopper-Pearson, one-sided 95 % upper and Wilson, computed for the project's notes on
# trade practice and agreeing with the tables cited in the references.
@pytest.mark.parametrize(
    ("k", "n", "low", "high", "upper", "wilson_low", "wilson_high"),
    [
        (0, 10, 0, 0.3085, 0.2589, 0, 0.2775),
        (0, 20, 0, 0.1684, 0.1391, 0, 0.1611),
        (0, 30, 0, 0.1157, 0.0950, 0, 0.1135),
        (1, 20, 0.0013, 0.2487, 0.2161, 0.0089, 0.2361),
        (3, 30, 0.0211, 0.2653, 0.2386, 0.0346, 0.2562),
        (5, 100, 0.0164, 0.1128, 0.1023, 0.0215, 0.1118),
        (8, 20, 0.1912, 0.6395, 0.6064, 0.2188, 0.6134),
    ],
)
def test_small_samples_of_the_trade(k, n, low, high, upper, wilson_low, wilson_high):
    exact = proportion_interval(k, n)
    wilson = proportion_interval(k, n, method="wilson")
    one_sided = proportion_interval(k, n, sides="upper")
    assert [round(float(v), 4) for v in (*exact, *wilson)] == [low, high, wilson_low, wilson_high]
    assert round(float(one_sided.upper), 4) == upper


@pytest.mark.parametrize("method", METHODS)
def test_fractions_of_a_unit_lie_between_whole_ones(method):
    # An effective sample size is no whole number; the mid-P of whole numbers only would jump.
    k = np.linspace(2, 4, 21)
    lower, upper = proportion_interval(k, 30, method=method)
    assert np.all(np.diff(lower) > 0)
    assert np.all(np.diff(upper) > 0)
    n = np.linspace(20, 21, 11)
    assert np.all(np.diff(proportion_interval(3, n, method=method).upper) < 0)


def test_bounds_of_many_are_those_of_each():
    k, n = np.divmod(np.arange(60), 3)
    many = proportion_interval(np.minimum(k, 12), n + 12, method="mid-p")
    each = [
        proportion_interval(min(a, 12), b + 12, method="mid-p") for a, b in zip(k, n, strict=True)
    ]
    assert many.lower.tolist() == [float(one.lower) for one in each]
    assert many.upper.tolist() == [float(one.upper) for one in each]


@given(st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_exact_bounds_agree_with_scipy(pair):
    k, n = pair
    lower, upper = proportion_interval(k, n, level=0.9)
    known = stats.binomtest(k, n).proportion_ci(0.9, method="exact")
    assert float(lower) == pytest.approx(known.low, rel=1e-9, abs=1e-12)
    assert float(upper) == pytest.approx(known.high, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("method", "theirs"), [("wilson", "wilson"), ("jeffreys", "jeffreys")])
def test_other_bounds_agree_with_statsmodels(method, theirs):
    # Away from k = 0 and k = n, where statsmodels leaves the Jeffreys limits inside (0, 1).
    k, n = np.array([1, 5, 17, 40]), np.array([20, 20, 60, 41])
    lower, upper = proportion_interval(k, n, method=method)
    known = proportion_confint(k, n, alpha=0.05, method=theirs)
    np.testing.assert_allclose(lower, known[0], rtol=1e-9)
    np.testing.assert_allclose(upper, known[1], rtol=1e-9)


def test_mid_p_halves_the_probability_of_what_was_seen():
    lower, upper = proportion_interval(3, 30, method="mid-p")
    below = stats.binom.cdf(2, 30, upper) + 0.5 * stats.binom.pmf(3, 30, upper)
    above = stats.binom.sf(3, 30, lower) + 0.5 * stats.binom.pmf(3, 30, lower)
    assert float(below) == pytest.approx(0.025, rel=1e-9)
    assert float(above) == pytest.approx(0.025, rel=1e-9)


@pytest.mark.parametrize("method", METHODS)
def test_nothing_examined_is_nothing_known(method):
    lower, upper = proportion_interval([0, 0], [0, 10], method=method)
    assert (lower[0], upper[0]) == (0.0, 1.0)
    assert upper[1] < 1.0


@pytest.mark.parametrize("method", METHODS)
def test_all_or_none_reach_the_end(method):
    lower, upper = proportion_interval([0, 7], [7, 7], method=method)
    assert lower[0] == 0.0
    assert upper[1] == 1.0
    assert upper[0] == pytest.approx(1 - lower[1], rel=1e-9)


@pytest.mark.parametrize("method", METHODS)
def test_bounds_broadcast_and_hold_the_rate(method):
    k = np.arange(0, 6)[:, None]
    n = np.array([[5, 50]])
    lower, upper = proportion_interval(k, n, method=method)
    assert lower.shape == (6, 2)
    assert np.all((lower <= k / n) & (k / n <= upper))


def test_lower_side_takes_all_the_error():
    lower, upper = proportion_interval(3, 30, sides="lower", level=0.975)
    assert float(upper) == 1.0
    assert float(lower) == pytest.approx(float(proportion_interval(3, 30).lower), rel=1e-12)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"method": "clopper"}, 'did you mean "clopper-pearson"'),
        ({"method": "bayes"}, "use one of"),
        ({"level": 95}, "between 0 and 1"),
        ({"sides": "both"}, "two, upper or lower"),
    ],
)
def test_impossible_questions_are_told(arguments, says):
    with pytest.raises(UseError, match=says):
        proportion_interval(1, 10, **arguments)


def test_more_rejected_than_examined_is_told():
    with pytest.raises(UseError, match="between 0 and examined"):
        proportion_interval(11, 10)
