import numpy as np
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics.tolerance import (
    lower_limit,
    normal_lower_limit,
    normal_share_below,
    order_for_limit,
    share_below,
    tolerance_factor,
)


# NIST/SEMATECH e-Handbook 7.2.6.3 (n = 43), and the tables of Hahn & Meeker, ISO 16269-6 and
# MIL-HDBK-17 (A and B basis factors): from memory.
@pytest.mark.parametrize(
    ("n", "share", "confidence", "k", "decimals"),
    [
        (43, 0.90, 0.99, 1.8740, 4),
        (5, 0.95, 0.95, 4.203, 3),
        (10, 0.90, 0.95, 2.355, 3),
        (10, 0.95, 0.95, 2.911, 3),
        (10, 0.99, 0.95, 3.981, 3),
        (20, 0.95, 0.95, 2.396, 3),
        (30, 0.95, 0.95, 2.220, 3),
        (50, 0.95, 0.95, 2.065, 3),
        (100, 0.95, 0.95, 1.927, 3),
    ],
)
def test_published_factors(n, share, confidence, k, decimals):
    assert round(float(tolerance_factor(n, share, confidence)), decimals) == k


def test_factors_agree_with_the_usual_approximation():
    # NIST/SEMATECH e-Handbook 7.2.6.3 (Natrella 1963): k = (z_p + sqrt(z_p^2 - a b)) / a.
    # Its example has 1.8752 for n = 43, 90 % with 99 %, from memory.
    n = np.array([43, 200, 1000])
    zp, zc = stats.norm.ppf(0.9), stats.norm.ppf(0.99)
    a, b = 1 - zc**2 / (2 * (n - 1)), zp**2 - zc**2 / n
    approximate = (zp + np.sqrt(zp**2 - a * b)) / a
    assert round(float(approximate[0]), 4) == 1.8752
    # An approximation by its own account: it is good to a part in a thousand.
    np.testing.assert_allclose(tolerance_factor(n, 0.9, 0.99), approximate, rtol=1e-3)


def test_the_normal_limit_is_passed_as_often_as_it_says():
    rng = np.random.default_rng(2)
    samples = rng.normal(50, 4, (4000, 12))
    limits = samples.mean(1) - float(tolerance_factor(12, 0.9, 0.95)) * samples.std(1, ddof=1)
    held = (stats.norm.sf(limits, 50, 4) >= 0.9).mean()
    assert abs(held - 0.95) < 4 * np.sqrt(0.0475 / 4000)
    assert normal_lower_limit(samples[0], share=0.9, confidence=0.95) == pytest.approx(limits[0])


# Sample sizes for the r-th shortest, 95 % with 95 % confidence: success-run tables, from memory;
# 299 is that of 99 % with 95 %.
@pytest.mark.parametrize(
    ("n", "share", "order"),
    [(59, 0.95, 1), (93, 0.95, 2), (124, 0.95, 3), (153, 0.95, 4), (181, 0.95, 5), (299, 0.99, 1),
     (29, 0.90, 1), (46, 0.90, 2)],
)  # fmt: skip
def test_known_sample_sizes_of_order_statistics(n, share, order):
    assert order_for_limit([n - 1, n], share, 0.95).tolist() == [order - 1, order]


def test_an_exact_tie_counts():
    # 1 - 0.5 ** 1 is 0.5 exactly: one measurement is a median bound with 50 % confidence.
    assert int(order_for_limit(1, 0.5, 0.5)) == 1
    # 1 - 0.9 ** 2 = 0.19.
    assert int(order_for_limit(2, 0.9, 0.19)) == 1


def test_limits_by_order_hold_for_any_distribution():
    rng = np.random.default_rng(3)
    samples = np.sort(rng.exponential(1.0, (4000, 100)), axis=1)
    order = int(order_for_limit(100, 0.9, 0.95))
    held = (np.exp(-samples[:, order - 1]) >= 0.9).mean()
    # The confidence reached is that of the beta distribution, by scipy.
    reached = stats.beta.cdf(0.1, order, 101 - order)
    assert reached >= 0.95
    assert abs(held - reached) < 4 * np.sqrt(reached * (1 - reached) / 4000)
    assert lower_limit(samples[0], share=0.9, confidence=0.95) == samples[0, order - 1]


def test_too_few_for_any_limit_are_told():
    with pytest.raises(UseError, match="measure 59 or more"):
        lower_limit(np.arange(58), share=0.95, confidence=0.95)
    lower_limit(np.arange(59), share=0.95, confidence=0.95)


def test_share_below_has_exact_bounds():
    # Clopper & Pearson by scipy; a bead of just the length is long enough.
    result = share_below([48.0, 50.0, 49.9, 55.0, np.nan, 60.0], 50.0)
    known = stats.binomtest(2, 5).proportion_ci(0.95)
    assert (result.below, result.measured) == (2, 5)
    assert (result.lower, result.upper) == pytest.approx(known, rel=1e-9)


@pytest.mark.parametrize("specified", [40.0, 46.0, 50.0, 58.0])
def test_normal_share_below_inverts_the_tolerance_limit(specified):
    # Where the share bound is u, the tolerance limit of the share 1 - u is the length itself.
    lengths = [52.0, 49.0, 51.0, 55.0, 50.0, 47.5, 53.0]
    estimate, upper = normal_share_below(lengths, specified, confidence=0.9)
    limit = normal_lower_limit(lengths, share=1 - upper, confidence=0.9)
    assert limit == pytest.approx(specified, rel=1e-6)
    assert estimate < upper
    assert estimate == pytest.approx(
        stats.norm.cdf(specified, np.mean(lengths), np.std(lengths, ddof=1)), rel=1e-9
    )


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: tolerance_factor(1, 0.9, 0.95), "2 measurements"),
        (lambda: tolerance_factor(9, 90, 0.95), "share must lie"),
        (lambda: tolerance_factor(9, 0.9, 95), "confidence must lie"),
        (lambda: share_below([], 50.0), "no length"),
        (lambda: normal_share_below([5.0, 5.0], 4.0), "that differ"),
    ],
)
def test_impossible_questions_are_told(make, says):
    with pytest.raises(UseError, match=says):
        make()
