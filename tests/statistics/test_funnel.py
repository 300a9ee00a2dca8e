import numpy as np
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics import funnel_limits, overdispersion
from ndtstats.statistics.funnel import chance_of_so_far, interpolated_limit


def test_limits_by_the_published_formula(reference):
    # Spiegelhalter 2005 Stat Med 24:1185 Appendix A.1.1, by R.
    for p, rows in reference("funnel_limits.csv").groupby("p"):
        limit = interpolated_limit(rows["n"], rows["theta"], p)
        np.testing.assert_allclose(limit, rows["value_limit"], rtol=1e-9)


def test_limits_of_large_groups_are_the_normal_ones():
    # The usual approximation, centre ± z standard errors.
    lower, upper = funnel_limits(10**6, 0.2, level=0.998)
    half = stats.norm.ppf(0.999) * np.sqrt(0.16 / 10**6)
    assert float(lower) == pytest.approx(0.2 - half, rel=1e-4)
    assert float(upper) == pytest.approx(0.2 + half, rel=1e-4)


def test_limits_stay_within_what_can_be():
    lower, upper = funnel_limits([1, 5, 50], [0.02, 0.98, 0.0], level=0.998)
    assert np.all((lower >= 0) & (upper <= 1))
    assert (lower[2], upper[2]) == (0.0, 0.0)


def test_the_funnel_narrows():
    lower, upper = funnel_limits(np.arange(50, 2000, 50), 0.1)
    assert upper[0] - lower[0] > upper[-1] - lower[-1]


@pytest.mark.parametrize(
    ("k", "n", "theta"), [(5, 20, 0.05), (0, 90, 0.05), (7, 7, 0.6), (3, 60, 0.05)]
)
def test_the_chance_of_so_far_is_twice_the_smaller_tail(k, n, theta):
    # scipy.stats.binom tails.
    known = 2 * min(stats.binom.cdf(k, n, theta), stats.binom.sf(k - 1, n, theta))
    assert float(chance_of_so_far(k, n, theta)) == pytest.approx(min(known, 1), rel=1e-9)


def test_unequal_rates_of_one_mean_are_no_more_likely_so_far_out():
    # Hoeffding 1956, here by enumeration: 30 spots at 1 % and 30 at 9 % against 60 at 5 %.
    law = np.convolve(
        stats.binom.pmf(np.arange(31), 30, 0.01), stats.binom.pmf(np.arange(31), 30, 0.09)
    )
    for k in range(5, 12):
        assert 2 * law[k:].sum() <= chance_of_so_far(k, 60, 0.05)


def test_overdispersion_of_the_rat_tumours(reference):
    # Spiegelhalter 2005 Qual Saf Health Care 14:347 on Tarone's data, by R.
    rats = reference("shrinkage_rats.csv")
    expected = reference("funnel_overdispersion_expected.csv").set_index("quantity")["value"]
    spread = overdispersion(
        rats["tumours"], rats["rats"], rats["tumours"].sum() / rats["rats"].sum()
    )
    assert spread.plain == pytest.approx(expected["phi_unwinsorised"], rel=1e-9)
    assert spread.winsorised == pytest.approx(expected["phi_winsorised_10pct_type7"], rel=1e-9)
    assert spread.between == pytest.approx(expected["tau2_additive_from_winsorised"], rel=1e-9)


def test_one_group_has_no_spread():
    assert np.isnan(overdispersion([3], [30], 0.1).winsorised)


def test_an_impossible_centre_is_told():
    with pytest.raises(UseError, match="centre"):
        funnel_limits([20], 5)
