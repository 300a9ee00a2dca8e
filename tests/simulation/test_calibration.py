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
from ndtstats.simulation.calibration.designed import (
    design_coverage,
    design_gains,
    pooled_bias,
)
from ndtstats.simulation.calibration.exact import (
    corrected_rate_coverage,
    difference_coverage,
    lot_coverage,
    proportion_coverage,
    rate_coverage,
)
from ndtstats.simulation.calibration.signals import (
    chart_alarms,
    comparison_alarms,
    confounded_alarms,
    cusum_alarms,
    joint_alarms,
)
from ndtstats.simulation.calibration.standing import rank_coverage, ratio_coverage
from ndtstats.simulation.calibration.tables import intervals
from ndtstats.simulation.calibration.trials import (
    corrected_coverage,
    detection_coverage,
    kappa_coverage,
    tolerance_coverage,
)
from ndtstats.simulation.calibration.yards import with_extras, with_targeted
from ndtstats.statistics import finite_lot_interval, proportion_difference_interval, true_rate

DOCUMENT = Path(calibration.__file__).with_name("README.md")
YARDS = 400


@pytest.fixture(scope="module")
def yards():
    rng = np.random.default_rng(11)
    return {name: make_yards(planned, YARDS, rng) for name, planned in plans().items()}


@pytest.fixture(scope="module")
def exact():
    return interval_coverage()


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


def test_exact_intervals_never_cover_less_often_than_they_say(exact):
    # What Clopper & Pearson, Garwood and Konijn promise; the others promise it on average only.
    table = exact
    kept = table["interval"].str.contains("clopper|Garwood|hyper|corrected")
    assert (table["worst"] >= table["level"] - 1e-9)[kept].all()
    assert (table["worst"] < table["level"])[~kept].all()
    assert (table["mean"] > table["level"] - 0.005).all()


def test_coverage_of_a_difference_agrees_with_all_pairs_of_counts():
    size, rates = (4, 6), np.array([0.2, 0.45])
    known = np.zeros((2, 2))
    for (i, p), (j, q) in product(enumerate(rates), repeat=2):
        for k, m in product(range(size[0] + 1), range(size[1] + 1)):
            lower, upper = proportion_difference_interval(k, size[0], m, size[1], level=0.9)
            if lower <= p - q <= upper:
                known[i, j] += stats.binom.pmf(k, size[0], p) * stats.binom.pmf(m, size[1], q)
    np.testing.assert_allclose(difference_coverage(size, rates, level=0.9), known, rtol=1e-12)


def test_coverage_of_a_corrected_rate_agrees_count_by_count():
    # A method that rejects 90 % of the bad and 5 % of the good.
    size, rate, known = 15, 0.1, 0.0
    for k in range(size + 1):
        found = true_rate(k, size, sensitivity=0.90, specificity=0.95, level=0.9)
        if found.lower <= rate <= found.upper:
            known += stats.binom.pmf(k, size, 0.9 * rate + 0.05 * (1 - rate))
    covered = corrected_rate_coverage(size, np.array([rate]), level=0.9)
    assert covered == pytest.approx(known, rel=1e-12)


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


def test_what_strata_and_a_finite_structure_change(yards):
    for made in yards.values():
        table = design_gains(made).set_index(["of", "design"])
        for of in ("yard", "welder"):
            alone, strata, finite = (row for _, row in table.loc[of].iterrows())
            assert alone["error"] == alone["width"] == 1.0
            # What lies between strata is no error of the rate, and what was examined none either.
            assert finite["error"] < strata["error"] < 1.02
            # The bounds are those of few spots all the same.
            assert 0.9 < finite["width"] <= strata["width"] * 1.005 < 1.05
            least = 0.95 - four_errors(0.95, YARDS)
            assert min(strata["welding"], strata["structure"], finite["structure"]) > least


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
    for row in comparison_alarms(25, np.random.default_rng(4)):
        assert row["false_alarms"] <= row["nominal"] + four_errors(row["nominal"], 25)
        assert row["named"] > 0.3


def test_spots_of_a_joint_make_nobody_stand_out_once_they_are_allowed_for():
    full, _, worth, anybody = joint_alarms(25, np.random.default_rng(9))
    assert full["false_alarms"] > 0.05 + four_errors(0.05, 25 * 20) / 2
    assert worth["false_alarms"] < 0.05 + four_errors(0.05, 25 * 20) / 2
    assert anybody["false_alarms"] < 0.05 + four_errors(0.05, 25)


def test_hard_work_makes_nobody_stand_out_once_it_is_allowed_for():
    careless, fair = confounded_alarms(20, np.random.default_rng(6))
    assert careless["false_alarms"] > 0.2
    assert fair["false_alarms"] <= 0.05 + four_errors(0.05, 20)


# ------------------------------------------------------------------------ ratios, trials, readers


@pytest.mark.parametrize("coverage", [ratio_coverage, rank_coverage])
def test_bounds_on_ratios_and_ranks_cover(coverage):
    table = coverage(25, np.random.default_rng(10), levels=(0.90,), kinds=(12,))
    # Welders of a yard are not independent; the error of the study's own is used.
    assert (table["value"] > 0.90 - 4 * table["standard_error"].clip(lower=0.01)).all()


def test_tolerance_limits_hold_and_the_normal_one_only_for_normal_lengths():
    table = tolerance_coverage(1000, np.random.default_rng(11), levels=(0.95,))
    by_order = table["bound"].str.contains("Wilks")
    normal = ~by_order & table["sample"].str.contains("normal")
    number = np.where(table["bound"].str.contains("share"), 100, 1000)
    off = table["value"] - 0.95
    assert (off > -four_errors(0.95, number))[by_order | normal].all()
    assert (off.abs() < four_errors(0.95, number))[normal].all()
    assert (table["value"] < 0.8)[~by_order & ~normal].all()
    # By hand: 60 beads, the shortest; it lies below the 5 % quantile with 1 - 0.95^60.
    shortest = table[by_order & (table["sample"] == "60 beads, normal")]["value"].iloc[0]
    assert shortest == pytest.approx(1 - 0.95**60, abs=four_errors(0.95, 1000))


def test_bounds_of_a90_come_near_their_level_in_large_trials():
    table = detection_coverage(50, np.random.default_rng(12), levels=(0.90,))
    large = table[table["sample"] == "200 flaws"].set_index("bound")["value"]
    assert (large > 0.90 - four_errors(0.90, 50)).all()
    assert (table["told"] > 0.9).all()
    assert (table["value"] < 1.0).all()


def test_kappas_of_few_films_fall_short_and_of_many_come_near():
    table = kappa_coverage(500, np.random.default_rng(13), levels=(0.95,))
    few, many = (table[table["sample"] == f"{films} films"] for films in (50, 200))
    assert (few["value"] < 0.95 - 0.02).all()
    assert (many["value"] > 0.95 - 0.01 - four_errors(0.95, 500)).all()


def test_a_rate_corrected_by_a_trial_is_less_sure_than_it_says():
    known, tried = corrected_coverage(4000, np.random.default_rng(14), levels=(0.95,))["value"]
    assert known > 0.95 - four_errors(0.95, 4000)
    assert tried < 0.92


# ------------------------------------------------------------------------ priors


def test_shrunken_intervals_cover_with_an_uncertain_prior_only():
    table = shrunken_coverage(
        40, np.random.default_rng(7), levels=(0.90,), kinds=((4, 2.0), (10, 2.0))
    )
    wide = table[table["prior"] == "uncertain"]
    assert (wide["value"] > wide["level"] - 4 * wide["standard_error"]).all()
    few = table[(table["welders"] == 4) & (table["prior"] != "uncertain")]
    assert (few["upper"] < few["level"]).all()


def test_the_bound_on_what_is_hidden_covers_with_an_uncertain_prior():
    table = hidden_coverage(25, np.random.default_rng(8), levels=(0.90,), kinds=((12, 1.5, 3.0),))
    wide = table[table["prior"] == "uncertain"]
    assert (wide["value"] > 0.90 - four_errors(0.90, 25)).all()
    plugged = table[table["prior"] != "uncertain"]
    assert plugged["value"].mean() < wide["value"].mean()


# ------------------------------------------------------------------------ the study and its page


def test_the_study_is_told_in_tables_with_errors():
    study = calibrate(16, seed=1)
    text = as_markdown(study)
    assert text.count("\n## ") == 10
    assert "nan" not in text
    lines = [
        line for line in text.splitlines() if line.startswith("| process-piping | yard | spots")
    ]
    assert len(lines) == 3
    assert all(" ± " in line for line in lines)
    assert len(study.signals) == 13


def test_the_page_has_the_headings_and_the_exact_figures_of_the_study(exact):
    page = DOCUMENT.read_text(encoding="utf-8")
    assert intervals(exact) in page
    for title in ("Weighted rates of planned yards", "Strata and the finite structure",
                  "Bias of pooled rates", "Signals", "Ratios and ranks",
                  "Limits, trials and readers", "What is hidden",
                  "Shrunken rates of welders"):  # fmt: skip
        assert f"## {title}\n\n| " in page


def test_too_few_yards_are_refused(monkeypatch, capsys):
    with pytest.raises(UseError, match="3 yards tell nothing"):
        calibrate(3, seed=0)
    monkeypatch.setattr(sys, "argv", ["calibration", "--yards", "3"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "write 16 or more" in capsys.readouterr().err
