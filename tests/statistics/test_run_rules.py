import numpy as np
import pytest

from ndtstats.errors import UseError
from ndtstats.statistics.run_length import shewhart_run_length
from ndtstats.statistics.run_rules import (
    rules_run_length,
    rules_run_length_of_shares,
    run_rules,
)


def test_published_run_lengths(reference):
    # Champ & Woodall 1987, Technometrics 29:393, table 1; recomputed by an R Markov chain.
    table = reference("arl.csv")
    some = table[table["chart"].str.startswith("shewhart_rules_")]
    assert len(some) == 8
    for row in some.itertuples():
        rules = [int(digit) for digit in row.chart.removeprefix("shewhart_rules_")]
        value = rules_run_length(rules, shift=row.shift)
        assert value == pytest.approx(row.value, rel=1e-9)
        assert round(value, int(row.decimals)) == row.published


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_one_rule_alone_is_a_plain_chart(shift):
    assert rules_run_length([1], shift=shift) == pytest.approx(
        shewhart_run_length(3.0, shift), rel=1e-12
    )


def test_eight_on_one_side_by_hand():
    # Runs of one side of a fair coin: 8 in a row take 2^8 - 1 tosses on average.
    assert rules_run_length([4]) == pytest.approx(255, rel=1e-12)


def test_each_rule_signals_where_the_handbook_says():
    # By hand: 4 of 5 beyond 1; 8 on one side; a point on the other side does not signal itself.
    four = [1.2, 1.5, -0.2, 1.1, 1.3]
    assert run_rules(four, [3])[-1] == (3,)
    assert run_rules([*four[:-1], -1.3], [3])[-1] == ()
    assert run_rules([0.1] * 8, [4]) == [()] * 7 + [(4,)]
    assert run_rules([-0.1] * 4 + [0.2] + [-0.1] * 4, [4]) == [()] * 9
    assert run_rules([2.5, 0.0, -2.5], [2]) == [(), (), ()]


def test_a_month_without_a_value_is_no_point():
    assert run_rules([0.1] * 4 + [np.nan] + [0.1] * 4, [4])[-1] == (4,)
    assert run_rules([np.nan, 3.5]) == [(), (1,)]


def test_run_lengths_of_shares_are_those_of_their_signals():
    # Simulated months; 4 standard errors.
    rng, examined, centre, months = np.random.default_rng(8), 40, 0.05, 50_000
    share = rng.binomial(examined, centre, months) / examined
    score = (share - centre) / np.sqrt(centre * (1 - centre) / examined)
    runs, begin = [], 0
    # Rules look back 8 points at most: a run is followed in a window of its own.
    while begin + 300 < months:
        signals = run_rules(score[begin : begin + 300])
        first = next((place for place, found in enumerate(signals) if found), None)
        runs.append(300 if first is None else first + 1)
        begin += runs[-1]
    error = np.std(runs) / np.sqrt(len(runs))
    assert abs(np.mean(runs) - rules_run_length_of_shares(examined, centre)) < 4 * error


def test_with_many_spots_a_month_shares_are_nearly_normal():
    length = rules_run_length_of_shares(20_000, 0.5)
    assert length == pytest.approx(rules_run_length(), rel=0.02)


def test_with_few_rejects_a_month_run_rules_cry_wolf():
    # Why trends do without them: most months have no reject and lie below the centre.
    assert rules_run_length_of_shares(20, 0.03) < 0.5 * rules_run_length()


@pytest.mark.parametrize(
    "make", [lambda: run_rules([0.0], [5]), lambda: rules_run_length([]),
             lambda: rules_run_length_of_shares(0, 0.1), lambda: rules_run_length_of_shares(9, 1.0)]
)  # fmt: skip
def test_impossible_questions_are_told(make):
    with pytest.raises(UseError, match=r"run rules are|a p chart needs"):
        make()
