import pandas as pd
import pytest

from ndtstats.columns import TABLES
from ndtstats.demo.answer import answer, correct_answer
from ndtstats.demo.people import FIRST_DAY, LAST_DAY
from ndtstats.intake import write_table


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
    return answer(asked, yard, series="2", seed=5, after=FIRST_DAY)


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
    again = answer(asked, yard, series="2", seed=5, after=FIRST_DAY)
    pd.testing.assert_frame_equal(again, rows)


def test_the_examiners_come_after_welding(yard, rows):
    welded = yard.tables["deposits"].groupby("joint")["date"].max()
    assert (rows["date"] > rows["joint"].map(welded)).all()


def test_and_after_the_request(yard, asked):
    late = answer(asked, yard, series="4", seed=5, after=LAST_DAY)
    assert (late["date"] > LAST_DAY).all()


def test_the_last_place_can_be_left_open(yard, asked):
    late = answer(asked, yard, series="4", seed=5, after=LAST_DAY, last_unreached=True)
    left = late[late["verdict"] == "not done"]
    assert len(left) == 1
    assert left["date"].iloc[0] == late["date"].max()
    assert left["remark"].notna().all()


def test_repairs_turn_out_well(yard, asked):
    again = answer(asked.assign(round=1), yard, series="4", seed=5, after=FIRST_DAY)
    assert set(again["verdict"]) == {"accept"}
    assert set(again["round"]) == {1}


def test_a_few_images_are_short_or_lie_beside_what_was_asked(yard, asked):
    far = pd.concat([asked.assign(from_mm=300.0, to_mm=600.0)] * 8, ignore_index=True)
    far["request"] = "P1-" + far.index.astype(str)
    rows = answer(far, yard, series="2", seed=5, after=FIRST_DAY).drop_duplicates("request")
    length = rows["to_mm"] - rows["from_mm"]
    beside = rows["from_mm"] != 300.0
    assert 0 < beside.sum() < len(rows) / 10
    assert (length[beside] == 300.0).all()
    assert set(length[~beside]) == {300.0, 230.0}


def test_a_correction_changes_who_took_the_first_radiographs_and_nothing_else(tmp_path):
    titles = ["method", "technician", "joint"]
    sent, mended = tmp_path / "sent.csv", tmp_path / "mended.csv"
    table = pd.DataFrame([["PT", "A", "1"], ["RT", "B", "2"], ["RT", "B", "3"]], columns=titles)
    write_table(sent, table, TABLES["examinations"])
    correct_answer(sent, mended, rows=1, technician="C")
    after = pd.read_csv(mended, dtype="str")
    assert after["technician"].tolist() == ["A", "C", "B"]
    assert after["joint"].tolist() == ["1", "2", "3"]
