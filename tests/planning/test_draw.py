import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.planning.draw import (
    allocate,
    draw_reserves,
    draw_systematic,
    inclusion_probabilities,
)

STRATA = st.lists(
    st.lists(st.floats(0.01, 100.0), min_size=1, max_size=20).flatmap(
        lambda sizes: st.tuples(st.just(sizes), st.integers(0, len(sizes)))
    ),
    min_size=1,
    max_size=6,
)


def laid_out(strata):
    size = np.concatenate([sizes for sizes, _ in strata])
    codes = np.repeat(np.arange(len(strata)), [len(sizes) for sizes, _ in strata])
    return size, codes, np.array([number for _, number in strata])


@given(STRATA)
def test_probabilities_add_up_to_the_number(strata):
    size, codes, number = laid_out(strata)
    pi = inclusion_probabilities(size, codes, number)
    assert np.all((pi >= 0) & (pi <= 1))
    np.testing.assert_allclose(np.bincount(codes, pi), number, atol=1e-9)


@given(STRATA, st.integers(0, 2**32))
def test_draws_hit_the_number_in_every_stratum(strata, seed):
    size, codes, number = laid_out(strata)
    pi = inclusion_probabilities(size, codes, number)
    drawn = draw_systematic(pi, codes, np.random.default_rng(seed))
    assert np.bincount(codes, drawn).astype(int).tolist() == number.tolist()
    assert drawn[pi == 1.0].all()


@given(STRATA, st.integers(0, 2**32), st.floats(0, 1))
def test_reserves_are_none_of_the_drawn_and_enough(strata, seed, share):
    size, codes, number = laid_out(strata)
    rng = np.random.default_rng(seed)
    drawn = draw_systematic(inclusion_probabilities(size, codes, number), codes, rng)
    rank = draw_reserves(drawn, size, codes, share, rng)
    assert not (drawn & (rank > 0)).any()
    wanted = np.minimum(np.ceil(share * number - 1e-9), np.bincount(codes) - number)
    assert np.bincount(codes, rank > 0).tolist() == wanted.tolist()
    for stratum in range(len(strata)):
        ranks = np.sort(rank[(codes == stratum) & (rank > 0)])
        assert ranks.tolist() == list(range(1, len(ranks) + 1))


def test_published_probabilities(reference):
    # Kauermann & Kuechenhoff 2010, pp. 126-128: sizes of seven units, two to draw.
    table = reference("pps_toy_joint_probabilities.csv")
    pi = inclusion_probabilities([1.8, 2, 3.2, 2.9, 1.5, 2, 2.2], np.zeros(7, int), [2])
    first_order = table[(table["method"] == "sampford") & (table["i"] == table["k"])]
    np.testing.assert_allclose(pi, first_order["prob"], rtol=1e-10)


def test_joint_probabilities_of_the_systematic_draw(reference):
    # R sampling, UPsystematicpi2, in file order; here over a fine grid of random starts.
    class Start:
        def __init__(self, at):
            self.at = at

        def random(self, size):
            return np.full(size, self.at)

    table = reference("pps_toy_joint_probabilities.csv")
    rows = table[table["method"].str.contains("systematic")]
    assert len(rows) == 28
    pi = inclusion_probabilities([1.8, 2, 3.2, 2.9, 1.5, 2, 2.2], np.zeros(7, int), [2])
    starts = (np.arange(20_000) + 0.5) / 20_000
    draws = np.array([draw_systematic(pi, np.zeros(7, int), Start(at)) for at in starts])
    together = draws.T.astype(float) @ draws / len(starts)
    for row in rows.itertuples():
        # A grid of 20 000 starts misplaces each end of an interval by one point at most.
        assert together[row.i - 1, row.k - 1] == pytest.approx(row.prob, abs=4 / 20_000)


def test_frequencies_match_the_probabilities():
    rng = np.random.default_rng(20260301)
    size, codes = rng.gamma(2.0, size=40), np.repeat([0, 1], 20)
    pi = inclusion_probabilities(size, codes, [7, 4])
    times = 20_000
    seen = sum(draw_systematic(pi, codes, rng) for _ in range(times)) / times
    # Five standard errors of a binomial frequency: one false alarm in a million or so.
    error = np.sqrt(pi * (1 - pi) / times)
    assert np.all(np.abs(seen - pi) <= 5 * error + 1e-12)


@given(
    st.integers(0, 60),
    st.lists(st.tuples(st.floats(0, 1000), st.integers(0, 20)), min_size=1, max_size=8),
    st.integers(0, 3),
)
def test_allocation_keeps_the_least_and_the_sum(number, groups, least):
    length = np.array([size for size, _ in groups])
    cells = np.array([room for _, room in groups])
    given_to = allocate(number, length, cells, least)
    assert np.all(given_to <= cells)
    assert np.all(given_to >= np.minimum(cells, least))
    floor = int(np.minimum(cells, least).sum())
    assert int(given_to.sum()) == min(max(number, floor), int(cells.sum()))


def test_allocation_follows_length():
    assert allocate(10, [100, 300, 600], [50, 50, 50], 0).tolist() == [1, 3, 6]
