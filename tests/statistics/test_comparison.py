import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import confint_proportions_2indep

from ndtstats.errors import UseError
from ndtstats.statistics import false_discovery, proportion_difference_interval


def test_published_differences(reference):
    # Newcombe 1998 Stat Med 17:873 Table II, method 10.
    rows = reference("two_proportions_newcombe.csv")
    bounds = proportion_difference_interval(rows["x1"], rows["n1"], rows["x2"], rows["n2"])
    np.testing.assert_allclose(bounds.lower, rows["value_lower"], rtol=1e-9)
    np.testing.assert_allclose(bounds.upper, rows["value_upper"], rtol=1e-9)
    assert bounds.lower.round(4).tolist() == rows["published_lower"].tolist()
    assert bounds.upper.round(4).tolist() == rows["published_upper"].tolist()


def test_agrees_with_statsmodels():
    # confint_proportions_2indep(method="newcomb") at another level.
    known = confint_proportions_2indep(7, 60, 2, 45, compare="diff", method="newcomb", alpha=0.1)
    bounds = proportion_difference_interval(7, 60, 2, 45, level=0.9)
    assert (float(bounds.lower), float(bounds.upper)) == pytest.approx(known, rel=1e-9)


def test_nothing_examined_on_a_side_says_only_what_the_other_says():
    lower, upper = proportion_difference_interval([0, 5], [0, 10], [2, 0], [10, 0])
    assert np.all((lower >= -1) & (upper <= 1))
    assert np.all(upper - lower > 1)


def test_published_adjusted_p_values(reference):
    # Benjamini and Hochberg 1995 JRSS B 57:289.
    rows = reference("multiple_testing_bh1995.csv")
    adjusted = false_discovery(rows["p"])
    np.testing.assert_allclose(adjusted, rows["bh"], rtol=1e-10)
    assert (adjusted <= 0.05).astype(int).tolist() == rows["published_rejected_bh"].tolist()


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_agrees_with_scipy(p):
    np.testing.assert_allclose(false_discovery(p), stats.false_discovery_control(p), rtol=1e-12)


def test_a_missing_p_value_is_no_test():
    with_gap = false_discovery([0.01, np.nan, 0.04])
    assert np.isnan(with_gap[1])
    assert with_gap[[0, 2]].tolist() == false_discovery([0.01, 0.04]).tolist()


def test_an_impossible_p_value_is_told():
    with pytest.raises(UseError, match="between 0 and 1"):
        false_discovery([0.3, 1.2])
