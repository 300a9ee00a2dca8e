"""The errors that are printed are those that repetition shows."""

import numpy as np
import pytest
from scipy import stats

from ndtstats.simulation.measures import mean, percentile, ratio, share


def test_a_share_of_independent_replicates_has_the_binomial_error():
    hit = np.repeat([1.0, 0.0], [300, 700])
    found = share(hit, np.ones(1000))
    assert found.value == pytest.approx(0.3)
    assert found.standard_error == pytest.approx(np.sqrt(0.3 * 0.7 / 999))
    exact = stats.binomtest(300, 1000).proportion_ci(0.95, method="exact")
    assert (found.lower, found.upper) == pytest.approx(tuple(exact), abs=2e-4)


def test_none_and_all_have_the_exact_bound():
    # 1 - 0.025^(1/50), by hand.
    none, full = share(np.zeros(50), np.ones(50)), share(np.ones(50), np.ones(50))
    assert (none.lower, none.upper) == pytest.approx((0.0, 1 - 0.025 ** (1 / 50)))
    assert (full.lower, full.upper) == pytest.approx((0.025 ** (1 / 50), 1.0))


def test_of_nothing_nothing_is_told():
    assert np.isnan(share(np.zeros(5), np.zeros(5)).value)


def test_a_mean_has_the_usual_error(rng):
    values = rng.normal(5, 2, 400)
    found = mean(values)
    assert found.value == pytest.approx(values.mean())
    assert found.standard_error == pytest.approx(stats.sem(values))


def test_the_error_of_a_ratio_is_what_repetition_shows(rng):
    # Denominators that vary with their numerators, as bad welders per yard do.
    of = rng.integers(0, 5, (600, 200)).astype(float)
    number = rng.binomial(of.astype(int), 0.4).astype(float)
    found = [ratio(n, o) for n, o in zip(number, of, strict=True)]
    spread = np.std([one.value for one in found], ddof=1)
    told = np.mean([one.standard_error for one in found])
    assert told == pytest.approx(spread, rel=0.1)  # spread itself is known within 3 %
    covered = np.mean([one.lower <= 0.4 <= one.upper for one in found])
    assert covered > 0.92


def test_the_interval_of_a_percentile_covers(rng):
    truth = stats.expon.ppf(0.95)
    found = [percentile(rng.exponential(size=300)) for _ in range(600)]
    covered = np.mean([one.lower <= truth <= one.upper for one in found])
    assert 0.93 < covered < 0.99
    assert np.mean([one.value for one in found]) == pytest.approx(truth, rel=0.05)
