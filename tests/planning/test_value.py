import numpy as np
import pytest
from scipy import stats

from ndtstats.planning.value import (
    Stakes,
    by_gain,
    left_in,
    spend,
    unnoticed,
    value_curve,
)


def made(rng, places=60, welders=5):
    return Stakes(
        welder=rng.integers(0, welders, places),
        bare=rng.uniform(0.01, 0.3, places),
        consequence=rng.choice([1.0, 2.0], places),
        exposures=rng.choice([1, 2], places),
        a=rng.uniform(1, 5, welders),
        b=rng.uniform(1, 5, welders),
        limit=np.full(welders, 1.5),
    )


def test_who_goes_unnoticed_is_as_in_simulation():
    rng = np.random.default_rng(1)
    rate = rng.gamma(2.0, 1 / 1.6, 400_000)
    nothing = rng.poisson(rate * 0.8) == 0
    seen = np.mean((rate > 1.5) & nothing)
    exact = unnoticed(2.0, 1.6, 1.5, 0.8)
    assert exact == pytest.approx(seen, abs=5 * np.sqrt(seen / 400_000))
    # Nothing looked at: the tail of the gamma itself.
    assert unnoticed(2.0, 1.6, 1.5, 0.0) == pytest.approx(stats.gamma.sf(1.5, 2.0, scale=1 / 1.6))


def gain_by_simulation(stakes, order, looked_at, rng, times=400_000):
    """Mean consequence found at each place, on welders of whom all before was clean."""
    rate = rng.gamma(stakes.a, 1 / stakes.b, (times, len(stakes.a)))
    clean = rng.poisson(rate * looked_at) == 0
    gains = []
    for place in order:
        who = stakes.welder[place]
        found = rng.poisson(rate[:, who] * stakes.bare[place])
        gains.append((found * clean[:, who]).mean() * stakes.consequence[place])
        clean[:, who] &= found == 0
    return np.array(gains) / stakes.exposures[order]


def test_the_gain_is_what_a_simulation_finds():
    rng = np.random.default_rng(3)
    stakes = made(rng, places=12, welders=3)
    looked_at = np.array([0.0, 0.5, 1.0])
    order, gain = by_gain(stakes, np.ones(12, bool), looked_at)
    seen = gain_by_simulation(stakes, order, looked_at, rng)
    np.testing.assert_allclose(gain, seen, rtol=0.06)


def test_gains_never_rise_and_equal_a_greedy_search():
    rng = np.random.default_rng(4)
    stakes = made(rng)
    free = rng.random(60) < 0.8
    looked_at = rng.uniform(0, 2, 5)
    order, gain = by_gain(stakes, free, looked_at)
    assert (np.diff(gain) <= 1e-15).all()
    assert sorted(order) == np.flatnonzero(free).tolist()
    seen, left, chosen = looked_at.copy(), set(np.flatnonzero(free)), []
    while left:

        def worth(place):
            who = stakes.welder[place]
            a, b = stakes.a[who], stakes.b[who] + seen[who]
            clean = (stakes.b[who] / b) ** a
            density = stakes.bare[place] * stakes.consequence[place] / stakes.exposures[place]
            return density * clean * a / b

        best = max(sorted(left), key=worth)
        chosen.append(worth(best))
        seen[stakes.welder[best]] += stakes.bare[best]
        left.remove(best)
    np.testing.assert_allclose(gain, chosen, rtol=1e-12)


def test_a_welder_of_whom_more_was_looked_at_is_worth_less():
    stakes = Stakes(
        welder=np.array([0, 1]), bare=np.array([0.1, 0.1]), consequence=np.ones(2),
        exposures=np.ones(2, int), a=np.full(2, 2.0), b=np.full(2, 2.0), limit=np.full(2, 2.0),
    )  # fmt: skip
    order, gain = by_gain(stakes, np.ones(2, bool), np.array([1.0, 0.0]))
    assert order.tolist() == [1, 0]
    assert gain[0] == pytest.approx(0.1)


def test_a_budget_is_kept_and_used_up_where_it_can_be():
    rng = np.random.default_rng(5)
    stakes = made(rng)
    for budget in (0, 1, 7, 30, 1000):
        places, _ = spend(stakes, np.ones(60, bool), np.zeros(5), budget)
        used = stakes.exposures[places].sum()
        assert used == min(budget, stakes.exposures.sum())
        assert len(set(places)) == len(places)


def test_the_curve_adds_up():
    rng = np.random.default_rng(6)
    stakes = made(rng)
    examined = np.zeros(60, bool)
    hidden = left_in(stakes, examined, 0.8)
    assert hidden == pytest.approx(stakes.expected().sum() / 0.8)
    order, _ = by_gain(stakes, ~examined, np.zeros(5))
    curve = value_curve(stakes, order, looked_at=np.zeros(5), hidden=hidden)
    assert curve["exposures"].iloc[-1] == stakes.exposures.sum()
    # All examined: what is left is what the examination misses.
    assert curve["hidden"].iloc[-1] == pytest.approx(hidden * 0.2)
    assert left_in(stakes, ~examined, 0.8) == pytest.approx(hidden * 0.2)
    assert (curve["caught"].diff().dropna() >= -1e-15).all()
    first = np.prod(1 - unnoticed(stakes.a, stakes.b, stakes.limit, 0.0))
    last = np.prod(1 - unnoticed(stakes.a, stakes.b, stakes.limit, stakes.looked_at(~examined)))
    assert curve["caught"].iloc[0] == pytest.approx(first)
    assert curve["caught"].iloc[-1] == pytest.approx(last)
