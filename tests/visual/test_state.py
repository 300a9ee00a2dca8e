"""What was seen by eye of joints whose story is told in a few rows; expectations by hand."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.visual import visual_state
from ndtstats.visual.state import state_of_joints
from ndtstats.visual.stretches import cut_at

JOINT = pd.DataFrame({"job": "H1", "zone": "T", "joint": ["F-1"], "length_mm": [900.0]})
NOTHING = pd.DataFrame({"joint": [], "from_mm": [], "to_mm": [], "date": []})


def looked(*rows):
    """Visual examinations as (from, to, verdict, day of March 2026[, round])."""
    columns = ["from_mm", "to_mm", "verdict", "day", "round"]
    frame = pd.DataFrame([(*row, 0)[:5] for row in rows], columns=columns)
    day = pd.Timestamp("2026-02-28") + pd.to_timedelta(frame["day"], unit="D")
    return frame.assign(joint="F-1", date=day, report="V-" + frame["day"].astype("str"),
                        remark=None, id=range(len(frame)))  # fmt: skip


def welded(*rows):
    frame = pd.DataFrame(rows, columns=["from_mm", "to_mm", "day"])
    return frame.assign(
        joint="F-1", date=pd.Timestamp("2026-02-28") + pd.to_timedelta(frame["day"], unit="D")
    )


@pytest.mark.parametrize(
    ("rows", "state", "seen_mm", "day"),
    [
        ([], "not seen", 0, None),
        ([(None, None, "accept", 3)], "accepted", 900, 3),
        ([(0, 500, "accept", 3)], "partly", 500, None),
        # Two halves, seen on two days; what overlaps counts once.
        ([(0, 500, "accept", 3), (400, 900, "accept", 5)], "accepted", 900, 5),
        ([(None, None, "reject", 3)], "rejected", 900, None),
        ([(None, None, "reject", 3), (None, None, "accept", 4, 1)], "accepted", 900, 4),
        # On one day the later round is the later word, whatever came first in the file.
        ([(None, None, "accept", 3, 1), (None, None, "reject", 3, 0)], "accepted", 900, 3),
        # Accepted again where it was rejected, and nowhere else needed.
        ([(None, None, "reject", 3), (0, 900, "accept", 4)], "accepted", 900, 4),
        ([(None, None, "accept", 3), (200, 300, "reject", 4)], "rejected", 900, None),
        ([(None, None, "accept", 3), (200, 300, "reject", 4), (200, 300, "accept", 6, 1)],
         "accepted", 900, 3),
        ([(None, None, "not done", 3), (None, None, "re-shoot", 4)], "not seen", 0, None),
        ([(0, 899.7, "accept", 3)], "accepted", 899.7, 3),
    ],
)  # fmt: skip
def test_the_latest_verdict_of_each_place_counts(rows, state, seen_mm, day):
    found = state_of_joints(JOINT, looked(*rows), NOTHING).iloc[0]
    assert (found["state"], found["seen_mm"]) == (state, pytest.approx(seen_mm))
    on = found["accepted_on"]
    assert (None if pd.isna(on) else on.day) == day


@pytest.mark.parametrize(
    ("deposits", "state"),
    [
        ([(None, None, 2)], "accepted"),
        ([(None, None, 3)], "accepted"),  # only days are known: on the day counts
        ([(None, None, 2), (200, 300, 4)], "partly"),
        ([(None, None, 4)], "not seen"),
    ],
)
def test_what_was_welded_since_was_not_seen(deposits, state):
    found = state_of_joints(JOINT, looked((None, None, "accept", 3)), welded(*deposits)).iloc[0]
    assert found["state"] == state
    assert ("200 to 300 mm not seen" in found["note"]) == (state == "partly")


def test_a_note_says_where_and_why():
    rejected = looked((0, 900, "accept", 3), (200, 300, "reject", 4))
    told = state_of_joints(JOINT, rejected, NOTHING)["note"].iloc[0]
    assert told == "200 to 300 mm rejected on 2026-03-04, report V-4"
    hindered = looked((None, None, "not done", 3)).assign(remark="lagging is on")
    assert state_of_joints(JOINT, hindered, NOTHING)["note"].iloc[0] == "not done: lagging is on"


def test_a_joint_that_was_cut_out_is_not_looked_at(register, write):
    write(joints={"joint": ["F-1", "F-1R"], "replaces": [None, "F-1"]})
    assert visual_state(register, job="H1")["joint"].tolist() == ["F-1R"]


@pytest.mark.parametrize(
    ("method", "seen", "examined", "told"),
    [
        ("RT", (0, 900, 3), (0, 300, 3), False),
        ("RT", (0, 900, 4), (0, 300, 3), True),
        ("PT", (0, 900, 4), (0, 300, 3), True),
        # What was looked at in time is in order, whatever the rest of the joint is.
        ("UT", (0, 300, 2), (0, 300, 3), False),
        ("UT", (0, 200, 2), (0, 300, 3), True),
    ],
)
def test_examined_before_it_was_seen(register, write, method, seen, examined, told):
    day = pd.Timestamp("2026-02-28")
    rows = [
        {"from_mm": low, "to_mm": high, "date": day + pd.Timedelta(days=on), "verdict": "accept"}
        for low, high, on in (seen, examined)
    ]
    frame = pd.DataFrame(rows).assign(joint="F-1", method=["VT", method])
    write(joints={"joint": ["F-1"]}, examinations=frame)
    note = visual_state(register, job="H1")["note"].iloc[0]
    says = f"{method} V-1 of 2026-03-03 came before it was accepted by eye"
    assert note.endswith(says) == told


def test_as_of_gives_what_was_known(register, write, now):
    write(joints={"joint": ["F-1"]})
    then = register.latest_time()
    seen = {"joint": ["F-1"], "verdict": ["accept"], "date": [pd.Timestamp("2026-03-01")]}
    write(examinations=seen)
    assert visual_state(register, job="H1", as_of=then)["state"].tolist() == ["not seen"]
    assert visual_state(register, job="H1")["state"].tolist() == ["accepted"]


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 80), st.integers(1, 40), st.sampled_from(["accept", "reject"]),
            st.integers(1, 9), st.integers(0, 2),
        ),
        max_size=8,
    )
)  # fmt: skip
def test_millimetre_by_millimetre_it_is_the_same(rows):
    # The slow way: each of 90 stretches asks all examinations.
    seen = looked(*((10 * low, 10 * (low + long), *rest) for low, long, *rest in rows))
    found = state_of_joints(JOINT, seen, NOTHING).iloc[0]
    latest = seen.sort_values(["date", "round", "id"], ascending=False)
    looks = list(latest[["from_mm", "to_mm", "verdict"]].itertuples(index=False))
    verdicts = [
        next((verdict for low, high, verdict in looks if low < place < high), None)
        for place in range(5, 900, 10)
    ]
    assert found["seen_mm"] == 10 * sum(verdict is not None for verdict in verdicts)
    known = (
        "rejected" if "reject" in verdicts
        else "accepted" if set(verdicts) == {"accept"}
        else "partly" if "accept" in verdicts else "not seen"
    )  # fmt: skip
    assert found["state"] == known


def test_stretches_are_the_joint():
    random = np.random.default_rng(4)
    joints = pd.DataFrame({"joint": ["A", "B", "C"], "length_mm": [900.0, 333.3, 50.0]})
    marks = pd.DataFrame({"joint": random.choice(["A", "B"], 40)})
    marks["from_mm"], size = random.uniform(0, 900, 40), random.uniform(0, 300, 40)
    cut = cut_at(joints, marks.assign(to_mm=marks["from_mm"] + size))
    sizes = (cut.stretches["to_mm"] - cut.stretches["from_mm"]).groupby(cut.stretches["joint"])
    assert sizes.sum().to_dict() == pytest.approx({"A": 900.0, "B": 333.3, "C": 50.0})
    assert (sizes.min() > 0).all()
