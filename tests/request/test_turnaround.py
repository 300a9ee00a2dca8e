from datetime import timedelta
from itertools import count

import pandas as pd
import pytest

from ndtstats.request import reconcile
from ndtstats.request.turnaround import (
    asked_and_answered,
    corrections,
    image_quality,
    states_counted,
    waiting_days,
)
from ndtstats.statistics import proportion_interval
from ndtstats.statistics.waiting import answered_within, days_until

JOINTS = ["B-1", "B-2", "B-3", "B-4"]
#: Asked for on 2 March: three joints that are welded and one that is not, and a reserve.
ASKED = pd.DataFrame(
    {
        "spot": ["P1-0001", "P1-0002", "P1-0003", "P1-0004", "P1-0005"],
        "joint": [*JOINTS, "B-1"],
        "part": ["random", "random", "required", "random", "reserve"],
        "from_mm": [0.0, 0.0, 0.0, 0.0, 1000.0],
        "to_mm": [300.0, 300.0, 300.0, 300.0, 1300.0],
    }
).assign(job="H1", plan="P1", method="RT", round=0, rule="butts", stratum="s", draw_order=range(5))
P1_0001 = {"joint": "B-1", "request": "P1-0001", "date": "2026-03-10"}


@pytest.fixture
def yard(register, now):
    joints = pd.DataFrame(
        {"job": "H1", "joint": JOINTS, "zone": "Z", "category": "A", "joint_type": "butt",
         "length_mm": 3000.0}
    )  # fmt: skip
    welded = joints.loc[:2, ["job", "joint"]].assign(welder="K7", date=pd.Timestamp("2026-02-01"))
    plan = {
        "plan": "P1", "job": "H1", "kind": "draw", "seed": 1, "frame_sha256": "f", "version": "0",
        "drawn_at": "2026-03-02T10:00:00+00:00",
    }  # fmt: skip
    with register.batch(kind="load", subject="joints", now=now) as batch:
        batch.merge("joints", joints)
        batch.merge("deposits", welded)
    with register.batch(kind="plan", subject="H1", now=now) as batch:
        batch.insert("plans", pd.DataFrame([plan]))
        batch.insert("spots", ASKED)
    return register


@pytest.fixture
def came(yard, now):
    """Load examinations, a row each, an hour after what was loaded before."""
    hours = count(1)
    usual = {
        "job": "H1", "method": "RT", "round": 0, "from_mm": 0.0, "to_mm": 300.0, "report": "R-1",
        "verdict": "accept", "request": None,
    }  # fmt: skip

    def call(*rows):
        frame = pd.DataFrame([usual | row for row in rows])
        frame["date"] = pd.to_datetime(frame["date"])
        at = now + timedelta(hours=next(hours))
        with yard.batch(kind="load", subject="examinations", now=at) as batch:
            batch.merge("examinations", frame)

    return call


def of(yard, spot):
    return asked_and_answered(yard, job="H1").set_index("spot").loc[spot]


def test_days_run_from_the_draw_to_the_examination(yard, came):
    came(P1_0001, {"joint": "B-2", "request": "P1-0002", "date": "2026-03-31"})
    assert of(yard, "P1-0001")["days"] == 8  # 2 to 10 March
    assert of(yard, "P1-0002")["days"] == 29
    counted = states_counted(asked_and_answered(yard))
    assert counted[counted > 0].to_dict() == {"done": 2, "open": 1, "not welded": 1}


def test_nobody_is_held_to_a_joint_that_is_not_welded(yard, now):
    assert of(yard, "P1-0004")["state"] == "not welded"
    assert len(waiting_days(asked_and_answered(yard), pd.Timestamp("2026-04-01"))) == 3
    welded = pd.DataFrame({"job": ["H1"], "joint": ["B-4"], "welder": ["K7"]})
    with yard.batch(kind="load", subject="deposits", now=now) as batch:
        batch.merge("deposits", welded.assign(date=pd.Timestamp("2026-03-20")))
    found = of(yard, "P1-0004")
    assert (found["state"], found["asked_on"]) == ("open", pd.Timestamp("2026-03-20"))


def test_what_was_welded_after_the_examination_is_a_repair(yard, came, now):
    came(P1_0001 | {"verdict": "reject"})
    mended = pd.DataFrame({"job": ["H1"], "joint": ["B-1"], "welder": ["K7"]})
    with yard.batch(kind="load", subject="deposits", now=now) as batch:
        batch.merge("deposits", mended.assign(date=pd.Timestamp("2026-03-20")))
    assert of(yard, "P1-0001")["days"] == 8


def test_a_substitute_is_asked_for_when_it_is_needed(yard, came):
    came(P1_0001 | {"verdict": "not done", "remark": "no access", "date": "2026-03-12"})
    first = of(yard, "P1-0001")
    assert (first["state"], first["reason"]) == ("not done", "no access")
    assert pd.isna(first["days"])
    assert of(yard, "P1-0005")["asked_on"] == pd.Timestamp("2026-03-12")


def test_the_reason_is_found_by_place_too(yard, came):
    came({"joint": "B-1", "date": "2026-03-12", "verdict": "not done", "remark": "pipe in the way"})
    assert of(yard, "P1-0001")["reason"] == "pipe in the way"


def test_nothing_tells_why_a_place_was_chosen(yard):
    rows = asked_and_answered(yard)
    assert "reserve" in set(reconcile(yard, "P1")["state"])
    assert "P1-0005" not in set(rows["spot"])
    assert not {"part", "stratum", "why", "substitute", "note"} & set(rows)


def test_images_that_were_there_before_are_no_answer_in_time(yard, came):
    came(P1_0001 | {"date": "2026-02-20"})
    assert of(yard, "P1-0001")["days"] == -10
    assert not waiting_days(asked_and_answered(yard), pd.Timestamp("2026-04-01"))["answered"].any()


def test_an_image_that_is_no_good_is_no_answer(yard, came):
    came(P1_0001 | {"verdict": "re-shoot", "exposure": "1"})
    assert of(yard, "P1-0001")["state"] == "open"
    came(P1_0001 | {"exposure": "2", "date": "2026-03-16"})
    assert of(yard, "P1-0001")["days"] == 14


def test_those_who_wait_count_as_long_as_they_wait(yard, came):
    came(P1_0001)
    waiting = waiting_days(asked_and_answered(yard), pd.Timestamp("2026-03-22"))
    assert sorted(waiting["days"]) == [8, 20, 20]
    assert waiting["answered"].tolist() == [True, False, False]
    # Most still wait, so nobody can say within how many days half are answered.
    assert days_until(answered_within(waiting["days"], waiting["answered"]), 0.5)[0] == float("inf")


def test_what_nobody_asked_for_is_told_once(yard, came, now):
    other = {
        "plan": "P2", "job": "H1", "kind": "extra", "seed": 1, "frame_sha256": "f", "version": "0",
        "drawn_at": "2026-03-02T11:00:00+00:00",
    }  # fmt: skip
    with yard.batch(kind="plan", subject="H1", now=now) as batch:
        batch.insert("plans", pd.DataFrame([other]))
        batch.insert("spots", ASKED.iloc[[2]].assign(spot="P2-0001", plan="P2", from_mm=100.0))
    came({"joint": "B-2", "from_mm": 2000.0, "to_mm": 2300.0, "date": "2026-03-11"})
    assert sum((reconcile(yard, plan)["state"] == "unasked").sum() for plan in ("P1", "P2")) == 2
    rows = asked_and_answered(yard).query("state == 'unasked'")
    assert len(rows) == 1
    assert rows["asked_on"].isna().all()


def test_a_register_without_plans_was_asked_nothing(register):
    rows = asked_and_answered(register)
    assert rows.empty
    assert states_counted(rows).sum() == 0


SEEN = pd.DataFrame(
    {
        "method": ["RT"] * 30 + ["PT"] * 10,
        "technician": ["A", None] * 20,
        "date": pd.to_datetime(["2026-03-31", "2026-04-01"] * 20),
        "verdict": ["re-shoot"] * 3 + ["accept"] * 27 + ["not done"] * 10,
    }
)


def test_reshoots_are_of_the_exposures_taken():
    """3 of 30: Clopper-Pearson 95 % 0.0211 to 0.2653 (recomputed tables in tests/references)."""
    whole = image_quality(SEEN).iloc[0]
    assert (whole["reshoots"], whole["taken"], whole["rate"]) == (3, 30, 0.1)
    assert whole[["lower", "upper"]].tolist() == pytest.approx([0.0211, 0.2653], abs=5e-5)
    assert image_quality(SEEN, ["method"])["method"].tolist() == ["RT"]  # PT: all not done


def test_reshoots_by_month_and_technician():
    months = image_quality(SEEN, ["month"])
    assert months[["month", "reshoots", "taken"]].values.tolist() == [
        ["2026-03", 2, 15], ["2026-04", 1, 15]
    ]  # fmt: skip
    assert image_quality(SEEN, ["technician"])["technician"].tolist() == ["A", "not named"]
    wide = proportion_interval(2, 15, level=0.99)
    assert image_quality(SEEN, ["month"], level=0.99)["upper"].iloc[0] == pytest.approx(wide.upper)


def test_no_exposure_has_no_rate():
    none = image_quality(SEEN.iloc[:0]).iloc[0]
    assert (none["taken"], none["lower"], none["upper"]) == (0, 0, 1)
    assert pd.isna(none["rate"])
    assert image_quality(SEEN.iloc[:0], ["month"]).empty


def test_corrections_are_those_of_files_of_examinations(yard, came):
    came(P1_0001)
    came(P1_0001 | {"verdict": "reject"})
    table = corrections(yard.batches())
    assert table[["new", "corrected"]].values.tolist() == [[1, 0], [0, 1]]
    assert set(table["month"]) == {"2026-03"}
    assert corrections(yard.batches().iloc[:0]).empty
