from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.planning.draw import (
    DRAWS,
    allocate,
    draw_pivotal,
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


@pytest.mark.parametrize("method", DRAWS)
@given(STRATA, st.integers(0, 2**32))
def test_draws_hit_the_number_in_every_stratum(method, strata, seed):
    size, codes, number = laid_out(strata)
    pi = inclusion_probabilities(size, codes, number)
    drawn = DRAWS[method](pi, codes, np.random.default_rng(seed))
    assert np.bincount(codes, drawn).astype(int).tolist() == number.tolist()
    assert drawn[pi == 1.0].all()


@given(STRATA, st.integers(0, 2**32), st.floats(0, 1))
def test_reserves_are_none_of_the_drawn_and_enough(strata, seed, share):
    size, codes, number = laid_out(strata)
    rng = np.random.default_rng(seed)
    pi = inclusion_probabilities(size, codes, number)
    drawn = draw_pivotal(pi, codes, rng)
    rank = draw_reserves(drawn, pi, codes, share, rng)
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


@pytest.mark.parametrize("method", DRAWS)
def test_frequencies_match_the_probabilities(method):
    rng = np.random.default_rng(20260301)
    size, codes = rng.gamma(2.0, size=40), np.repeat([0, 1], 20)
    pi = inclusion_probabilities(size, codes, [7, 4])
    times = 20_000
    # All draws at once, each with strata of its own.
    strata = (np.arange(times)[:, None] * 2 + codes).ravel()
    seen = DRAWS[method](np.tile(pi, times), strata, rng).reshape(times, 40).mean(axis=0)
    # Five standard errors of a binomial frequency: one false alarm in a million or so.
    error = np.sqrt(pi * (1 - pi) / times)
    assert np.all(np.abs(seen - pi) <= 5 * error + 1e-12)


def outcomes(pi):
    """Every sample of the pivotal draw with its probability, in exact fractions."""
    open_ = [number for number, p in enumerate(pi) if 0 < p < 1]
    if len(open_) < 2:
        return {tuple(round(p) for p in pi): Fraction(1)}
    pairs = list(zip(open_[::2], open_[1::2], strict=False))
    states = {tuple(pi): Fraction(1)}
    for i, j in pairs:
        after = {}
        for state, chance in states.items():
            a, b = state[i], state[j]
            both = a + b
            wins = (1 - b) / (2 - both) if both > 1 else a / both
            more, less = (Fraction(1), both - 1) if both > 1 else (both, Fraction(0))
            for first, second, part in ((more, less, wins), (less, more, 1 - wins)):
                new = list(state)
                new[i], new[j] = first, second
                after[tuple(new)] = after.get(tuple(new), 0) + chance * part
        states = after
    total = {}
    for state, chance in states.items():
        for sample, part in outcomes(state).items():
            total[sample] = total.get(sample, 0) + chance * part
    return total


# Kauermann & Kuechenhoff 2010, pp. 126-128: sizes of seven units, two to draw.
TOY = [Fraction(size, 156) * 20 for size in (18, 20, 32, 29, 15, 20, 22)]
TOY = [size / sum(TOY) * 2 for size in TOY]


def test_every_sample_of_the_pivotal_draw_comes_as_often_as_it_should():
    exact = outcomes(TOY)
    assert sum(exact.values()) == 1
    for unit, pi in enumerate(TOY):
        assert sum(chance for sample, chance in exact.items() if sample[unit]) == pi
    rng = np.random.default_rng(20260302)
    times = 40_000
    # All draws at once, each a stratum of its own.
    pi = np.tile([float(p) for p in TOY], times)
    drawn = draw_pivotal(pi, np.repeat(np.arange(times), 7), rng).reshape(times, 7)
    together = drawn.T.astype(float) @ drawn / times
    for i in range(7):
        for j in range(7):
            both = float(sum(p for sample, p in exact.items() if sample[i] and sample[j]))
            error = np.sqrt(both * (1 - both) / times)
            assert together[i, j] == pytest.approx(both, abs=5 * error + 1e-12)


def test_neighbours_are_drawn_together_less_often_than_by_maximum_entropy(reference):
    table = reference("pps_toy_joint_probabilities.csv")
    entropy = table[table["method"] == "max_entropy"].set_index(["i", "k"])["prob"]
    exact = outcomes(TOY)
    for first in (1, 3, 5):
        both = sum(p for sample, p in exact.items() if sample[first - 1] and sample[first])
        assert both < entropy[first, first + 1]


def test_the_pivotal_draw_has_no_period():
    # Twenty joints of five equal cells, one cell in five: systematic steps take the same cell of
    # every joint. The pivotal draw does not.
    pi, codes = np.full(100, 0.2), np.zeros(100, dtype=int)
    rng = np.random.default_rng(3)
    steps = draw_systematic(pi, codes, rng).reshape(20, 5).sum(axis=0)
    assert sorted(steps) == [0, 0, 0, 0, 20]
    most = [draw_pivotal(pi, codes, rng).reshape(20, 5).sum(axis=0).max() for _ in range(200)]
    assert max(most) < 20


def test_the_usual_variance_errs_on_the_wide_side_where_neighbours_are_alike():
    # Bad stretches along the walk. With-replacement variance of the Hansen-Hurwitz form.
    rng = np.random.default_rng(8)
    times, n, cells = 4000, 20, 400
    size = rng.uniform(0.8, 1.2, cells)
    bad = np.repeat(rng.random(cells // 20) < 0.3, 20) * rng.random(cells)
    pi = inclusion_probabilities(size, np.zeros(cells, int), [n])
    drawn = draw_pivotal(np.tile(pi, times), np.repeat(np.arange(times), cells), rng)
    at = drawn.reshape(times, cells)
    weighed = np.broadcast_to(bad / pi, at.shape)[at].reshape(times, n)
    total = weighed.sum(axis=1)
    usual = n * weighed.var(axis=1, ddof=1)
    assert total.mean() == pytest.approx(bad.sum(), abs=5 * total.std() / np.sqrt(times))
    assert usual.mean() > total.var()


def test_a_substituted_spot_carries_the_right_weight():
    # One spot in four cannot be reached; long cells are worse. Reserves stand in, in their order.
    rng = np.random.default_rng(12)
    times, cells, n = 30_000, 30, 8
    size = np.sort(rng.gamma(1.5, size=cells)) + 0.2
    bad = size**2
    one = inclusion_probabilities(size, np.zeros(cells, int), [n])
    pi, codes = np.tile(one, times), np.repeat(np.arange(times), cells)
    drawn = draw_pivotal(pi, codes, rng)
    rank = draw_reserves(drawn, pi, codes, 1.0, rng).reshape(times, cells)
    drawn = drawn.reshape(times, cells)
    chance = drawn & (one < 1)
    reached = chance & (rng.random((times, cells)) > 0.25)
    lacking = chance.sum(axis=1) - reached.sum(axis=1)
    stands_in = (rank > 0) & (rank <= lacking[:, None])
    assert stands_in.sum() == lacking.sum()
    used = reached | stands_in | (drawn & (one == 1))
    total = (used * bad / one).sum(axis=1)
    off = total.mean() / bad.sum() - 1
    assert abs(off) < 0.01
    # The weight of the spot that is replaced would be off by far more.
    order = np.argsort(~(chance & ~reached), axis=1, kind="stable")
    missing = np.take_along_axis(np.broadcast_to(1 / one, order.shape), order, axis=1)
    turn = np.where(stands_in, rank - 1, 0)
    theirs = np.take_along_axis(missing, turn, axis=1)
    wrong = ((reached | (drawn & (one == 1))) * bad / one + stands_in * bad * theirs).sum(axis=1)
    assert abs(wrong.mean() / bad.sum() - 1) > 0.02


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
