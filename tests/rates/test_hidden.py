import numpy as np
import pandas as pd
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.rates.hidden import hidden
from ndtstats.statistics import BetaDetection


def joints_of(number, **more):
    return pd.DataFrame({"joint": [f"B-{n}" for n in range(number)], **more})


def drawn(joints, pi=0.3, part="random"):
    return joints[["joint"]].assign(
        spot=[f"P1-{n}" for n in range(len(joints))], part=part, pi=pi, draw_order=0.0
    )


def test_one_rate_for_all_is_jeffreys_posterior_of_all(register, write):
    # 2 of 20 spots of 300 mm rejected, 30 m in all: Gamma(2.5, 6 m) found, scipy's nbinom.
    joints = joints_of(30)
    write(
        joints=joints,
        examinations=joints.iloc[:20].assign(verdict=["reject"] * 2 + ["accept"] * 18),
    )
    result = hidden(register, method="RT")
    law = stats.nbinom(2.5, 6 / (6 + 24))
    row = result.total
    amounts = (row["found"], row["examined_m"], row["unexamined_m"])
    assert amounts == pytest.approx((2, 6.0, 24.0), rel=1e-12)
    assert row["mean"] == pytest.approx(law.mean(), rel=1e-9)
    assert row["none"] == pytest.approx(law.pmf(0), rel=1e-9)
    assert row["upper"] == law.ppf(0.9)
    assert any("Selection unknown" in remark for remark in result.remarks)
    assert any("one rate (2 found in 6.0 m)" in remark for remark in result.remarks)


def test_what_the_method_misses_is_added(register, write):
    joints = joints_of(30)
    write(joints=joints, examinations=joints.iloc[:20].assign(verdict="accept"))
    row = hidden(register, method="RT", detection=0.5).total
    # Found rate 0.5 / 6 m, twice that is there: in 24 m, and half of it missed in 6 m.
    assert row["mean_unexamined"] == pytest.approx(2 * 0.5 / 6 * 24, rel=1e-9)
    assert row["mean_missed"] == pytest.approx(2 * 0.5 / 6 * 0.5 * 6, rel=1e-9)
    vague = hidden(register, method="RT", detection=BetaDetection(50_000, 50_000)).total
    assert vague["mean"] == pytest.approx(row["mean"], rel=1e-4)


def test_only_what_was_drawn_tells_of_what_was_not_examined(register, write):
    joints = joints_of(30)
    looked = joints.iloc[:20]
    verdict = ["accept"] * 10 + ["reject"] * 10
    write(
        joints=joints,
        plans=pd.DataFrame({"plan": ["P1"], "drawn_at": [pd.Timestamp("2026-01-10", tz="UTC")]}),
        spots=drawn(looked.iloc[:10]),
        examinations=looked.assign(
            verdict=verdict, request=[f"P1-{n}" for n in range(10)] + [None] * 10
        ),
    )
    result = hidden(register, method="RT")
    # The ten rejects were aimed at; of the ten drawn none was rejected.
    total = result.total
    assert (total["found"], total["examined_m"]) == pytest.approx((0, 3.0), rel=1e-12)
    assert (total["looked_at_m"], total["unexamined_m"]) == pytest.approx((6.0, 24.0), rel=1e-12)
    assert result.total["mean"] == pytest.approx(0.5 / 3 * 24, rel=1e-9)
    assert not any("Selection unknown" in remark for remark in result.remarks)


def test_what_was_drawn_is_weighted(register, write):
    # Five spots of weight 10 with no reject, five of weight 1 all rejected: a rate of 5 / 55 per
    # 300 mm on (55 x 0.3)^2 / (505 x 0.3) m by Kish, worked by hand.
    joints = joints_of(40)
    looked = joints.iloc[:10]
    write(
        joints=joints,
        plans=pd.DataFrame({"plan": ["P1"], "drawn_at": [pd.Timestamp("2026-01-10", tz="UTC")]}),
        spots=drawn(looked, pi=[0.1] * 5 + [0.999999] * 5),
        examinations=looked.assign(
            verdict=["accept"] * 5 + ["reject"] * 5, request=[f"P1-{n}" for n in range(10)]
        ),
    )
    worth = (55 * 0.3) ** 2 / (505 * 0.3)
    row = hidden(register, method="RT").total
    expected = (0.5 + 5 / 16.5 * worth) / worth * 37.0
    assert row["mean"] == pytest.approx(expected, rel=1e-4)
    assert row["found"] == 5


def test_zones_add_up_and_the_total_knows_that_they_hang_together(register, write):
    joints = joints_of(40, zone=["Z1"] * 20 + ["Z2"] * 20)
    write(joints=joints, examinations=joints.iloc[5:25].assign(verdict="accept"))
    result = hidden(register, method="RT")
    assert sorted(result.table["zone"]) == ["Z1", "Z2"]
    assert result.table["mean"].sum() == pytest.approx(result.total["mean"], rel=1e-9)
    # One rate for both: none in either is likelier than if they were independent.
    assert result.total["none"] > result.table["none"].prod()
    law = stats.nbinom(0.5, 6 / 40)
    assert result.total["upper"] == law.ppf(0.9)
    (alone,) = hidden(register, method="RT", by=[]).table.to_dict("records")
    assert alone == result.total.to_dict()


def test_unlike_zones_keep_their_own_rates(register, write):
    joints = joints_of(200, zone=np.repeat([f"Z{n}" for n in range(10)], 20))
    bad = joints["zone"].isin(["Z3", "Z7"])
    looked = joints.groupby("zone").head(15)
    write(
        joints=joints,
        examinations=looked.assign(verdict=np.where(bad.loc[looked.index], "reject", "accept")),
    )
    result = hidden(register, method="RT")
    assert result.table["zone"].iloc[:2].isin(["Z3", "Z7"]).all()
    assert result.table["mean"].iloc[0] > 10 * result.table["mean"].iloc[2]
    assert any("drawn towards" in remark for remark in result.remarks)


def test_examined_twice_or_after_repair_counts_once(register, write):
    joints = joints_of(2)
    first = joints.assign(verdict=["reject", "accept"], to_mm=600.0)
    again = first.iloc[:1].assign(round=1, verdict="accept", report="R-2")
    over = joints.iloc[1:].assign(verdict="accept", from_mm=300.0, to_mm=900.0, report="R-3")
    shot = joints.iloc[:1].assign(verdict="re-shoot", from_mm=600.0, to_mm=1000.0, report="R-4")
    write(
        joints=joints,
        examinations=pd.concat([first, again, over, shot], ignore_index=True).assign(
            round=lambda rows: rows["round"].fillna(0).astype(int),
            from_mm=lambda rows: rows["from_mm"].fillna(0.0),
        ),
    )
    row = hidden(register, method="RT").total
    assert (row["looked_at_m"], row["unexamined_m"]) == pytest.approx((1.5, 0.5))


def test_what_is_not_welded_or_of_another_kind_is_left_out_and_told(register, write):
    joints = joints_of(12, joint_type=["butt"] * 10 + ["tee"] * 2)
    write(
        joints=joints,
        deposits=joints.drop(index=[8, 9]).assign(welder="K7"),
        examinations=joints.iloc[:5].assign(verdict="accept"),
    )
    result = hidden(register, method="RT", by=["joint_type"])
    assert result.table["joint_type"].tolist() == ["butt"]
    assert result.total["unexamined_m"] == pytest.approx(8 - 1.5)
    assert any("2 joints that are not welded yet" in remark for remark in result.remarks)
    assert any("2 m of kinds" in remark and "tee A" in remark for remark in result.remarks)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"by": ["zoen"]}, 'did you mean "zone"'),
        ({"method": "XY"}, "ISO 9712"),
        ({"method": "UT"}, "examined nothing"),
        ({"detection": 1.5}, "at most 1"),
    ],
)
def test_impossible_questions_are_told(register, write, more, says):
    joints = joints_of(3)
    write(joints=joints, examinations=joints.assign(verdict="accept"))
    with pytest.raises(UseError, match=says):
        hidden(register, **{"method": "RT", **more})
