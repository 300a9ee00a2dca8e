from datetime import timedelta
from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.rates import rates, trend
from ndtstats.register import Register


def joints_of(number):
    return pd.DataFrame({"joint": [f"B-{n}" for n in range(number)]})


def one(table, basis="described"):
    return table[table["basis"] == basis].iloc[0]


def test_described_rates_are_counts_with_exact_bounds(register, write):
    joints = joints_of(30)
    write(
        joints=joints,
        deposits=joints.assign(welder="K7"),
        examinations=joints.assign(verdict=["reject"] * 3 + ["accept"] * 27),
    )
    row = one(rates(register, by=["welder"]))
    known = stats.binomtest(3, 30).proportion_ci(0.95, method="exact")
    assert (row["welder"], row["rejected"], row["examined"]) == ("K7", 3, 30)
    assert row["rate"] == pytest.approx(0.1)
    # 0.0211 to 0.2653: Clopper & Pearson for 3 of 30 at 95 %.
    assert (row["lower"], row["upper"]) == pytest.approx((known.low, known.high))
    assert not (rates(register)["basis"] == "unbiased").any()


def test_two_denominators_tell_two_stories(register, write):
    # 8 of 20 joints rejected is 40 %, 420 mm of 26 890 mm is 1.6 %: published opinion, seen.
    joints = joints_of(20).assign(length_mm=[1344.0] * 19 + [1354.0])
    exams = joints[["joint"]].assign(
        verdict=["reject"] * 8 + ["accept"] * 12, to_mm=joints["length_mm"]
    )
    found = pd.DataFrame(
        {
            "examination": range(8), "imperfection": "401", "imp_from_mm": 100.0,
            "imp_length_mm": 52.5, "imp_rejectable": True,
        }
    )  # fmt: skip
    write(
        joints=joints,
        deposits=joints[["joint"]].assign(welder="K7"),
        examinations=exams,
        imperfections=found,
    )
    by_joint = one(rates(register, measure="joints"))
    assert by_joint["rate"] == pytest.approx(0.40)
    by_length = one(rates(register, measure="length"))
    assert (by_length["rejected"], by_length["examined"]) == (420, 26_890)
    assert by_length["rate"] == pytest.approx(0.01562, abs=5e-6)
    per_metre = one(rates(register, measure="per-metre"))
    assert per_metre["rate"] == pytest.approx(8 / 26.89)


def test_overlapping_lengths_count_once(register, write):
    joints = joints_of(1)
    exams = pd.DataFrame(
        {"joint": "B-0", "verdict": "accept", "from_mm": [0.0, 200.0], "to_mm": [300.0, 500.0]}
    )
    write(joints=joints, deposits=joints.assign(welder="K7"), examinations=exams)
    assert one(rates(register, measure="length"))["examined"] == 500


def test_work_of_nobody_known_is_unknown(register, write):
    joints = joints_of(2)
    write(joints=joints, examinations=joints.assign(verdict="accept"))
    assert one(rates(register))["welder"] == "unknown"


def plan_and_results(chosen, bad, number):
    """One drawn spot of ``number``; a reject has the whole lot examined. For each draw alike."""
    joints = joints_of(number)
    spots = joints.assign(spot=[f"P1-{n}" for n in range(number)], pi=1 / number, part="extra")
    spots.loc[chosen, "part"] = "random"
    taken = [chosen] if chosen not in bad else list(range(number))
    exams = joints.loc[taken].assign(
        request=spots["spot"][taken], verdict=["reject" if n in bad else "accept" for n in taken]
    )
    return {
        "joints": joints,
        "deposits": joints.assign(welder="K7"),
        "spots": spots.loc[taken],
        "examinations": exams,
    }


@pytest.mark.parametrize(("number", "bad"), [(4, {0}), (5, {0, 1})])
def test_completing_only_dirty_samples_would_bias_and_ours_is_not(number, bad, tmp_path, write):
    # Each unit is drawn with probability 1 / number; every outcome is enumerated.
    unbiased, everything = [], []
    for chosen in range(number):
        target = Register.open(tmp_path / f"{chosen}.sqlite", create=True)
        write(target, **plan_and_results(chosen, bad, number))
        table = rates(target)
        unbiased.append(one(table, "unbiased")["rate"])
        everything.append(one(table, "described")["rate"])
        target.close()
    truth = len(bad) / number
    assert np.mean(unbiased) == pytest.approx(truth, rel=1e-12)
    assert abs(np.mean(everything) - truth) > 0.05


def test_targeted_and_extra_never_enter_the_unbiased_rate(register, write):
    joints = joints_of(9)
    parts = ["required", "random", "random", "reserve", "targeted", "extra", "targeted", "extra"]
    # The last spot, random, could not be reached: the reserve stands in for it.
    spots = joints.assign(
        spot=[f"P1-{n}" for n in range(9)], part=[*parts, "random"], pi=[1, *[0.25] * 8]
    )
    verdicts = ["accept"] * 4 + ["reject"] * 4 + ["not done"]
    exams = joints.assign(request=spots["spot"], verdict=verdicts)
    write(joints=joints, deposits=joints.assign(welder="K7"), spots=spots, examinations=exams)
    table = rates(register)
    assert (one(table, "unbiased")["rejected"], one(table, "unbiased")["examined"]) == (0, 4)
    assert (one(table)["rejected"], one(table)["examined"]) == (4, 8)


def test_an_unbiased_rate_weighs_by_the_probability(register, write):
    joints = joints_of(3)
    spots = joints.assign(spot=["P1-0", "P1-1", "P1-2"], part="random", pi=[0.1, 0.5, 0.5])
    exams = joints.assign(request=spots["spot"], verdict=["reject", "accept", "accept"])
    write(joints=joints, deposits=joints.assign(welder="K7"), spots=spots, examinations=exams)
    # Horvitz & Thompson's weights, Hájek's ratio: 10 / (10 + 2 + 2).
    assert one(rates(register), "unbiased")["rate"] == pytest.approx(10 / 14)


def test_two_spots_on_one_joint_are_no_two_independent_spots(register, write):
    spots = pd.DataFrame(
        {
            "joint": [f"B-{n // 2}" for n in range(20)],
            "spot": [f"P1-{n}" for n in range(20)],
            "part": "random", "pi": 0.1,
            "from_mm": [0.0, 500.0] * 10, "to_mm": [300.0, 800.0] * 10,
        }
    )  # fmt: skip
    exams = spots[["joint", "from_mm", "to_mm"]].assign(
        request=spots["spot"], verdict=["reject"] * 4 + ["accept"] * 16
    )
    joints = joints_of(10)
    write(joints=joints, deposits=joints.assign(welder="K7"), spots=spots, examinations=exams)
    table = rates(register)
    assert one(table, "unbiased")["upper"] > one(table)["upper"]
    assert one(table, "unbiased")["effective"] < 12
    # Two spots of a joint tell about the same as one: a design effect of about two.
    weighed = one(table, "unbiased")
    assert weighed["design_effect"] == pytest.approx(20 / weighed["effective"])
    assert 1.6 < weighed["design_effect"] < 3
    assert one(table)["design_effect"] == 1


def test_rows_in_any_order_give_the_same_rates(register, write, tmp_path):
    joints = joints_of(12)
    exams = joints.assign(verdict=["reject", "accept", "accept"] * 4)
    write(joints=joints, deposits=joints.assign(welder=["K7", "M2"] * 6), examinations=exams)
    other = Register.open(tmp_path / "other.sqlite", create=True)
    write(
        other,
        joints=joints[::-1],
        deposits=joints.assign(welder=["K7", "M2"] * 6)[::-1],
        examinations=exams[::-1],
    )
    for measure, by in product(("spots", "length"), (["welder"], ["month"])):
        pd.testing.assert_frame_equal(
            rates(register, by=by, measure=measure), rates(other, by=by, measure=measure)
        )
    other.close()


def test_an_upper_bound_takes_all_the_error(register, write):
    joints = joints_of(30)
    write(
        joints=joints,
        deposits=joints.assign(welder="K7"),
        examinations=joints.assign(verdict="accept"),
    )
    row = one(rates(register, sides="upper"))
    # 0 of 30: upper 95 % bound 0.0950.
    assert row["lower"] == 0.0
    assert round(row["upper"], 4) == 0.0950


def test_crossed_columns(register, write):
    joints = joints_of(4)
    write(
        joints=joints,
        deposits=joints.assign(welder=["K7", "K7", "M2", "M2"]),
        examinations=joints.assign(
            verdict="accept", date=pd.to_datetime(["2026-01-31", "2026-02-01"] * 2)
        ),
    )
    table = rates(register, by=["welder", "month"])
    assert table[["welder", "month"]].to_numpy().tolist() == [
        ["K7", "2026-01"], ["K7", "2026-02"], ["M2", "2026-01"], ["M2", "2026-02"],
    ]  # fmt: skip


def test_nothing_examined_gives_an_empty_table(register):
    table = rates(register)
    assert table.empty
    assert {"welder", "basis", "rate", "upper"} <= set(table.columns)


@pytest.mark.parametrize(
    ("question", "says"),
    [
        ({"by": ["wleder"]}, 'did you mean "welder"'),
        ({"by": ["colour"]}, "use one or more of welder, process"),
        ({"by": ["imperfection"]}, "goes with the measure per-metre"),
        ({"measure": "metre"}, 'did you mean "per-metre"'),
        ({"method": "XR"}, "is not a method of ISO 9712"),
        ({"level": 95}, "between 0 and 1"),
        ({"interval": "clopper", "measure": "per-metre"}, "clopper-pearson"),
        ({"sides": "both"}, "two, upper or lower"),
    ],
)
def test_impossible_questions_are_told_before_anything_is_read(register, question, says):
    with pytest.raises(UseError, match=says):
        rates(register, **question)


def test_one_method_only(register, write):
    joints = joints_of(2)
    exams = pd.concat([joints.assign(method="VT"), joints.assign(method="RT")], ignore_index=True)
    write(
        joints=joints,
        deposits=joints.assign(welder="K7"),
        examinations=exams.assign(verdict=["reject", "reject", "accept", "accept"]),
    )
    assert one(rates(register, method="rt"))["rejected"] == 0
    both = one(rates(register))
    assert (both["rejected"], both["examined"], both["methods"]) == (2, 4, 2)


def test_a_joint_counts_once_however_often_it_was_rejected(register, write):
    joints = joints_of(3)
    exams = pd.DataFrame(
        {
            "joint": ["B-0", "B-0", "B-1", "B-2", "B-2"],
            "from_mm": [0.0, 500.0, 0.0, 0.0, 500.0],
            "to_mm": [300.0, 800.0, 300.0, 300.0, 800.0],
            "verdict": ["reject", "reject", "accept", "accept", "reject"],
        }
    )
    write(joints=joints, deposits=joints.assign(welder="K7"), examinations=exams)
    row = one(rates(register, measure="joints"))
    assert (row["rejected"], row["examined"]) == (2, 3)
    known = stats.binomtest(2, 3).proportion_ci(0.95, method="exact")
    assert (row["lower"], row["upper"]) == pytest.approx((known.low, known.high))


@pytest.fixture
def welded_by_two(register, write):
    """Two passes and two halves, and rejects of each kind on a metre of weld."""
    joints = joints_of(1)
    deposits = pd.DataFrame(
        {
            "joint": "B-0",
            "welder": ["K7", "M2", "N3"],
            "pass": ["root", "cap", None],
            "process": ["141", None, None],
            "from_mm": [0.0, 0.0, 600.0],
            "to_mm": [600.0, 600.0, 1000.0],
        }
    )
    found = pd.DataFrame(
        {
            "examination": [0, 0, 0, 0],
            "imperfection": ["4013", "401", "2011", "2011"],
            "imp_pass": ["root", "cap", None, None],
            "imp_from_mm": [100.0, 200.0, 590.0, np.nan],
            "imp_length_mm": [30.0, 20.0, 40.0, 5.0],
        }
    )
    exams = pd.DataFrame({"joint": ["B-0"], "verdict": ["reject"], "to_mm": [1000.0]})
    write(
        joints=joints.assign(process="131"), deposits=deposits, examinations=exams,
        imperfections=found,
    )  # fmt: skip


def of_each(register, measure, by=("welder",)):
    table = rates(register, by=by, measure=measure).set_index(list(by))
    return {key: (row["rejected"], row["examined"]) for key, row in table.iterrows()}


def test_each_welder_has_his_own_length_and_indications(register, welded_by_two):
    # 590 to 630 mm lies 10 mm in the first half, of root and cap, and 30 mm in the second; the 5 mm
    # that nobody has placed may be anybody's.
    assert of_each(register, "length") == {
        "K7": (30 + 10 + 5, 600),
        "M2": (20 + 10 + 5, 600),
        "N3": (30 + 5, 400),
    }
    assert of_each(register, "per-metre") == {"K7": (3, 0.6), "M2": (3, 0.6), "N3": (2, 0.4)}
    assert of_each(register, "spots") == {"K7": (1, 1), "M2": (1, 1), "N3": (1, 1)}


def test_the_process_of_a_deposit_overrides_that_of_the_joint(register, welded_by_two):
    # The root is TIG; its own reject and the ones that lie in both are charged to it.
    assert of_each(register, "per-metre", ("process",)) == {"131": (3, 1.0), "141": (3, 0.6)}
    assert set(of_each(register, "spots", ("process", "welder"))) == {
        ("141", "K7"), ("131", "M2"), ("131", "N3"),
    }  # fmt: skip


def test_each_imperfection_per_metre(register, welded_by_two):
    table = rates(register, by=["imperfection"], measure="per-metre").set_index("imperfection")
    assert table["rejected"].to_dict() == {"2011": 2, "401": 1, "4013": 1}
    assert (table["examined"] == 1.0).all()
    # Garwood: one event in one metre, 0.0253 to 5.572; source in the reference table.
    assert round(table.loc["401", "lower"], 4) == 0.0253
    assert round(table.loc["401", "upper"], 3) == 5.572
    assert (table["interval"] == "garwood").all()


def test_a_reject_of_unknown_length_counts_with_its_whole_spot(register, write):
    joints = joints_of(2)
    write(
        joints=joints,
        deposits=joints.assign(welder="K7"),
        examinations=joints.assign(verdict=["reject", "accept"]),
    )
    row = one(rates(register, measure="length"))
    assert (row["rejected"], row["examined"], row["no_length"]) == (300, 600, 1)


def test_several_exposures_of_one_spot_are_all_counted(register, write):
    # A girth weld drawn as one spot and shot on three films, the reject on the second.
    joints = joints_of(2).assign(length_mm=900.0)
    spots = joints[["joint"]].assign(spot=["P1-0", "P1-1"], part="random", pi=0.25, to_mm=900.0)
    films = pd.DataFrame(
        {
            "joint": "B-0", "request": "P1-0", "exposure": ["1", "2", "3"],
            "from_mm": [0.0, 300.0, 600.0], "to_mm": [300.0, 600.0, 900.0],
            "verdict": ["accept", "reject", "accept"],
        }
    )  # fmt: skip
    other = pd.DataFrame(
        {"joint": ["B-1"], "request": ["P1-1"], "exposure": ["1"], "to_mm": 900.0,
         "from_mm": 0.0, "verdict": "accept"}
    )  # fmt: skip
    write(
        joints=joints, deposits=joints[["joint"]].assign(welder="K7"), spots=spots,
        examinations=pd.concat([films, other], ignore_index=True),
    )  # fmt: skip
    by_spot = one(rates(register), "unbiased")
    assert (by_spot["rejected"], by_spot["examined"]) == (1, 4)
    by_joint = one(rates(register, measure="joints"), "unbiased")
    assert (by_joint["rejected"], by_joint["examined"], by_joint["rate"]) == (1, 2, 0.5)


def test_joints_examined_in_part_have_no_unbiased_rate(register, write):
    joints = joints_of(2)
    spots = joints.assign(spot=["P1-0", "P1-1"], part="random", pi=0.25)
    exams = joints.assign(request=spots["spot"], verdict=["reject", "accept"])
    write(joints=joints, deposits=joints.assign(welder="K7"), spots=spots, examinations=exams)
    assert set(rates(register, measure="spots")["basis"]) == {"unbiased", "described"}
    assert set(rates(register, measure="joints")["basis"]) == {"described"}


def test_weighted_lengths_and_rates_per_metre(register, write):
    joints = joints_of(2)
    spots = joints.assign(spot=["P1-0", "P1-1"], part="random", pi=[0.1, 0.5])
    exams = joints.assign(request=spots["spot"], verdict=["reject", "accept"])
    found = pd.DataFrame(
        {"examination": [0], "imperfection": "401", "imp_from_mm": 50.0, "imp_length_mm": 30.0}
    )
    write(
        joints=joints, deposits=joints.assign(welder="K7"), spots=spots, examinations=exams,
        imperfections=found,
    )  # fmt: skip
    # Weights 10 and 2, each spot of 300 mm.
    length = one(rates(register, measure="length"), "unbiased")
    assert length["rate"] == pytest.approx(10 * 30 / (12 * 300))
    per_metre = one(rates(register, measure="per-metre"), "unbiased")
    assert per_metre["rate"] == pytest.approx(10 * 1 / (12 * 0.3))


def test_what_was_not_known_yet_does_not_count(register, write, now):
    joints = joints_of(2)
    write(
        joints=joints,
        deposits=joints.assign(welder="K7"),
        examinations=joints.assign(verdict="accept"),
    )
    later = joints.assign(verdict="reject", report="R-2")
    with register.batch(kind="load", subject="examinations", now=now + timedelta(days=1)) as batch:
        batch.merge(
            "examinations",
            later.assign(job="H1", method="RT", date=pd.Timestamp("2026-03-01"), round=0),
        )
    assert one(rates(register, as_of=now + timedelta(hours=1)))["examined"] == 2
    assert one(rates(register))["examined"] == 4


def test_a_month_without_examinations_stands_in_the_trend(register, write):
    joints = joints_of(2)
    write(
        joints=joints,
        deposits=joints.assign(welder="K7"),
        examinations=joints.assign(
            verdict=["reject", "accept"], date=pd.to_datetime(["2026-01-31", "2026-03-01"])
        ),
    )
    table = trend(register)
    assert table["month"].tolist() == ["2026-01", "2026-02", "2026-03"]
    assert table["examined"].tolist() == [1, 0, 1]
    empty = table.iloc[1]
    assert (empty["lower"], empty["upper"]) == (0.0, 1.0)
    assert np.isnan(empty["rate"])
    pd.testing.assert_frame_equal(
        table.drop(index=1).reset_index(drop=True), rates(register, by=["month"])
    )
    assert np.isinf(trend(register, measure="per-metre").loc[1, "upper"])


def test_bands_of_thickness_and_what_is_unknown(register, write):
    joints = joints_of(4).assign(thickness_mm=[3.0, 3.1, 40.0, np.nan])
    write(joints=joints, examinations=joints[["joint"]].assign(verdict="accept"))
    assert rates(register, by=["thickness"])["thickness"].tolist() == [
        "3 to 6 mm", "over 25 mm", "to 3 mm", "unknown",
    ]  # fmt: skip
