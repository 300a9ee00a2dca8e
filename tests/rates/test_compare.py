import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from ndtstats.errors import UseError
from ndtstats.rates.compare import compare_welders, comparison_sentence
from ndtstats.statistics.wide_shrinkage import shrunk_shares_widely

#: Rejected, of so many spots, in an easy and in a hard category, by welder.
YARD = {"K1": [(1, 40), (4, 20)], "K2": [(0, 60), (3, 15)], "K3": [(2, 50), (24, 40)],
        "K4": [(3, 45), (2, 12)]}  # fmt: skip


def spots(yard, **more):
    """Return joints with one spot each, as ``write`` takes them."""
    each = pd.DataFrame(
        [
            (welder, category, verdict)
            for welder, counts in yard.items()
            for category, (k, n) in zip("AB", counts, strict=False)
            for verdict in ["reject"] * k + ["accept"] * (n - k)
        ],
        columns=["welder", "category", "verdict"],
    )
    each["joint"] = [f"B-{n}" for n in range(len(each))]
    return {
        "joints": each[["joint", "category"]],
        "deposits": each[["joint", "welder"]],
        "examinations": each[["joint", "verdict"]].assign(**more),
    }


def sums(yard):
    return np.array([[sum(part) for part in zip(*counts, strict=True)] for counts in yard.values()])


def test_expected_is_what_the_whole_yard_makes_of_such_work(register, write):
    write(**spots(YARD))
    result = compare_welders(register, method="rt", factors=["category"])
    table = result.table.set_index("welder")
    # With one factor the model is saturated: rates of each category, worked by hand.
    easy, hard = 6 / 195, 33 / 87
    assert table["expected"].to_dict() == pytest.approx(
        {w: c[0][1] * easy + c[1][1] * hard for w, c in YARD.items()}, rel=1e-8
    )
    assert table["expected"].sum() == pytest.approx(table["rejected"].sum())
    assert result.table["welder"].iloc[0] == "K3"  # the farthest above comes first
    assert result.factors == ("category",)


def test_bounds_tests_and_correction_are_those_of_scipy(register, write):
    write(**spots(YARD))
    table = compare_welders(register, method="RT", factors=["category"]).table.set_index("welder")
    for row in table.itertuples():
        known = stats.binomtest(row.rejected, row.examined).proportion_ci(0.95, method="exact")
        assert (row.lower, row.upper) == pytest.approx((known.low, known.high), rel=1e-9)
        centre = row.expected / row.examined
        law = stats.binom(row.examined, centre)
        tail = min(law.cdf(row.rejected), law.sf(row.rejected - 1))
        assert row.p == pytest.approx(min(2 * tail, 1), rel=1e-9)
        assert row.ratio_upper == pytest.approx(known.high / centre, rel=1e-9)
    adjusted = stats.false_discovery_control(table["p"])
    assert table["adjusted_p"].to_numpy() == pytest.approx(adjusted, rel=1e-12)
    assert (table["stands_out"] != "").tolist() == (adjusted <= 0.05).tolist()
    assert (table["funnel"] == "within").tolist() == (table["p"] > 0.05).tolist()
    assert (table["funnel"] == "beyond 99.8 %").tolist() == (table["p"] <= 0.002).tolist()


def test_rates_are_drawn_together_as_the_likeliest_prior_does(register, write):
    write(**spots(YARD))
    result = compare_welders(register, method="RT", limit=0.05)
    k, n = sums(YARD).T

    def surprise(p):
        return -stats.betabinom(n, *np.exp(p)).logpmf(k).sum()

    a, b = np.exp(optimize.minimize(surprise, [0, 2], method="Nelder-Mead", tol=1e-12).x)
    assert (result.prior.a, result.prior.b) == pytest.approx((a, b), rel=1e-4)
    table = result.table.set_index("welder").loc[list(YARD)]
    # The prior kept uncertain, the rates lie near those under the likeliest one, and its bounds
    # are the wider.
    law = stats.beta(a + k, b + n - k)
    assert table["shrunk"].to_numpy() == pytest.approx(law.mean(), rel=0.1)
    width = (table["shrunk_upper"] - table["shrunk_lower"]).to_numpy()
    assert (width > 0.95 * (law.ppf(0.975) - law.ppf(0.025))).all()
    known = shrunk_shares_widely(k, n, limit=0.05)
    assert table["shrunk_upper"].tolist() == known["upper"].tolist()
    assert table["above"].tolist() == known["above"].tolist()
    assert table["rank"].idxmin() == "K3"
    assert (table["rank_lower"] <= table["rank_upper"]).all()


def test_welders_alike_are_not_ranked_apart(register, write):
    yard = {"K1": [(2, 40)], "K2": [(2, 40)], "K3": [(2, 40)]}
    write(**spots(yard))
    result = compare_welders(register, method="RT", limit=0.2)
    assert result.prior.alike
    assert result.table["shrunk"].to_numpy() == pytest.approx(6.5 / 121, rel=0.1)
    assert (result.table["shrunk_lower"] < result.table["shrunk_upper"]).all()
    assert result.table[["rank_lower", "rank_upper"]].to_numpy().tolist() == [[1, 3]] * 3
    assert any("no more than chance" in remark for remark in result.remarks)


def test_two_welders_far_apart_stay_apart(register, write):
    write(**spots({"K1": [(0, 30)], "K2": [(9, 30)]}))
    result = compare_welders(register, method="RT", limit=0.1)
    table = result.table.set_index("welder")
    assert table.loc["K1", "shrunk_upper"] < table.loc["K2", "shrunk"]
    assert table.loc["K1", "above"] < 0.2
    assert table.loc["K2", "above"] > 0.95
    assert any("Fewer than 3 welders" in remark for remark in result.remarks)


def test_no_reject_is_not_no_defect(register, write):
    write(**spots({"K1": [(0, 5)], "K2": [(0, 9)], "K3": [(0, 3)]}))
    result = compare_welders(register, method="RT", limit=0.05)
    assert (result.table["above"] > 0).all()
    assert "no reject is not the same as no defect" in comparison_sentence(result)


def test_aimed_places_are_not_held_against_a_welder(register, write):
    tables = spots({"K1": [(0, 10)], "K2": [(8, 20)]})
    names = tables["joints"]["joint"]
    # The rejects of K2 (places 10 to 17) were aimed at.
    part = np.where(
        np.arange(30) < 10, "random", np.where(np.arange(30) < 18, "targeted", "random")
    )
    asked = [f"P1-{n}" for n in range(30)]
    tables["examinations"] = tables["examinations"].assign(request=asked)
    write(
        **tables,
        plans=pd.DataFrame({"plan": ["P1"], "drawn_at": [pd.Timestamp("2026-01-10", tz="UTC")]}),
        spots=pd.DataFrame({"joint": names, "spot": asked, "part": part, "pi": 0.5,
                            "draw_order": 0.0}),
    )  # fmt: skip
    result = compare_welders(register, method="RT")
    table = result.table.set_index("welder")
    assert table.loc["K2", ["rejected", "examined"]].tolist() == [0, 12]
    assert result.basis == "chosen"
    assert result.remarks[0] == (
        "Rests on 22 first examinations of places that rules or chance chose; 8 others, aimed, "
        "owed or unplanned, are left out."
    )
    every = compare_welders(register, method="RT", basis="described")
    assert every.table.set_index("welder").loc["K2", "rejected"] == 8
    assert "describes what was examined" in every.remarks[0]


def test_a_spot_of_two_processes_of_one_welder_is_one_spot(register, write):
    tables = spots({"K1": [(1, 4)], "K2": [(0, 4)]})
    twice = pd.concat(
        [tables["deposits"].assign(process="141", **{"pass": "root"}),
         tables["deposits"].assign(process="135", **{"pass": "fill"})], ignore_index=True,
    )  # fmt: skip
    write(**tables | {"deposits": twice})
    table = compare_welders(register, method="RT").table.set_index("welder")
    assert table.loc["K1", ["rejected", "examined", "shared"]].tolist() == [1, 4, 0]


def test_a_reject_of_two_welders_is_charged_to_both_and_told(register, write):
    tables = spots({"K1": [(1, 4)]})
    both = pd.concat([tables["deposits"], tables["deposits"].assign(welder="K2")])
    write(**tables | {"deposits": both.reset_index(drop=True)})
    result = compare_welders(register, method="RT")
    assert result.table["rejected"].tolist() == [1, 1]
    assert result.table["shared"].tolist() == [1, 1]
    assert any("charged to others too" in remark for remark in result.remarks)


def test_work_of_nobody_known_is_left_out_and_told(register, write):
    tables = spots({"K1": [(1, 4)], "K2": [(0, 4)]})
    write(**tables | {"deposits": tables["deposits"].iloc[:6]})
    result = compare_welders(register, method="RT")
    assert result.table["examined"].sum() == 6
    assert "2 examinations are left out because the welder is not recorded." in result.remarks


def test_the_sentence_names_only_who_stands_out_after_correction(register, write):
    write(**spots(YARD))
    bad = compare_welders(register, method="RT", factors=[], limit=0.1)
    told = comparison_sentence(bad)
    assert told.startswith("Welder K3 stands out above what such work leads to: 26 of 90 spots")
    assert told.endswith("Above the limit of 10 % with 95 % probability or more: K3.")
    strict = compare_welders(register, method="RT", factors=["category"], level=0.99999)
    assert "stands out above" not in comparison_sentence(strict)
    assert comparison_sentence(strict).startswith("No welder stands out")


def test_a_seed_repeats_the_ranks(register, write):
    write(**spots(YARD))
    first, again, other = (
        compare_welders(register, method="RT", seed=seed).table["rank"] for seed in (1, 1, 2)
    )
    assert first.tolist() == again.tolist() != other.tolist()


def test_nothing_examined_yet_is_said(register, write):
    write(**spots(YARD))
    result = compare_welders(register, method="UT")
    assert result.table.empty
    assert result.remarks == ()
    assert comparison_sentence(result).startswith("Nothing was examined")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"by": "wleder"}, 'did you mean "welder"'),
        ({"factors": ["catgory"]}, 'did you mean "category"'),
        ({"by": "imperfection"}, "may show several"),
        ({"limit": 5}, "0.05 for 5 %"),
        ({"level": 95}, "between 0 and 1"),
        ({"basis": "choosen"}, 'did you mean "chosen"'),
        ({"basis": "chosen"}, "answers a plan"),
        ({"method": "XY"}, "ISO 9712"),
    ],
)
def test_impossible_questions_are_told(register, write, more, says):
    write(**spots(YARD))
    with pytest.raises(UseError, match=says):
        compare_welders(register, **{"method": "RT", **more})


def on_joints(verdicts, welders):
    """Return joints of one welder each, with as many spots as they have verdicts."""
    joint = pd.DataFrame({"joint": [f"B-{n}" for n in range(len(verdicts))], "welder": welders})
    each = [(f"B-{n}", v, 100.0 * i) for n, of in enumerate(verdicts) for i, v in enumerate(of)]
    exams = pd.DataFrame(each, columns=["joint", "verdict", "from_mm"])
    exams["verdict"] = exams["verdict"].map({"r": "reject", "a": "accept"})
    return {
        "joints": joint[["joint"]],
        "deposits": joint,
        "examinations": exams.assign(to_mm=exams["from_mm"] + 100.0),
    }


def test_spots_of_a_joint_that_agree_count_as_what_they_are_worth(register, write):
    # Of each joint all four spots were rejected or none: correlation 1, so a joint is one spot.
    bad = [6, 1, 2, 1]
    verdicts = ["rrrr" if n < k else "aaaa" for k in bad for n in range(10)]
    write(**on_joints(verdicts, np.repeat(["K1", "K2", "K3", "K4"], 10)))
    result = compare_welders(register, method="RT", factors=[])
    table = result.table.set_index("welder")
    assert table["design_effect"].tolist() == pytest.approx([4.0] * 4)
    # scipy.stats.binomtest on joints in the place of spots.
    known = stats.binomtest(6, 10).proportion_ci(0.95, method="exact")
    row = table.loc["K1"]
    assert (row["rejected"], row["examined"]) == (24, 40)
    assert (row["lower"], row["upper"]) == pytest.approx((known.low, known.high), rel=1e-7)
    assert row["p"] == pytest.approx(2 * stats.binom(10, 0.25).sf(5), rel=1e-7)
    assert row["stands_out"] == ""
    told = "spots of a joint go together (correlation 1.00), so there are 4.00 times more than"
    assert any(f"The 160 spots lie on 40 joints; {told}" in remark for remark in result.remarks)


def test_spots_of_a_joint_that_differ_count_in_full(register, write):
    write(**on_joints(["ra", "aa", "ar", "aa"] * 5, np.repeat(["K1", "K2"], 10)))
    result = compare_welders(register, method="RT", factors=[])
    assert result.table["design_effect"].tolist() == [1.0, 1.0]
    assert any("no more alike than others" in remark for remark in result.remarks)


def test_without_a_reject_nothing_tells_how_spots_go_together(register, write):
    write(**on_joints(["aa"] * 6, ["K1", "K2"] * 3))
    result = compare_welders(register, method="RT", factors=[])
    assert any("do not allow for it" in remark for remark in result.remarks)
