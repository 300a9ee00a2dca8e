from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.rates import first_examinations, rates, sentence, set_aside
from ndtstats.register import Register


@pytest.fixture
def write(register, now):
    """Write tables of a job in one batch; blank columns are filled in."""

    def call(target=register, **tables):
        defaults = {
            "joints": {"zone": "Z", "category": "A", "joint_type": "butt", "length_mm": 1000.0},
            "deposits": {"date": pd.Timestamp("2026-01-05")},
            "examinations": {
                "method": "RT", "date": pd.Timestamp("2026-02-01"), "report": "R-1", "round": 0,
                "from_mm": 0.0, "to_mm": 300.0,
            },
            "spots": {
                "plan": "P1", "method": "RT", "round": 0, "rule": "r", "stratum": "s",
                "from_mm": 0.0, "to_mm": 300.0,
            },
        }  # fmt: skip
        with target.batch(kind="load", subject="all", now=now) as batch:
            for name, frame in tables.items():
                if name == "imperfections":
                    continue
                blanks = {k: v for k, v in defaults[name].items() if k not in frame}
                rows = frame.assign(job="H1", **blanks)
                if name == "spots":
                    batch.insert(name, rows)
                elif name == "examinations":
                    batch.merge(name, rows, tables.get("imperfections"))
                else:
                    batch.merge(name, rows)

    return call


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


def test_repairs_re_shoots_and_not_done_stand_apart(register, write):
    joints = joints_of(5)
    verdicts = ["reject", "accept", "re-shoot", "not done", "accept"]
    first = joints.assign(verdict=verdicts)
    repair = pd.DataFrame({"joint": ["B-0"], "verdict": ["accept"], "round": [1]})
    write(
        joints=joints,
        deposits=joints.assign(welder="K7"),
        examinations=pd.concat([first, repair], ignore_index=True).fillna({"round": 0}),
    )
    row = one(rates(register))
    assert (row["rejected"], row["examined"]) == (1, 3)
    aside = set_aside(register).set_index("what")
    assert aside["count"].to_dict() == {"repairs accepted": 1, "re-shoots": 1, "not done": 1}
    assert aside["of"].to_dict() == {"repairs accepted": 1, "re-shoots": 6, "not done": 6}


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


@pytest.fixture
def shared_joint(write):
    """Root by K7, cap by M2, and the far half by N3."""

    def call(**imperfection):
        joints = joints_of(1)
        deposits = pd.DataFrame(
            {
                "joint": "B-0",
                "welder": ["K7", "M2", "N3"],
                "pass": ["root", "cap", "root"],
                "from_mm": [0.0, 0.0, 500.0],
                "to_mm": [500.0, 500.0, 1000.0],
            }
        )
        found = pd.DataFrame({"examination": [0], "imp_rejectable": [True], **imperfection})
        exams = pd.DataFrame({"joint": ["B-0"], "verdict": ["reject"], "to_mm": [1000.0]})
        write(joints=joints, deposits=deposits, examinations=exams, imperfections=found)

    return call


def at(place, **more):
    """An indication of 30 mm at a place."""
    known = {"imperfection": "401", "imp_from_mm": place, "imp_length_mm": 30.0} | more
    return {name: [value] for name, value in known.items()}


@pytest.mark.parametrize(
    ("imperfection", "blamed", "shared"),
    [
        (at(100.0, imperfection="4013", imp_pass="root"), {"K7"}, 0),
        ({"imperfection": ["2011"], "imp_pass": ["cap"]}, {"M2"}, 0),
        (at(700.0), {"N3"}, 0),
        (at(100.0), {"K7", "M2"}, 2),
        ({"imperfection": ["401"]}, {"K7", "M2", "N3"}, 3),
    ],
)
def test_a_reject_is_charged_to_who_made_it(shared_joint, register, imperfection, blamed, shared):
    shared_joint(**imperfection)
    table = rates(register).query("basis == 'described'")
    assert set(table["welder"]) == {"K7", "M2", "N3"}
    assert table["examined"].tolist() == [1, 1, 1]
    assert set(table.loc[table["rejected"] > 0, "welder"]) == blamed
    assert table["shared"].sum() == shared


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
    joints = joints_of(8)
    parts = ["required", "random", "random", "reserve", "targeted", "extra", "targeted", "extra"]
    spots = joints.assign(spot=[f"P1-{n}" for n in range(8)], part=parts, pi=[1, *[0.25] * 7])
    exams = joints.assign(request=spots["spot"], verdict=["accept"] * 4 + ["reject"] * 4)
    write(joints=joints, deposits=joints.assign(welder="K7"), spots=spots, examinations=exams)
    table = rates(register)
    assert (one(table, "unbiased")["rejected"], one(table, "unbiased")["examined"]) == (0, 4)
    assert (one(table)["rejected"], one(table)["examined"]) == (4, 8)
    rows = first_examinations(register).set_index("joint")
    assert rows.loc["B-0", "weight"] == 1.0
    assert rows.loc["B-3", "weight"] == 4.0
    assert np.isnan(rows.loc["B-5", "weight"])


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


def test_nothing_examined_gives_an_empty_table_and_a_sentence(register):
    table = rates(register)
    assert table.empty
    assert "no rate" in sentence(table, ["welder"])


def test_an_unknown_column_is_told(register):
    with pytest.raises(UseError, match='did you mean "welder"'):
        rates(register, by=["wleder"])


def test_the_sentence_says_that_selection_is_unknown(register, write):
    joints = joints_of(3)
    write(
        joints=joints,
        deposits=joints.assign(welder="K7"),
        examinations=joints.assign(verdict="accept"),
    )
    text = sentence(rates(register), ["welder"])
    assert "0 of 3 spots rejected" in text
    assert "Selection unknown" in text
