import numpy as np
import pytest
from scipy import integrate, stats

from ndtstats.errors import UseError
from ndtstats.statistics.wide_ranks import ranks_widely
from ndtstats.statistics.wide_shrinkage import LikelyShares


def test_two_groups_are_ranked_as_often_as_the_integral_says():
    weight, a, b = np.array([0.3, 0.7]), np.array([0.5, 4.0]), np.array([5.0, 20.0])
    k, n = np.array([3, 1]), np.array([30, 25])
    chance = 0.0
    for w, first, second in zip(weight, a, b, strict=True):
        x, y = (stats.beta(first + k[i], second + n[i] - k[i]) for i in (0, 1))
        chance += w * integrate.quad(lambda t, x=x, y=y: x.pdf(t) * y.cdf(t), 0, 1)[0]
    found = ranks_widely(k, n, seed=5, priors=LikelyShares(weight, a, b), replicates=200_000)
    # Four standard errors of the simulation.
    assert found["worst"].iloc[0] == pytest.approx(chance, abs=4 * 0.5 / np.sqrt(200_000))
    assert found["rank"].iloc[0] == pytest.approx(2 - found["worst"].iloc[0])


def test_one_of_six_exceeds_all_others_as_often_as_quadrature_says():
    k, n = np.array([0, 1, 9, 2, 14, 0]), np.full(6, 40)
    prior = LikelyShares(np.array([1.0]), np.array([0.8]), np.array([6.0]))
    found = ranks_widely(k, n, seed=3, priors=prior, replicates=100_000)
    assert found["rank"].sum() == pytest.approx(21)
    assert found["worst"].sum() == pytest.approx(1)
    assert found["worst"].idxmax() == 4
    grid = np.linspace(0, 1, 20_001)
    after = stats.beta(0.8 + k, 6.0 + n - k)
    others = np.prod(np.delete(after.cdf(grid[:, None]), 4, axis=1), axis=1)
    exact = np.trapezoid(after.pdf(grid[:, None])[:, 4] * others, grid)
    # The density is infinite at 0 where nothing was rejected, but not that of the fifth group.
    assert found["worst"][4] == pytest.approx(exact, abs=4 * 0.5 / np.sqrt(100_000))


def test_groups_alike_share_all_ranks():
    found = ranks_widely([2] * 4, [40] * 4, seed=1)
    assert found[["lower", "upper"]].to_numpy().tolist() == [[1, 4]] * 4
    assert found["worst"].to_numpy() == pytest.approx(0.25, abs=0.02)
    assert found["rank"].sum() == pytest.approx(10)


def test_a_seed_repeats_and_nothing_examined_is_refused():
    first, again = (ranks_widely([1, 3], [9, 9], seed=2)["worst"].tolist() for _ in range(2))
    assert first == again
    with pytest.raises(UseError, match="nothing was examined"):
        ranks_widely([0, 0], [0, 0], seed=1)
