import numpy as np
import pytest
from scipy import stats

from ndtstats.statistics.negative_binomial import sum_probabilities


def test_one_count_is_scipys_negative_binomial():
    # scipy.stats.nbinom, of mean shape x odds.
    known = sum_probabilities(np.array([0.5]), np.array([[40.0]]), np.ones(1))
    expected = stats.nbinom.pmf(np.arange(len(known)), 0.5, 1 / 41)
    np.testing.assert_allclose(known, expected, atol=1e-11)


def test_a_sum_of_unlike_counts_is_their_convolution():
    # numpy.convolve of scipy's probabilities: another way to the same sum.
    shape, odds = np.array([0.7, 2.0, 11.0]), np.array([3.0, 0.2, 0.9])
    known = sum_probabilities(shape, odds[None, :], np.ones(1))
    count = np.arange(len(known))
    expected = np.array([1.0])
    for r, o in zip(shape, odds, strict=True):
        expected = np.convolve(expected, stats.nbinom.pmf(count, r, 1 / (1 + o)))[: len(known)]
    np.testing.assert_allclose(known, expected, atol=1e-11)


def test_a_mixture_is_the_weighted_mean_of_its_parts():
    shape = np.array([1.5, 3.0])
    odds = np.array([[0.1, 0.4], [5.0, 9.0]])
    weight = np.array([0.25, 0.75])
    both = sum_probabilities(shape, odds, weight)
    each = [sum_probabilities(shape, part[None, :], np.ones(1)) for part in odds]
    for known, share in zip(each, weight, strict=True):
        both[: len(known)] -= share * known[: len(both)]
    np.testing.assert_allclose(both, 0, atol=1e-10)


def test_nothing_expected_is_surely_nothing():
    assert sum_probabilities(np.ones(2), np.zeros((1, 2)), np.ones(1)).tolist() == [1.0]


@pytest.mark.parametrize("odds", [1e-6, 0.3, 200.0, 30_000.0])
def test_what_lies_beyond_the_grid_is_next_to_nothing(odds):
    shape = np.array([0.5, 4.0])
    known = sum_probabilities(shape, np.full((1, 2), odds), np.ones(1))
    # Equal odds: the sum is one negative binomial of shape 4.5.
    assert stats.nbinom.sf(len(known) - 1, 4.5, 1 / (1 + odds)) < 1e-10
    assert known.sum() == pytest.approx(1, abs=1e-10)
    assert known @ np.arange(len(known)) == pytest.approx(4.5 * odds, rel=1e-5)


def test_too_long_a_distribution_is_declined():
    assert sum_probabilities(np.array([0.5]), np.array([[1e8]]), np.ones(1)) is None


@pytest.mark.parametrize("odds", [(0.3, 0.05), (0.9, 0.2), (4.0, 0.5)])
def test_a_long_sum_of_many_counts_is_the_convolution_of_two(odds):
    # Counts of equal odds are one of their shapes together; numpy.convolve of scipy's two.
    shape = np.concatenate([np.full(2000, 1.5), np.full(1000, 4.0)])
    each = np.concatenate([np.full(2000, odds[0]), np.full(1000, odds[1])])
    known = sum_probabilities(shape, each[None, :], np.ones(1))
    count = np.arange(len(known))
    two = [stats.nbinom.pmf(count, 3000 if o == odds[0] else 4000, 1 / (1 + o)) for o in odds]
    expected = np.convolve(*two)[: len(known)]
    np.testing.assert_allclose(known, expected, atol=1e-12)
    at = int(np.searchsorted(np.cumsum(expected), 0.9))
    assert int(np.searchsorted(np.cumsum(known), 0.9)) == at > 1000


def test_a_long_mixture_of_many_counts_is_the_weighted_mean_of_its_parts():
    shape, weight = np.full(500, 2.0), np.array([0.4, 0.6])
    odds = np.stack([np.full(500, 0.4), np.full(500, 0.45)])
    known = sum_probabilities(shape, odds, weight)
    count = np.arange(len(known))
    parts = zip(weight, odds, strict=True)
    expected = sum(w * stats.nbinom.pmf(count, 1000, 1 / (1 + o[0])) for w, o in parts)
    np.testing.assert_allclose(known, expected, atol=1e-12)
