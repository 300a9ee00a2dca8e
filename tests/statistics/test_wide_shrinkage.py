import numpy as np
import pytest
from scipy import integrate, stats

from ndtstats.errors import UseError
from ndtstats.statistics.hierarchy import LikelyPriors, likely_priors
from ndtstats.statistics.shrinkage import Prior, fit_beta_binomial, fit_gamma_poisson, shrunk
from ndtstats.statistics.wide_shrinkage import (
    LikelyShares,
    likely_shares,
    shrunk_shares_widely,
    shrunk_widely,
)


def test_one_certain_prior_gives_the_conjugate_posterior():
    # Gelman et al., Bayesian Data Analysis, 2.6 (from memory): Gamma(a + k, b + m); scipy's gamma.
    count, metres = np.array([0, 8, 3]), np.array([10.0, 20.0, 0.0])
    certain = LikelyPriors(np.ones(1), np.array([2.0]), np.array([20.0]))
    table = shrunk_widely(count, metres, priors=certain, level=0.9, limit=0.2)
    law = stats.gamma(2.0 + count, scale=1 / (20.0 + metres))
    np.testing.assert_allclose(table["value"], law.mean())
    np.testing.assert_allclose(table["lower"], law.ppf(0.05), rtol=1e-8)
    np.testing.assert_allclose(table["upper"], law.ppf(0.95), rtol=1e-8)
    np.testing.assert_allclose(table["above"], law.sf(0.2), rtol=1e-9)
    known = shrunk(count, metres, Prior("gamma", 2.0, 20.0, 0.1, 3, 0.0, 0.0), level=0.9, limit=0.2)
    np.testing.assert_allclose(table, known, rtol=1e-8)


def test_one_certain_prior_of_shares_gives_the_conjugate_posterior():
    # Gelman et al., 2.4 (from memory): Beta(a + k, b + n - k); scipy's beta.
    count, number = np.array([0, 8, 20]), np.array([10, 20, 20])
    certain = LikelyShares(np.ones(1), np.array([2.0]), np.array([30.0]))
    table = shrunk_shares_widely(count, number, priors=certain, level=0.9, limit=0.2)
    law = stats.beta(2.0 + count, 30.0 + number - count)
    np.testing.assert_allclose(table["value"], law.mean())
    np.testing.assert_allclose(table["lower"], law.ppf(0.05), rtol=1e-8)
    np.testing.assert_allclose(table["upper"], law.ppf(0.95), rtol=1e-8)
    np.testing.assert_allclose(table["above"], law.sf(0.2), rtol=1e-9)
    np.testing.assert_allclose(table["weight"], number / (32.0 + number))


@pytest.mark.parametrize("level", [0.5, 0.95, 0.999])
def test_the_bounds_leave_the_tails_of_the_mixture(level):
    # The mixtures' distributions by scipy, from what no reject at all to many leaves.
    count, metres = np.array([0, 0, 1, 40, 3]), np.array([0.5, 300.0, 2.0, 20.0, 7.0])
    priors = likely_priors(count, metres)
    scale = 1 / (priors.length_m[:, None] + metres)
    gamma = stats.gamma(priors.shape[:, None] + count, scale=scale)
    number = np.array([1, 300, 2, 45, 30])
    shares = likely_shares(count, number)
    beta = stats.beta(shares.a[:, None] + count, shares.b[:, None] + number - count)
    for table, weight, law in (
        (shrunk_widely(count, metres, level=level), priors.weight, gamma),
        (shrunk_shares_widely(count, number, level=level), shares.weight, beta),
    ):
        for bound, tail in (("lower", law.cdf), ("upper", law.sf)):
            left = weight @ tail(table[bound].to_numpy())
            np.testing.assert_allclose(left, (1 - level) / 2, rtol=1e-7)


def test_posterior_shares_agree_with_adaptive_quadrature():
    # scipy.integrate.dblquad over ln(spread) and the logit of the mean, scipy.stats.betabinom.
    count, number = np.array([0, 5, 1, 9]), np.array([20, 30, 15, 25])

    def density(logit, log_spread):
        mean, spread = 1 / (1 + np.exp(-logit)), np.exp(log_spread)
        both = spread / min(mean, 1 - mean)
        chance = stats.betabinom.pmf(count, number, mean * both, (1 - mean) * both).prod()
        return chance * np.sqrt(mean * (1 - mean)) * spread / (1 + spread) ** 2

    def weighed(logit, log_spread, i):
        mean = 1 / (1 + np.exp(-logit))
        both = np.exp(log_spread) / min(mean, 1 - mean)
        return density(logit, log_spread) * (mean * both + count[i]) / (both + number[i])

    ends = (np.log(0.2), np.log(500.0), -6.0, 3.0)
    whole = integrate.dblquad(density, *ends, epsabs=1e-14, epsrel=1e-3)[0]
    table = shrunk_shares_widely(count, number)
    for i in (0, 3):
        known = integrate.dblquad(
            lambda m, s, i=i: weighed(m, s, i), *ends, epsabs=1e-14, epsrel=1e-3
        )
        # A grid of 14 spreads and 19 means: 1 % is far below what 15 rejects can tell (26 %).
        assert table["value"][i] == pytest.approx(known[0] / whole, rel=1e-2)


def test_rare_rejects_are_told_alike_as_shares_and_as_rates():
    # The beta-binomial of rare rejects is the negative binomial (from memory).
    count, number = np.array([0, 3, 1, 8, 2]), np.full(5, 40_000)
    shares, rates = shrunk_shares_widely(count, number), shrunk_widely(count, number)
    for column in ("value", "lower", "upper"):
        np.testing.assert_allclose(shares[column], rates[column], rtol=5e-3)


def test_groups_that_look_alike_leave_an_interval_with_width():
    count, metres = np.array([2, 2, 3, 2]), np.full(4, 10.0)
    plugged = shrunk(count, metres, fit_gamma_poisson(count, metres))
    assert (plugged["upper"] == plugged["lower"]).all()
    alike = fit_beta_binomial(count, metres)
    assert alike.alike
    for wide in (shrunk_widely(count, metres), shrunk_shares_widely(count, metres)):
        assert (wide["lower"] < 0.8 * wide["value"]).all()
        assert (wide["upper"] > 1.2 * wide["value"]).all()


def test_shares_stay_shares_whatever_was_found():
    for count in ([0, 0, 0], [5, 5, 5], [0, 5, 0], [0, 0, 5000]):
        table = shrunk_shares_widely(count, [5, 5, 5000])
        assert ((table["lower"] > 0) & (table["upper"] < 1)).all()
        assert (table["lower"] < table["value"]).all()
        assert (table["value"] < table["upper"]).all()


def test_nothing_examined_anywhere_is_refused():
    for question in (shrunk_widely, shrunk_shares_widely):
        with pytest.raises(UseError, match="nothing was examined"):
            question([0, 0], [0, 0])
