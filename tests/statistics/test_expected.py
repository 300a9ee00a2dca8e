import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics.expected import compare_groups


def yard(seed=3, welders=12, effect=0.0, **more):
    """Return counts of a made-up yard; the work given to each welder differs widely."""
    rng = np.random.default_rng(seed)
    kinds = pd.MultiIndex.from_product(
        [
            [f"W{i:02d}" for i in range(welders)],
            ["A", "B"],
            ["PA", "PC", "PE"],
            ["to 6 mm", "over"],
        ],
        names=["welder", "category", "position", "thickness"],
    ).to_frame(index=False)
    logit = -3 + 1.1 * (kinds["position"] == "PE") + 0.5 * (kinds["category"] == "B")
    logit += effect * (kinds["welder"] == "W00")
    examined = rng.poisson(rng.gamma(0.7, 20, len(kinds)))
    rejected = rng.binomial(examined, 1 / (1 + np.exp(-logit)))
    return kinds.assign(examined=examined, rejected=rejected, **more)


FACTORS = ["category", "position", "thickness"]


def test_expected_rejects_are_those_of_statsmodels():
    # statsmodels binomial GLM by formula, treatment coding, every cell a row.
    counts = yard()
    known = counts[counts["examined"] > 0].reset_index(drop=True)
    both = np.column_stack([known["rejected"], known["examined"] - known["rejected"]])
    design = pd.get_dummies(known[FACTORS], drop_first=True, dtype=float)
    model = sm.GLM(both, sm.add_constant(design), family=sm.families.Binomial()).fit(tol=1e-14)
    expected = (model.fittedvalues * known["examined"]).groupby(known["welder"]).sum()
    result = compare_groups(counts, "welder", FACTORS)
    np.testing.assert_allclose(result.table["expected"], expected, rtol=1e-9)
    assert result.factors == tuple(FACTORS)


def test_one_factor_gives_the_rates_of_its_levels():
    # Indirect standardisation by hand: each level's rate times what was examined in it.
    counts = yard()
    sums = counts.groupby("position")[["rejected", "examined"]].sum()
    rate = sums["rejected"] / sums["examined"]
    expected = (counts["position"].map(rate) * counts["examined"]).groupby(counts["welder"]).sum()
    table = compare_groups(counts, "welder", ["position"]).table
    np.testing.assert_allclose(table["expected"], expected, rtol=1e-9)


def test_with_no_factor_all_are_held_against_the_common_rate():
    counts = yard()
    table = compare_groups(counts, "welder").table
    rate = counts["rejected"].sum() / counts["examined"].sum()
    np.testing.assert_allclose(table["expected"], table["examined"] * rate, rtol=1e-12)


def test_all_that_was_observed_is_expected_in_all():
    counts = yard()
    for factors in ([], ["position"], FACTORS):
        table = compare_groups(counts, "welder", factors).table
        assert table["expected"].sum() == pytest.approx(counts["rejected"].sum(), rel=1e-10)


def test_hard_work_is_no_blame():
    # Two welders of the same skill; one does all that is hard.
    counts = pd.DataFrame(
        {
            "welder": ["easy", "hard", "both", "both"],
            "position": ["PA", "PE", "PA", "PE"],
            "examined": [200, 200, 400, 400],
            "rejected": [4, 40, 8, 80],
        }
    )
    plain = compare_groups(counts, "welder").table
    fair = compare_groups(counts, "welder", ["position"]).table
    assert plain.loc["hard", "stands_out"] == "high"
    assert plain.loc["easy", "stands_out"] == "low"
    assert fair["stands_out"].tolist() == ["", "", ""]
    np.testing.assert_allclose(fair["ratio"], 1.0, rtol=1e-9)


def test_a_bad_welder_stands_out():
    table = compare_groups(yard(effect=1.5), "welder", FACTORS).table
    assert table["stands_out"].to_dict()["W00"] == "high"
    assert (table.loc["W01":, "stands_out"] == "high").sum() == 0
    assert table.loc["W00", "lower"] > 1


def test_equal_welders_seldom_stand_out():
    # Benjamini-Hochberg: with no difference at all, some group stands out in at most 5 % of yards.
    flagged = [
        (compare_groups(yard(seed=s), "welder", ["position"]).table["stands_out"] != "").any()
        for s in range(80)
    ]
    assert np.mean(flagged) < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 80)


def test_bounds_funnel_and_p_values_speak_of_the_same_counts():
    table = compare_groups(yard(effect=1.5), "welder", FACTORS).table
    rate = table["expected"] / table["examined"]
    exact = [
        stats.binomtest(int(k), int(n)).proportion_ci(0.95)
        for k, n in zip(table["rejected"], table["examined"], strict=True)
    ]
    np.testing.assert_allclose(table["lower"], [low for low, _ in exact] / rate, rtol=1e-9)
    np.testing.assert_allclose(table["upper"], [high for _, high in exact] / rate, rtol=1e-9)
    # An exact two-sided test rejects at 5 % just when the exact bounds leave the centre out.
    outside = (table["lower"] > 1) | (table["upper"] < 1)
    assert outside.tolist() == (table["p"] < 0.05).tolist()
    assert np.all(table["funnel_upper_998"] > table["funnel_upper_95"])


def test_a_level_without_reject_is_penalised_and_told():
    counts = yard()
    clean = counts["position"] == "PC"
    counts["rejected"] = counts["rejected"].where(~clean, 0)
    result = compare_groups(counts, "welder", FACTORS)
    assert any("no reject at position PC" in caveat for caveat in result.caveats)
    assert result.table["expected"].sum() == pytest.approx(counts["rejected"].sum(), rel=1e-9)
    # In the one factor alone: Firth adds one half to each cell, before the intercept is set.
    one = compare_groups(counts.assign(kind=counts["position"]), "kind", ["position"]).table
    sums = counts.groupby("position")[["rejected", "examined"]].sum()
    odds = (sums["rejected"] + 0.5) / (sums["examined"] - sums["rejected"] + 0.5)
    fitted = one["expected"] / one["examined"]
    ratio = fitted / (1 - fitted) / odds
    np.testing.assert_allclose(ratio, ratio.iloc[0], rtol=1e-8)


def test_a_factor_of_one_level_is_left_out_and_told():
    result = compare_groups(yard(process="135"), "welder", ["process", "position"])
    assert result.factors == ("position",)
    assert any("process has one level only, 135" in caveat for caveat in result.caveats)


def test_levels_that_always_go_together_are_told():
    counts = yard()
    counts["process"] = counts["position"].map({"PA": "121", "PC": "135", "PE": "135"})
    both = compare_groups(counts, "welder", ["position", "process"])
    alone = compare_groups(counts, "welder", ["position"])
    assert any("process 121 goes always with" in caveat for caveat in both.caveats)
    np.testing.assert_allclose(both.table["expected"], alone.table["expected"], rtol=1e-9)


def test_a_missing_level_is_a_level():
    counts = yard()
    counts["position"] = counts["position"].where(counts["position"] != "PC")
    renamed = yard()
    renamed["position"] = renamed["position"].replace("PC", "unknown")
    np.testing.assert_allclose(
        compare_groups(counts, "welder", ["position"]).table["expected"],
        compare_groups(renamed, "welder", ["position"]).table["expected"],
    )


def test_no_reject_at_all_is_told():
    result = compare_groups(yard().assign(rejected=0), "welder", FACTORS)
    assert any("nothing to compare" in caveat for caveat in result.caveats)
    assert result.table["stands_out"].eq("").all()
    assert result.table["p"].isna().all()


def test_who_is_compared_with_himself_is_told():
    counts = pd.DataFrame(
        {"welder": ["A", "B", "B"], "position": ["PE", "PA", "PE"], "examined": [90, 100, 10],
         "rejected": [9, 3, 1]}
    )  # fmt: skip
    result = compare_groups(counts, "welder", ["position"])
    # A: 90 of the 100 at PE are his own. B: 100 of 100 at PA and 10 of 100 at PE.
    assert result.table["own_share"].tolist() == pytest.approx([0.9, (100 + 1) / 110])
    assert any("welder A, B did most of the work" in caveat for caveat in result.caveats)


def test_wide_spread_is_told():
    counts = pd.DataFrame(
        {"welder": list("ABCDEF"), "examined": 100, "rejected": [2, 20, 3, 18, 2, 22]}
    )
    assert any("spread wider" in caveat for caveat in compare_groups(counts, "welder").caveats)


def test_what_is_compared_explains_nothing():
    with pytest.raises(UseError, match="drop the factor"):
        compare_groups(yard(), "position", ["position"])


@pytest.mark.parametrize(
    ("change", "says"),
    [({"rejected": 999}, "between 0 and examined"), ({"welder": None}, "no column welder")],
)
def test_impossible_counts_are_told(change, says):
    counts = yard()
    counts = counts.drop(columns="welder") if "welder" in change else counts.assign(**change)
    with pytest.raises(UseError, match=says):
        compare_groups(counts, "welder", FACTORS)


def test_limits_rest_on_counts_divided_by_the_design_effect():
    # Rao & Scott 1992: two spots for one, all told, are half of each count, held against the same
    # rate. Expectations themselves stay.
    single = pd.DataFrame(
        {"welder": list("ABCDE"), "rejected": [1, 9, 2, 3, 0], "examined": [30, 50, 40, 60, 20]}
    )
    double = single.assign(rejected=2 * single["rejected"], examined=2 * single["examined"])
    apart = compare_groups(single, "welder").table
    effect = pd.Series(2.0, index=list("ABCDE"))
    together = compare_groups(double, "welder", design_effect=effect).table
    np.testing.assert_allclose(together["expected"], 2 * apart["expected"], rtol=1e-12)
    same = ["ratio", "lower", "upper", "p", "adjusted_p", "funnel_lower_95", "funnel_upper_998"]
    np.testing.assert_allclose(together[same], apart[same], rtol=1e-9)
    assert (together["stands_out"] == apart["stands_out"]).all()
    plain = compare_groups(double, "welder").table
    assert (plain["p"] <= together["p"] + 1e-12).all()
