import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance import accept_probability, bad_in_lot

# Six places: a probability of 1e-308 overflows the library's binomial, and means nothing here.
SHARES = st.floats(0, 1).map(lambda share: round(share, 6))


def test_published_operating_characteristics(reference):
    # NIST/SEMATECH e-Handbook 6.2.3.2; Montgomery ch. 15; Kiermeier 2008: source in each row.
    table = reference("oc_single.csv")
    rows = table[table["model"] == "binomial"]
    assert len(rows) >= 25
    passed = accept_probability(rows["p"], rows["n"], rows["c"])
    np.testing.assert_allclose(passed, rows["value"], rtol=1e-10)
    assert np.all(np.abs(passed - rows["published"]) <= rows["tolerance"])


def test_published_detection_by_an_imperfect_examination(reference):
    # Cameron & Baldock 1998; Martin et al. 1992; Dohoo et al. 2003 p. 113, as quoted by the
    # documentation of epiR: source in each row. The two rows made with MacDiarmid's approximation
    # have one bad animal, for which it is exact.
    rows = reference("imperfect_inspection_detection.csv")
    assert len(rows) == 7
    for row in rows.itertuples():
        below = accept_probability(
            row.design_rate,
            row.n,
            row.positives_to_signal - 1,
            lot=None if np.isnan(row.N) else row.N,
            detection=row.sensitivity,
            false_call=1 - row.specificity,
        )
        chance = below if row.case == "herdtest_spec" else 1 - below
        assert float(chance) == pytest.approx(row.value, rel=1e-10)
        assert round(float(chance), row.decimals) == row.published


# Computed for the project's notes on trade practice: what a 5 % or 10 % sample does not see.
@pytest.mark.parametrize(
    ("lot", "bad", "examined", "chance"),
    [(100, 5, 5, 0.77), (100, 5, 10, 0.58), (50, 2, 5, 0.81), (20, 1, 2, 0.90)],
)
def test_a_small_sample_sees_nothing(lot, bad, examined, chance):
    assert round(float(accept_probability(bad / lot, examined, lot=lot)), 2) == chance


def enumerated(lot, bad, examined, allowed, detection, false_call):
    """Probability of at most ``allowed`` rejects, over all samples and all readings of them."""
    total, samples = 0.0, list(itertools.combinations(range(lot), examined))
    for sample in samples:
        rejects = np.array([1.0])
        for place in sample:
            p = detection if place < bad else false_call
            rejects = np.convolve(rejects, [1 - p, p])
        total += rejects[: allowed + 1].sum()
    return total / len(samples)


@pytest.mark.parametrize("allowed", [0, 1, 3])
@pytest.mark.parametrize(("detection", "false_call"), [(1, 0), (0.8, 0), (0.7, 0.1), (0, 0.2)])
def test_a_finite_lot_agrees_with_all_its_samples(allowed, detection, false_call):
    for bad, examined in [(0, 4), (1, 4), (3, 4), (3, 9), (9, 6)]:
        passed = accept_probability(
            bad / 9, examined, allowed, lot=9, detection=detection, false_call=false_call
        )
        known = enumerated(9, bad, examined, allowed, detection, false_call)
        assert float(passed) == pytest.approx(known, rel=1e-12)


def test_misses_in_a_large_lot_lose_nothing_by_leaving_out_what_is_impossible():
    # All 20,001 numbers of bad places summed one by one, against the few that matter.
    lot, bad, examined = 400_000, 20_000, 5_000
    x = np.arange(bad + 1)
    known = stats.hypergeom.pmf(x, lot, bad, examined) @ stats.binom.cdf(180, x, 0.8)
    passed = accept_probability(bad / lot, examined, 180, lot=lot, detection=0.8)
    assert float(passed) == pytest.approx(float(known), rel=1e-12)


def test_arrays_broadcast_and_agree_with_one_by_one():
    rate, examined = np.array([0.0, 0.02, 0.3])[:, None], np.array([10, 40])
    together = accept_probability(rate, examined, 1, lot=[50, 400], detection=0.9)
    assert together.shape == (3, 2)
    for i, j in itertools.product(range(3), range(2)):
        alone = accept_probability(rate[i, 0], examined[j], 1, lot=[50, 400][j], detection=0.9)
        assert together[i, j] == pytest.approx(float(alone), rel=1e-13)


@given(st.lists(SHARES, min_size=2, max_size=20), st.integers(1, 200), SHARES, st.booleans())
def test_passing_falls_as_the_rate_rises(rates, examined, detection, finite):
    lot = 200 if finite else None
    passed = accept_probability(np.sort(rates), examined, 1, lot=lot, detection=detection)
    assert np.all(np.diff(passed) <= 1e-12)


@settings(deadline=None)
@given(SHARES, st.integers(0, 30), st.integers(0, 5), SHARES, SHARES)
def test_a_large_lot_is_a_stream(rate, examined, allowed, detection, false_call):
    lot = 10**6
    settings = {"detection": detection, "false_call": false_call}
    rate = float(bad_in_lot(rate, lot)) / lot
    finite = accept_probability(rate, examined, allowed, lot=lot, **settings)
    # Total variation between drawing with and without replacement: n (n - 1) / (2 N), Freedman
    # 1977.
    np.testing.assert_allclose(
        finite, accept_probability(rate, examined, allowed, **settings), atol=30 * 29 / (2 * lot)
    )


@given(st.integers(1, 2000).flatmap(lambda lot: st.tuples(st.integers(0, lot), st.just(lot))))
def test_a_whole_number_of_a_lot_stays_that_number(pair):
    bad, lot = pair
    assert bad_in_lot(bad / lot, lot) == bad


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"rate": 5, "examined": 10}, "5 % is 0.05"),
        ({"rate": -0.1, "examined": 10}, "between 0 and 1"),
        ({"rate": float("nan"), "examined": 10}, "between 0 and 1"),
        ({"rate": 0.1, "examined": 10.5}, "whole number"),
        ({"rate": 0.1, "examined": 30, "lot": 20}, "30 cannot be examined in a lot of 20"),
        ({"rate": 0.1, "examined": 3, "detection": 1.2}, "detection 1.2"),
        ({"rate": 0.1, "examined": 3, "lot": 0}, "at least 1"),
    ],
)
def test_impossible_questions_are_told(arguments, says):
    with pytest.raises(UseError, match=says):
        accept_probability(**arguments)
