import pandas as pd
import pytest

from ndtstats.demo.answer import answer
from ndtstats.demo.people import LAST_DAY


@pytest.fixture(scope="module")
def asked(yard) -> pd.DataFrame:
    """A request for the first 300 mm of every welded shell butt of the hull."""
    joints, made = yard.tables["joints"], yard.tables["deposits"]
    butts = joints[(joints["category"] == "SHELL-BUTT") & joints["joint"].isin(made["joint"])]
    number = pd.Series(range(len(butts)), index=butts.index).astype(str)
    places = butts[["job", "joint"]].assign(
        request="P1-" + number, method="RT", from_mm=0.0, to_mm=300.0, round=0
    )
    return places.reset_index(drop=True)


@pytest.fixture(scope="module")
def rows(yard, asked) -> pd.DataFrame:
    return answer(asked, yard, series="2", seed=5)


def test_every_spot_that_was_asked_for_is_answered(asked, rows):
    judged = rows[rows["verdict"] != "re-shoot"]
    assert sorted(judged["request"].unique()) == sorted(asked["request"])


def test_the_answer_is_what_is_really_in_the_weld(yard, rows):
    truth = yard.truth
    bad = truth[truth["rejectable"] & truth["shows"] & ~truth["surface"] & (truth["at_mm"] < 300)]
    judged = rows[rows["verdict"].isin(["accept", "reject"])]
    rejected = judged["verdict"] == "reject"
    assert rejected.any()
    assert rejected.equals(judged["joint"].isin(bad["joint"]))


def test_the_same_seed_answers_the_same(yard, asked, rows):
    pd.testing.assert_frame_equal(answer(asked, yard, series="2", seed=5), rows)


def test_the_examiners_come_after_welding(yard, rows):
    welded = yard.tables["deposits"].groupby("joint")["date"].max()
    assert (rows["date"] > rows["joint"].map(welded)).all()


def test_or_after_a_day_that_is_given(yard, asked):
    late = answer(asked, yard, series="4", seed=5, after=LAST_DAY)
    assert (late["date"] > LAST_DAY).all()


def test_the_last_place_can_be_left_open(yard, asked):
    late = answer(asked, yard, series="4", seed=5, after=LAST_DAY, last_unreached=True)
    left = late[late["verdict"] == "not done"]
    assert len(left) == 1
    assert left["date"].iloc[0] == late["date"].max()
    assert left["remark"].notna().all()


def test_repairs_turn_out_well(yard, asked):
    again = answer(asked.assign(round=1), yard, series="4", seed=5)
    assert set(again["verdict"]) == {"accept"}
    assert set(again["round"]) == {1}
