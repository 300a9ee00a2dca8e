"""A short version of the calibration study, and the study itself against what is known exactly.

Tolerances of simulated shares are four binomial standard errors, of the yards where what belongs to
one yard is not independent.
"""

import sys
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.simulation import calibration
from ndtstats.simulation.calibration import (
    as_markdown,
    calibrate,
    completed_lots,
    hidden_coverage,
    interval_coverage,
    make_yards,
    plans,
    shrunken_coverage,
)
from ndtstats.simulation.calibration.__main__ import main
from ndtstats.simulation.calibration.designed import design_coverage, pooled_bias
from ndtstats.simulation.calibration.exact import (
    lot_coverage,
    proportion_coverage,
    rate_coverage,
)
from ndtstats.simulation.calibration.signals import (
    chart_alarms,
    comparison_alarms,
    confounded_alarms,
    cusum_alarms,
)
from ndtstats.simulation.calibration.tables import intervals
from ndtstats.simulation.calibration.yards import with_extras, with_targeted
from ndtstats.statistics import finite_lot_interval

DOCUMENT = Path(calibration.__file__).with_name("README.md")
YARDS = 400


@pytest.fixture(scope="module")
def yards():
    rng = np.random.default_rng(11)
    return {name: make_yards(planned, YARDS, rng) for name, planned in plans().items()}


def four_errors(share, number):
    return 4 * np.sqrt(share * (1 - share) / number)


# ------------------------------------------------------------------------ exact coverage


@pytest.mark.parametrize(("level", "limit"), [(0.90, 0.800), (0.95, 0.838), (0.99, 0.889)])
def test_wilsons_worst_case_is_the_published_one(level, limit):
    # Brown, Cai & DasGupta 2001, Stat. Sci. 16:101 (values from memory). By hand: with few rejects
    # expected, (1 - x)^2 = z^2 x gives the rate x below which one reject excludes it: exp(-x).
    z2 = stats.norm.ppf((1 + level) / 2) ** 2
    x = 1 + z2 / 2 - np.sqrt(z2 + z2**2 / 4)
    size = 50_000
    covered = proportion_coverage(
        size, np.array([0.9999 * x / size]), method="wilson", level=level, sides="two"
    )
    assert covered == pytest.approx(np.exp(-x), abs=2e-4)
    assert covered == pytest.approx(limit, abs=6e-4)


@pytest.mark.parametrize(("size", "rate"), [(10, 0.1), (50, 0.03), (7, 0.5)])
def test_coverage_of_clopper_pearson_agrees_with_scipy(size, rate):
    # scipy.stats.binomtest, count by count.
    inside = [
        stats.binom.pmf(k, size, rate)
        for k in range(size + 1)
        if (ci := stats.binomtest(k, size).proportion_ci(0.95)).low <= rate <= ci.high
    ]
    ours = proportion_coverage(
        size, np.array([rate]), method="clopper-pearson", level=0.95, sides="two"
    )
    assert ours == pytest.approx(sum(inside), rel=1e-9)


def test_coverage_of_garwood_agrees_with_chi_square():
    # Garwood 1936 in chi-square form (from memory): 2 x bounds are its quantiles.
    k = np.arange(60)
    lower = np.where(k > 0, stats.chi2.ppf(0.05, 2 * np.maximum(k, 1)) / 2, 0)
    upper = stats.chi2.ppf(0.95, 2 * k + 2) / 2
    known = stats.poisson.pmf(k, 3.7)[(lower <= 3.7) & (upper >= 3.7)].sum()
    assert rate_coverage(np.array([3.7]), level=0.9, sides="two") == pytest.approx(known, rel=1e-9)


def test_coverage_in_a_lot_agrees_with_all_its_samples():
    lot, examined = 8, 3
    known = []
    for bad in range(lot + 1):
        samples = list(combinations(range(lot), examined))
        seen = np.array([sum(place < bad for place in sample) for sample in samples])
        lower, upper = finite_lot_interval(seen, examined, lot, level=0.8)
        known.append(np.mean((lower <= bad) & (bad <= upper)))
    np.testing.assert_allclose(lot_coverage(lot, examined, level=0.8, sides="two"), known)


def test_exact_intervals_never_cover_less_often_than_they_say():
    # What Clopper & Pearson, Garwood and Konijn promise; the others promise it on average only.
    table = interval_coverage()
    kept = table["interval"].str.contains("clopper|Garwood|hyper")
    assert (table["worst"] >= table["level"] - 1e-9)[kept].all()
    assert (table["worst"] < table["level"])[~kept].all()
    assert (table["mean"] > table["level"] - 0.005).all()


# ------------------------------------------------------------------------ completed lots


def test_completed_lots_agree_with_all_lots_and_samples():
    # Every lot of five places, every sample of two: what is found, of how many, and the share.
    places, examined, rate = 5, 2, 0.3
    found = looked = own = sampled = 0.0
    samples = list(combinations(range(places), examined))
    for lot in product([0, 1], repeat=places):
        weight = rate ** sum(lot) * (1 - rate) ** (places - sum(lot)) / len(samples)
        for sample in samples:
            seen = sum(lot[place] for place in sample)
            of = places if seen else examined
            here = sum(lot) if seen else 0
            found, looked = found + weight * here, looked + weight * of
            own, sampled = own + weight * here / of, sampled + weight * seen / examined
    assert completed_lots(places, examined, [rate]) == pytest.approx((found / looked, own))
    assert own < 0.8 * rate
    assert sampled == pytest.approx(rate)


def test_lots_alike_pool_to_the_truth_and_unlike_ones_too_high():
    alike, _ = completed_lots(10, 2, [0.05])
    unlike, own = completed_lots(10, 2, [0.01, 0.09])
    assert alike == pytest.approx(0.05)
    assert unlike > 1.15 * 0.05
    assert own < 0.5 * 0.05


# ------------------------------------------------------------------------ planned yards


def test_yards_hold_what_their_rates_let_expect(yards):
    for made in yards.values():
        bad, chance = made.bad.mean(axis=1), made.chance_bad.mean(axis=1)
        assert abs((bad - chance).mean()) < 4 * (bad - chance).std() / np.sqrt(YARDS)
        events, expected = made.count.mean(axis=1), made.mean.mean(axis=1)
        assert abs((events - expected).mean()) < 4 * (events - expected).std() / np.sqrt(YARDS)


def test_places_aimed_at_are_new_and_of_the_greatest_risk(yards):
    made = yards["aluminium-hull"]
    aimed = with_targeted(made, 0.2, np.random.default_rng(1)) & ~made.drawn
    number = aimed.sum(axis=1)
    assert (number == number[0]).all()
    assert not aimed[:, ~made.planned.counts].any()
    risk = made.planned.factor * made.planned.frame.mm
    free = made.planned.counts & ~made.drawn & ~aimed
    least = np.where(aimed, risk, np.inf).min(axis=1)
    assert (np.where(free, risk, 0).max(axis=1) <= least * (1 + 2e-6)).all()


def test_only_lots_with_a_reject_get_extras(yards):
    made = yards["process-piping"]
    extra = with_extras(made, np.random.default_rng(1)) & ~made.drawn
    number = np.arange(made.planned.frame.lot.max() + 1)
    lots = np.equal.outer(made.planned.frame.lot, number).astype(int)
    of_lot = (made.drawn & made.bad) @ lots > 0
    got = extra @ lots > 0
    assert got[of_lot].all()
    assert not got[~of_lot].any()
    whole = (extra | made.drawn) @ lots == lots.sum(axis=0)
    assert whole.any()
    assert whole[of_lot].mean() < 0.5


def test_bounds_of_weighted_rates_cover_where_risk_and_rate_go_together(yards):
    for made in yards.values():
        table = design_coverage(made)
        assert (table["value"] > table["level"] - four_errors(table["level"], YARDS)).all()
        assert (table["reach"] > 1).all()


def test_weighted_rates_are_unbiased_and_careless_ones_are_not(yards):
    rng = np.random.default_rng(5)
    hull = pooled_bias(yards["aluminium-hull"], rng)
    piping = pooled_bias(yards["process-piping"], rng)
    for table in (hull, piping):
        right = table[table["way"] == "weighted"]
        assert (right["value"].abs() < 4 * right["standard_error"]).all()
    careless = hull[(hull["of"] == "yard") & (hull["way"] == "pooled")]
    assert (careless["value"] > 8 * careless["standard_error"]).all()
    assert careless["covered"].iloc[-1] < 0.5
    completed = piping["rests_on"] == "places drawn, extras and completed lots"
    own = piping[completed & (piping["of"] == "welder")].iloc[0]
    assert own["value"] < -8 * own["standard_error"]


# ------------------------------------------------------------------------ signals


def test_the_cusum_cries_wolf_as_often_as_its_run_length_says():
    false, named, nominal = cusum_alarms(150, np.random.default_rng(2))
    # A run cannot end at once, so that a few fewer alarms come than the exponential has it.
    assert nominal - 0.02 < false.value < nominal + 4 * false.standard_error
    assert named.value > 0.99


def test_charts_cry_wolf_no_oftener_than_three_sigma():
    for row in chart_alarms(80, np.random.default_rng(3)):
        assert row["false_alarms"] <= row["nominal"] + four_errors(row["nominal"], 80 * 24)
        assert row["named"] > 0.2


def test_comparisons_name_the_innocent_no_oftener_than_they_allow():
    for row in comparison_alarms(40, np.random.default_rng(4)):
        assert row["false_alarms"] <= row["nominal"] + four_errors(row["nominal"], 40)
        assert row["named"] > 0.3


def test_hard_work_makes_nobody_stand_out_once_it_is_allowed_for():
    careless, fair = confounded_alarms(30, np.random.default_rng(6))
    assert careless["false_alarms"] > 0.2
    assert fair["false_alarms"] <= 0.05 + four_errors(0.05, 30)


# ------------------------------------------------------------------------ priors


def test_shrunken_intervals_cover_with_an_uncertain_prior_only():
    table = shrunken_coverage(
        100, np.random.default_rng(7), levels=(0.90,), kinds=((4, 2.0), (10, 2.0))
    )
    wide = table[table["prior"] == "uncertain"]
    assert (wide["value"] > wide["level"] - 4 * wide["standard_error"]).all()
    few = table[(table["welders"] == 4) & (table["prior"] != "uncertain")]
    assert (few["upper"] < few["level"]).all()


def test_the_bound_on_what_is_hidden_covers_with_an_uncertain_prior():
    table = hidden_coverage(40, np.random.default_rng(8), levels=(0.90,), kinds=((12, 1.5, 3.0),))
    wide = table[table["prior"] == "uncertain"]
    assert (wide["value"] > 0.90 - four_errors(0.90, 40)).all()
    plugged = table[table["prior"] != "uncertain"]
    assert plugged["value"].mean() < wide["value"].mean()


# ------------------------------------------------------------------------ the study and its page


def test_the_study_is_told_in_tables_with_errors():
    study = calibrate(16, seed=1)
    text = as_markdown(study)
    assert text.count("\n## ") == 7
    assert "nan" not in text
    lines = [line for line in text.splitlines() if line.startswith("| process-piping | yard")]
    assert all(" ± " in line for line in lines)
    assert len(study.signals) == 8


def test_the_page_has_the_headings_and_the_exact_figures_of_the_study():
    page = DOCUMENT.read_text(encoding="utf-8")
    assert intervals(interval_coverage()) in page
    for title in ("Weighted rates of planned yards", "Bias of pooled rates", "Signals",
                  "What is hidden", "Shrunken rates of welders"):  # fmt: skip
        assert f"## {title}\n\n| " in page


def test_too_few_yards_are_refused(monkeypatch, capsys):
    with pytest.raises(UseError, match="3 yards tell nothing"):
        calibrate(3, seed=0)
    monkeypatch.setattr(sys, "argv", ["calibration", "--yards", "3"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "write 16 or more" in capsys.readouterr().err
