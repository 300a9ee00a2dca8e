import numpy as np
import pytest
from scipy import stats

from ndtstats.statistics.shrinkage import (
    fit_beta_binomial,
    fit_gamma_poisson,
    moments_beta,
    shrunk,
)


@pytest.fixture(scope="module")
def rats(reference):
    return reference("shrinkage_rats.csv")


@pytest.fixture(scope="module")
def expected(reference):
    return reference("shrinkage_rats_expected.csv").set_index("quantity")["value"]


# Gelman et al., Bayesian Data Analysis, chapter 5: rat tumours (Tarone 1982); data and moments
# seen; maximum likelihood recomputed with VGAM.


def test_the_beta_prior_of_the_rats(rats, expected):
    prior = fit_beta_binomial(rats["tumours"], rats["rats"])
    assert prior.a == pytest.approx(expected["mle_alpha_71"], rel=1e-5)
    assert prior.b == pytest.approx(expected["mle_beta_71"], rel=1e-5)
    assert prior.mean == pytest.approx(expected["mle_mean"], rel=1e-6)
    assert prior.log_likelihood == pytest.approx(expected["loglik_betabinomial"], rel=1e-9)
    assert prior.log_likelihood_alike == pytest.approx(expected["loglik_binomial"], rel=1e-9)
    assert 1 / (prior.a + prior.b + 1) == pytest.approx(expected["mle_rho"], rel=1e-5)


def test_the_posteriors_of_the_rats(rats):
    prior = fit_beta_binomial(rats["tumours"], rats["rats"])
    table = shrunk(rats["tumours"], rats["rats"], prior)
    np.testing.assert_allclose(table["value"], rats["posterior_mean"], rtol=1e-5)
    np.testing.assert_allclose(table["lower"], rats["posterior_q025"], rtol=1e-4)
    np.testing.assert_allclose(table["upper"], rats["posterior_q975"], rtol=1e-4)


def test_moments_of_the_rats(rats, expected):
    earlier = (rats["tumours"] / rats["rats"])[:70]
    assert earlier.mean() == pytest.approx(expected["mean_70_rates"], rel=1e-9)
    a, b = moments_beta(earlier)
    assert a == pytest.approx(expected["moment_alpha_70"], rel=1e-9)
    assert b == pytest.approx(expected["moment_beta_70"], rel=1e-9)
    after = (a + rats["tumours"][70]) / (a + b + rats["rats"][70])
    assert after == pytest.approx(expected["posterior_mean_group71_moment"], rel=1e-9)


def test_the_gamma_prior_maximises_scipys_negative_binomial():
    rng = np.random.default_rng(5)
    metres = rng.uniform(2, 60, 80)
    count = rng.poisson(rng.gamma(1.5, 0.1 / 1.5, 80) * metres)
    prior = fit_gamma_poisson(count, metres)

    def likelihood(mean, shape):
        return stats.nbinom.logpmf(count, shape, shape / (shape + mean * metres)).sum()

    best = likelihood(prior.mean, prior.a)
    for mean, shape in [(1.01, 1), (0.99, 1), (1, 1.02), (1, 0.98)]:
        assert likelihood(prior.mean * mean, prior.a * shape) < best
    # The part without the prior is left out of both: only their difference can agree.
    pooled = stats.poisson.logpmf(count, count.sum() / metres.sum() * metres).sum()
    told = prior.log_likelihood - prior.log_likelihood_alike
    assert told == pytest.approx(best - pooled, rel=1e-9)


def test_the_spread_about_a_known_mean_is_found():
    rng = np.random.default_rng(7)
    expected = rng.uniform(3, 12, 4000)
    count = rng.poisson(rng.gamma(4.0, 1 / 4.0, 4000) * expected)
    prior = fit_gamma_poisson(count, expected, mean=1.0)
    assert prior.mean == 1.0
    # Its standard error is about 2 % with 4,000 groups of such size.
    assert prior.a == pytest.approx(4.0, rel=0.08)


def test_groups_without_spread_get_one_rate_and_it_is_said():
    # Exactly as many as expected everywhere: less spread than chance brings.
    prior = fit_gamma_poisson([5, 10, 15, 20], [50.0, 100.0, 150.0, 200.0])
    assert prior.alike
    assert "no more than chance" in prior.caveats[0]
    table = shrunk([5, 10], [50.0, 100.0], prior, limit=0.05)
    assert table["value"].tolist() == pytest.approx([0.1, 0.1])
    assert table["above"].tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    ("count", "exposure", "why"),
    [
        ([1, 5], [10, 10], "fewer than 3"),
        ([0, 0, 0, 0], [10, 10, 10, 10], "nothing was rejected"),
    ],
)
def test_too_little_to_tell_is_said(count, exposure, why):
    for fit in (fit_gamma_poisson, fit_beta_binomial):
        prior = fit(count, exposure)
        assert prior.alike
        assert why in prior.caveats[0]


def test_everything_rejected_is_said():
    assert "everything" in fit_beta_binomial([4, 4, 4], [4, 4, 4]).caveats[0]


def test_a_group_without_data_is_left_with_the_prior():
    prior = fit_gamma_poisson([0, 1, 9, 2, 14, 0, 0], [10, 10, 10, 10, 10, 10, 0])
    table = shrunk([0], [0.0], prior)
    assert prior.groups == 6
    assert table["value"][0] == pytest.approx(prior.mean)
    assert table["weight"][0] == 0


def test_shrinking_beats_the_raw_rates(reference):
    # Efron & Morris 1975: after 45 at bats the shrunk averages lie nearer to the rest of the season
    # (data seen; total squared error 0.077 against 0.022 with James-Stein, from memory).
    players = reference("shrinkage_baseball.csv")
    prior = fit_beta_binomial(players["hits"], players["at_bats"])
    if prior.alike:
        value = np.full(len(players), prior.mean)
    else:
        value = shrunk(players["hits"], players["at_bats"], prior)["value"]
    raw = players["hits"] / players["at_bats"]
    rest = players["rest_of_season"]
    assert ((value - rest) ** 2).sum() < 0.35 * ((raw - rest) ** 2).sum()


def test_posterior_intervals_cover_as_often_as_they_say_where_the_prior_is_well_known():
    rng = np.random.default_rng(11)
    truth = rng.gamma(2.0, 0.05, 4000)
    metres = rng.uniform(5, 50, 4000)
    count = rng.poisson(truth * metres)
    table = shrunk(count, metres, fit_gamma_poisson(count, metres), level=0.9)
    share = np.mean((table["lower"] <= truth) & (truth <= table["upper"]))
    # 4,000 intervals: a standard error of 0.5 %.
    assert share == pytest.approx(0.9, abs=0.015)
