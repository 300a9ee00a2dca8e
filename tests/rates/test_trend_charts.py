import numpy as np
import pandas as pd
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.rates.trend_charts import signal_sentences, trend_of, trend_sentence


def spots(months, welder="K1", **more):
    """Return joints of a metre with one spot of 300 mm each, rejected of examined by month."""
    each = pd.DataFrame(
        [
            (month, verdict)
            for month, (k, n) in months.items()
            for verdict in ["reject"] * k + ["accept"] * (n - k)
        ],
        columns=["month", "verdict"],
    )
    number = np.arange(len(each))
    return {
        "joints": pd.DataFrame({"joint": [f"B-{n:03}" for n in number]}),
        "deposits": pd.DataFrame({"joint": [f"B-{n:03}" for n in number], "welder": welder}),
        "examinations": pd.DataFrame(
            {
                "joint": [f"B-{n:03}" for n in number], "verdict": each["verdict"],
                "date": pd.to_datetime(each["month"] + "-15"),
                "report": [f"R-{n}" for n in number], **more,
            }
        ),
    }  # fmt: skip


STEADY = {f"2026-{month:02}": (1, 20) for month in range(2, 10)}


def test_limits_are_exact_and_a_signal_names_month_and_rejects(register, write):
    write(**spots(STEADY | {"2026-05": (8, 20)}))
    trend = trend_of(register, method="rt", good=0.2, bad=0.4)
    months = trend.months.set_index("month")
    centre = 15 / 160
    law = stats.binom(20, centre)
    # The greatest count that chance exceeds or meets oftener than a point beyond three sigma.
    most = max(k for k in range(21) if law.sf(k - 1) > stats.norm.sf(3))
    assert months.loc["2026-05", ["centre", "upper"]].tolist() == pytest.approx([centre, most / 20])
    assert months["signal"].tolist() == ["", "", "", "above", "", "", "", ""]
    (spot,) = trend.signals[trend.signals["chart"] == "spots"].to_dict("records")
    assert (spot["when"], spot["rejected"], spot["examined"]) == ("2026-05", 8, 20)
    assert spot["examinations"].split("; ") == [
        f"RT R-{n}, B-{n:03} 0-300 mm, 2026-05-15" for n in range(60, 68)
    ]
    assert months.loc["2026-05", "examinations"].startswith("RT R-60, B-060")
    assert signal_sentences(trend)[0].startswith(
        "Month 2026-05: 8 of 20 spots rejected, above the limit: RT R-60, B-060 0-300 mm"
    )


def test_rates_per_metre_have_poisson_limits(register, write):
    write(**spots(STEADY))
    months = trend_of(register, method="RT").months
    law = stats.poisson(8 / 48 * 6)
    most = max(k for k in range(50) if law.sf(k - 1) > stats.norm.sf(3))
    assert months["metres"].tolist() == pytest.approx([6.0] * 8)
    assert months["per_m_upper"].to_numpy() == pytest.approx(most / 6)
    assert months["per_m_centre"].to_numpy() == pytest.approx(8 / 48)


def test_steady_work_shows_no_trend_and_says_so(register, write):
    write(**spots(STEADY))
    trend = trend_of(register, method="RT")
    assert trend.signals.empty
    assert trend_sentence(trend) == (
        "8 of 160 spots rejected at first examination in 8 months, 5 %; nothing lies outside what "
        "chance allows, so no trend is shown."
    )


def test_a_month_with_little_data_is_not_overread(register, write):
    # One of one rejected is no signal where 7 % is usual, on any chart.
    write(**spots(STEADY | {"2026-10": (1, 1)}))
    trend = trend_of(register, method="RT")
    assert trend.signals.empty
    last = trend.months.iloc[-1]
    assert (last["share"], last["judged"], last["upper"]) == (1.0, False, 1.0)
    assert any("too little to be judged" in remark for remark in trend.remarks)


def test_a_month_with_nothing_examined_stands_there_without_limits(register, write):
    write(**spots({"2026-02": (1, 20), "2026-05": (1, 20)}))
    months = trend_of(register, method="RT").months
    assert months["month"].tolist() == ["2026-02", "2026-03", "2026-04", "2026-05"]
    assert months["share"].isna().tolist() == [False, True, True, False]
    assert months["upper"].isna().tolist() == [False, True, True, False]
    assert not months["judged"].iloc[1]


def test_a_small_lasting_rise_is_seen_by_the_moving_average(register, write):
    usual = {f"2025-{month:02}": (1, 40) for month in range(1, 13)}
    raised = {f"2026-{month:02}": (6, 40) for month in range(2, 8)}
    write(**spots(usual | raised))
    trend = trend_of(register, method="RT")
    assert (trend.months["signal"] == "").all()
    by_average = trend.signals[trend.signals["chart"] == "EWMA"]
    assert len(by_average)
    # It names what has gathered since the average was last below what is usual: in February.
    last = by_average.iloc[-1]
    assert last["when"] == "2026-07"
    assert (last["rejected"], last["examined"]) == (30, 200)
    assert "2025" not in last["examinations"].replace("R-2025", "")


def test_each_welder_has_a_cusum_that_names_its_rejects(register, write):
    tables = spots({"2026-02": (0, 12)})
    verdicts = ["accept", "reject", "accept", "reject", "reject", "accept"] * 2
    tables["examinations"] = tables["examinations"].assign(
        verdict=verdicts, date=pd.date_range("2026-02-01", periods=12)
    )
    tables["deposits"]["welder"] = ["K1"] * 6 + ["K2"] * 6
    write(**tables)
    trend = trend_of(register, method="RT", good=0.02, bad=0.2, spots_between_false_alarms=1000)
    # By hand: m and the limit in steps; a reject adds m - 1, an accept takes 1 away, never below 0.
    m, limit = trend.cusum.spots_per_reject, trend.cusum.limit
    sums, at = [], 0
    for verdict in verdicts[:6]:
        at = max(0, at + (m - 1 if verdict == "reject" else -1))
        sums.append(at)
        at = 0 if at >= limit else at
    crossings = [n for n, value in enumerate(sums) if value >= limit]
    assert crossings == [4]
    signals = trend.signals[trend.signals["chart"] == "CUSUM"]
    assert signals["welder"].tolist() == ["K1", "K2"]
    assert signals["when"].tolist() == ["2026-02-05", "2026-02-11"]
    assert signals["examinations"].iloc[0] == (
        "RT R-1, B-001 0-300 mm, 2026-02-02; RT R-3, B-003 0-300 mm, 2026-02-04; "
        "RT R-4, B-004 0-300 mm, 2026-02-05"
    )
    # From the first reject on: four spots, three of them rejected.
    assert signals[["rejected", "examined"]].to_numpy().tolist() == [[3, 4], [3, 4]]
    welders = trend.welders.set_index("welder")
    assert welders.loc["K1", ["signals", "value", "last_signal"]].tolist() == [1, 0.0, "2026-02-05"]


def test_its_run_lengths_are_said(register, write):
    write(**spots(STEADY))
    trend = trend_of(register, method="RT", good=0.02, bad=0.10, spots_between_false_alarms=2000)
    # Run lengths of this chart as its docstring has them, 2108.1 and 45.3.
    assert any("falsely once in 2,108 spots" in r and "after 45" in r for r in trend.remarks)


def test_order_of_time_counts_not_of_loading(register, write):
    tables = spots({"2026-02": (3, 9)})
    days = pd.date_range("2026-02-01", periods=9)
    # Loaded first, but examined at the beginning, the middle and the end.
    tables["examinations"]["date"] = [days[0], days[4], days[8], *days.delete([0, 4, 8])]
    write(**tables)
    early = trend_of(register, method="RT", good=0.05, bad=0.3, spots_between_false_alarms=1e5)
    sums = early.welders["value"].iloc[0]
    m = early.cusum.spots_per_reject
    at = 0
    for day in days:
        at = max(0, at + (m - 1 if day in {days[0], days[4], days[8]} else -1))
    assert early.signals.empty
    assert sums == pytest.approx(at / m)


def test_one_welder_alone(register, write):
    tables = spots(STEADY)
    tables["deposits"]["welder"] = ["K1", "K2"] * 80
    write(**tables)
    trend = trend_of(register, method="RT", welder="K1")
    assert trend.months["examined"].sum() == 80
    assert trend.welders["welder"].tolist() == ["K1"]


def test_aimed_places_make_no_trend(register, write):
    tables = spots(STEADY | {"2026-05": (8, 20)})
    number = np.arange(160)
    asked = [f"P1-{n}" for n in number]
    tables["examinations"] = tables["examinations"].assign(request=asked)
    rejected_in_may = (number >= 60) & (number < 68)
    write(
        **tables,
        plans=pd.DataFrame({"plan": ["P1"], "drawn_at": [pd.Timestamp("2026-01-10", tz="UTC")]}),
        spots=pd.DataFrame({
            "joint": tables["joints"]["joint"], "spot": asked, "pi": 0.5, "draw_order": 0.0,
            "part": np.where(rejected_in_may, "extra", "random"),
        }),
    )  # fmt: skip
    trend = trend_of(register, method="RT")
    assert trend.signals.empty
    assert trend.remarks[0].startswith("Rests on 152 first examinations of places that rules")
    assert len(trend_of(register, method="RT", basis="described").signals)


def test_no_reject_at_all_is_a_chart_of_zeros(register, write):
    write(**spots({"2026-02": (0, 9), "2026-03": (0, 5)}))
    trend = trend_of(register, method="RT")
    assert trend.months["share"].tolist() == [0.0, 0.0]
    assert trend.signals.empty
    assert trend.months["upper"].isna().all()
    assert trend.centre == 0
    assert trend_sentence(trend).endswith("no reject is not the same as no defect.")


def test_nothing_examined_yet_is_said(register, write):
    write(**spots(STEADY))
    trend = trend_of(register, method="UT")
    assert trend_sentence(trend).startswith("Nothing was examined")
    assert trend.signals.empty
    assert trend.welders.empty
    assert all(remark.startswith("CUSUM") for remark in trend.remarks)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"welder": "k1"}, 'did you mean "K1"'),
        ({"good": 0.2}, "below the bad rate"),
        ({"spots_between_false_alarms": 0}, "1 or more"),
        ({"method": "XY"}, "ISO 9712"),
    ],
)
def test_impossible_questions_are_told(register, write, more, says):
    write(**spots(STEADY))
    with pytest.raises(UseError, match=says):
        trend_of(register, **{"method": "RT", **more})


def test_how_much_spots_of_a_joint_go_together_is_said(register, write):
    # Pairs of spots on a joint, both rejected or neither: correlation 1, a design effect of 2.
    tables = spots({f"2026-{month:02}": (4, 40) for month in range(2, 6)})
    on = pd.Series(np.arange(160) // 2)
    joint = on.map("B-{:03}".format)
    exams = tables["examinations"].assign(
        joint=joint, from_mm=np.tile([0.0, 300.0], 80), to_mm=np.tile([300.0, 600.0], 80)
    )
    each = pd.DataFrame({"joint": joint.unique()})
    write(joints=each, deposits=each.assign(welder="K1"), examinations=exams)
    trend = trend_of(register, method="RT")
    assert any(
        "The 160 spots lie on 80 joints; spots of a joint go together (correlation 1.00), so "
        "chance spreads wider than these limits take it to, by about 1.41" in remark
        for remark in trend.remarks
    )
