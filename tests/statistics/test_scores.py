import numpy as np
import pytest
from scipy import stats
from scipy.signal import lfilter

from ndtstats.statistics.scores import binomial_scores


@pytest.mark.parametrize(("n", "p"), [(1, 0.05), (7, 0.3), (40, 0.02)])
def test_scores_are_normal_quantiles_of_mid_p(n, p):
    k = np.arange(n + 1)
    law = stats.binom(n, p)
    below, above = law.cdf(k) - law.pmf(k) / 2, law.sf(k) + law.pmf(k) / 2
    known = np.where(below < 0.5, stats.norm.ppf(below), stats.norm.isf(above))
    assert binomial_scores(k, n, p) == pytest.approx(known, rel=1e-7, abs=1e-9)


def test_the_unlikeliest_count_still_has_a_score():
    assert np.isfinite(binomial_scores([1000, 0], [1000, 1000], 0.01)).all()
    assert np.isfinite(binomial_scores([0], [10_000], 0.9)).all()


@pytest.mark.parametrize(("n", "p"), [(3, 0.1), (10, 0.05), (40, 0.1)])
def test_an_average_of_scores_signals_no_oftener_than_one_of_normals(n, p):
    # An EWMA of weight 0.2 and width 3 runs 560 points on average (Lucas & Saccucci 1990).
    counts = np.random.default_rng(4).binomial(n, p, (400, 2000))
    average = lfilter([0.2], [1, -0.8], binomial_scores(counts, n, p), axis=1)
    out = np.abs(average) > 3 * np.sqrt(0.2 / 1.8)
    run = np.where(out.any(axis=1), out.argmax(axis=1) + 1, 2000)  # cut off, hence short
    assert run.mean() > 500
