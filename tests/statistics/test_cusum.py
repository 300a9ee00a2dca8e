import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.statistics import BernoulliCusum, choose_cusum


@pytest.mark.parametrize("p", [0.01, 0.1, 0.5, 1.0])
def test_a_limit_one_reject_reaches_has_the_geometric_run_length(p):
    # Closed form: the first reject comes after 1 / p spots.
    for limit in (1, 19):
        chart = BernoulliCusum(0.02, 0.1, spots_per_reject=20, limit=limit)
        assert float(chart.run_length(p)) == pytest.approx(1 / p, rel=1e-12)


@pytest.mark.parametrize("p", [0.01, 0.1, 0.5])
def test_two_rejects_near_each_other_have_their_known_waiting_time(p):
    # Closed form: with limit m it takes a second reject within m - 1 spots of the one before:
    # 1 / p + 1 / (p (1 - q ** (m - 1))), the waiting time for two successes close together.
    m = 12
    chart = BernoulliCusum(0.02, 0.1, spots_per_reject=m, limit=m)
    known = 1 / p + 1 / (p * (1 - (1 - p) ** (m - 1)))
    assert float(chart.run_length(p)) == pytest.approx(known, rel=1e-10)


def stepped(chart, rejected):
    """The definition, one spot after the other."""
    value, values, signals = 0, [], []
    for bad in rejected:
        value = max(0, value + (chart.spots_per_reject - 1 if bad else -1))
        values.append(value)
        signals.append(value >= chart.limit)
        value = 0 if signals[-1] else value
    return np.array(values) / chart.spots_per_reject, signals


@pytest.mark.parametrize(("rate", "m", "limit"), [(0.02, 20, 47), (0.1, 20, 47), (0.05, 9, 30)])
def test_run_length_agrees_with_a_plain_simulation(rate, m, limit):
    chart = BernoulliCusum(0.02, 0.1, spots_per_reject=m, limit=limit)
    signals = chart.track(np.random.default_rng(6).random(300_000) < rate)["signal"]
    gaps = np.diff(np.flatnonzero(signals))
    error = gaps.std() / np.sqrt(len(gaps))
    assert abs(gaps.mean() - float(chart.run_length(rate))) < 4 * error


@given(
    st.lists(st.tuples(st.integers(0, 3), st.booleans()), max_size=120),
    st.integers(2, 9),
    st.integers(1, 25),
)
def test_many_welders_at_once_are_each_by_itself(spots, m, limit):
    chart = BernoulliCusum(0.01, 0.2, spots_per_reject=m, limit=limit)
    owner = np.array([who for who, _ in spots], dtype=int)
    rejected = np.array([bad for _, bad in spots], dtype=bool)
    known = chart.track(rejected, owner)
    for who in np.unique(owner):
        mine = known[owner == who]
        values, signals = stepped(chart, rejected[owner == who])
        assert mine["value"].tolist() == values.tolist()
        assert mine["signal"].tolist() == signals
        assert mine["number"].tolist() == list(range(1, len(mine) + 1))


def test_a_long_run_is_followed_across_its_stretches():
    chart = BernoulliCusum(0.02, 0.1, spots_per_reject=20, limit=95)
    rejected = np.random.default_rng(2).random(9000) < 0.05
    values, signals = stepped(chart, rejected)
    known = chart.track(rejected)
    assert known["value"].tolist() == values.tolist()
    assert known["signal"].tolist() == signals
    assert sum(signals) > 3


def test_weights_are_those_of_the_sequential_test():
    # Reynolds & Stoumbos 1999: gamma = r1 / r2; by hand for 1 % against 5 %.
    r1 = -np.log((1 - 0.05) / (1 - 0.01))
    r2 = np.log(0.05 * 0.99 / (0.01 * 0.95))
    chart = choose_cusum(0.01, 0.05, spots_between_false_alarms=500)
    assert chart.spots_per_reject == round(r2 / r1) == 40


@pytest.mark.parametrize("wanted", [1, 80, 500, 5000])
def test_the_limit_is_the_lowest_that_is_long_enough(wanted):
    chart = choose_cusum(0.02, 0.1, spots_between_false_alarms=wanted)
    assert float(chart.run_length(0.02)) >= wanted
    if chart.limit > 1:
        lower = BernoulliCusum(0.02, 0.1, chart.spots_per_reject, chart.limit - 1)
        assert float(lower.run_length(0.02)) < wanted


def test_the_worse_the_welder_the_sooner_the_signal():
    chart = choose_cusum(0.02, 0.1, spots_between_false_alarms=1000)
    assert np.all(np.diff(chart.run_length(np.linspace(0.01, 0.9, 40))) < 0)


def test_it_is_quicker_than_waiting_for_rejects_in_a_row():
    # At the same rate of false alarms, against the rule "two rejects within w spots".
    chart = choose_cusum(0.02, 0.1, spots_between_false_alarms=1000)

    def pair(p, w):
        return 1 / p + 1 / (p * (1 - (1 - p) ** w))

    w = max(w for w in range(1, 60) if pair(0.02, w) >= 1000)
    assert float(chart.run_length(0.1)) < pair(0.1, w)


def test_no_spot_gives_an_empty_table():
    table = BernoulliCusum(0.02, 0.1, 10, 20).track([])
    assert table.empty
    assert list(table.columns) == ["group", "number", "value", "limit", "signal"]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: choose_cusum(0.1, 0.02, spots_between_false_alarms=10), "below the bad rate"),
        (lambda: choose_cusum(0.02, 0.1, spots_between_false_alarms=0), "1 or more"),
        (lambda: BernoulliCusum(0.02, 0.1, 1, 5), "2 or more spots"),
        (lambda: BernoulliCusum(0.02, 0.1, 9, 5).run_length(0.0), "for a signal to come"),
    ],
)
def test_impossible_charts_are_told(make, says):
    with pytest.raises(UseError, match=says):
        make()
