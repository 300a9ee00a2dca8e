"""Shifts and shortfalls against enumeration and against an assignment solver of scipy."""

from datetime import date
from itertools import chain, combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from ndtstats.planning.order import in_walking_order
from ndtstats.planning.shifts import (
    RANK,
    day_of_shift,
    in_shifts,
    reachable,
    shortfall,
    shortfall_sentence,
)

START = date(2026, 5, 4)

# Day of the due date counted from the first shift, part, exposures.
ROW = st.tuples(
    st.one_of(st.none(), st.integers(-2, 4)), st.sampled_from(list(RANK)), st.integers(1, 5)
)


def spots(rows):
    days, parts, takes = zip(*rows, strict=True) if rows else ((), (), ())
    due = [pd.NaT if day is None else pd.Timestamp(START) + pd.Timedelta(days=day) for day in days]
    return pd.DataFrame(
        {
            "due": pd.Series(due, dtype="datetime64[s]"),
            "zone_path": pd.Series(["TANK"] * len(rows), dtype="str"),
            "joint": pd.Series([f"J-{n}" for n in range(len(rows))], dtype="str"),
            "from_mm": pd.Series([0.0] * len(rows)),
            "method": pd.Series(["RT"] * len(rows), dtype="str"),
            "part": pd.Series(parts, dtype="str"),
            "exposures": pd.Series(takes, dtype="int64"),
            "welded": True,
        }
    )


def in_time(rows, chosen, room_a_day):
    """Say whether chosen spots can all be done in time: the exposures due by each day fit."""
    return all(
        sum(rows[n][2] for n in chosen if rows[n][0] is not None and rows[n][0] <= day)
        <= room_a_day * max(day + 1, 0)
        for day in range(-2, 5)
    )


def counts(rows, chosen):
    """Return how many spots of each rank are chosen, the most important first."""
    return tuple(sum(RANK[rows[n][1]] == rank for n in chosen) for rank in range(4))


def subsets(number):
    return chain.from_iterable(combinations(range(number), size) for size in range(number + 1))


@given(st.lists(ROW, max_size=8), st.integers(1, 3), st.integers(1, 2))
def test_unit_spots_are_reached_in_rank_and_in_all_as_many_as_can_be(rows, per_shift, per_day):
    # Against enumeration of every set of spots that can be in time.
    rows = [(day, part, 1) for day, part, _ in rows]
    reached = reachable(spots(rows), per_shift=per_shift, per_day=per_day, start=START)
    mine = list(np.flatnonzero(reached))
    feasible = [s for s in subsets(len(rows)) if in_time(rows, s, per_shift * per_day)]
    assert in_time(rows, mine, per_shift * per_day)
    assert counts(rows, mine) == max(counts(rows, s) for s in feasible)
    assert len(mine) == max(len(s) for s in feasible)


@given(st.lists(ROW, max_size=8), st.integers(1, 4))
def test_of_each_part_the_most_is_reached_beside_what_comes_before(rows, per_shift):
    # Against enumeration: spots of several exposures, part after part.
    reached = reachable(spots(rows), per_shift=per_shift, per_day=1, start=START)
    mine = set(np.flatnonzero(reached))
    before: set[int] = set()
    for rank in range(4):
        part = [n for n, row in enumerate(rows) if RANK[row[1]] == rank]
        most = max(
            len(s)
            for s in (tuple(part[n] for n in s) for s in subsets(len(part)))
            if in_time(rows, [*before, *s], per_shift)
        )
        taken = mine & set(part)
        assert len(taken) == most
        before |= taken
    assert in_time(rows, mine, per_shift)


@pytest.mark.parametrize("seed", range(20))
def test_it_agrees_with_the_assignment_of_spots_to_exposures(seed):
    # scipy.optimize.linear_sum_assignment (Jonker & Volgenant 1987): spots to exposures in time,
    # each worth more than all of lesser rank together.
    rng = np.random.default_rng(seed)
    parts = list(RANK)
    rows = [(int(rng.integers(-1, 5)), parts[rng.integers(len(parts))], 1) for _ in range(60)]
    per_day, per_shift = 2, 4
    slots = np.repeat(np.arange(5), per_day * per_shift)
    due = np.array([row[0] for row in rows])
    worth = np.array([61.0 ** (3 - RANK[row[1]]) for row in rows])
    gain = np.where(slots <= due[:, None], worth[:, None], 0.0)
    taken, slot = linear_sum_assignment(gain, maximize=True)
    best = taken[gain[taken, slot] > 0]
    reached = reachable(spots(rows), per_shift=per_shift, per_day=per_day, start=START)
    assert counts(rows, np.flatnonzero(reached)) == counts(rows, best)
    assert len(best) < 60


@given(st.lists(ROW, max_size=12), st.integers(1, 5), st.integers(1, 3))
def test_what_is_reached_is_in_time_when_it_is_put_in_shifts(rows, per_shift, per_day):
    frame = spots(rows)
    how = {"per_day": per_day, "start": START}
    reached = frame[reachable(frame, per_shift=per_shift, **how)]
    rows = in_shifts(reached, per_shift=per_shift)
    day = pd.Series(day_of_shift(rows["shift"], **how), index=rows.index)
    assert not (day > rows["due"]).any()


@given(st.lists(ROW, max_size=12), st.integers(1, 5))
def test_shifts_are_full_but_the_last_and_hold_every_exposure(rows, per_shift):
    frame = spots(rows)
    shifts = in_shifts(frame, per_shift=per_shift)
    load = shifts.groupby("shift")["exposures"].sum()
    assert load.iloc[:-1].eq(per_shift).all()
    assert load.le(per_shift).all()
    assert load.index.tolist() == list(range(1, len(load) + 1))
    taken = shifts.groupby("joint")["exposures"].sum()
    assert taken.to_dict() == frame.set_index("joint")["exposures"].to_dict()
    assert shifts["joint"].drop_duplicates().tolist() == in_walking_order(frame)["joint"].tolist()


def test_a_shift_stays_in_one_place():
    # Twelve spots of three tanks with one due date, four exposures a shift: one tank each.
    frame = spots([(3, "random", 1)] * 12).assign(zone_path=["T-2", "T-10", "T-1"] * 4)
    zones = in_shifts(frame, per_shift=4).groupby("shift")["zone_path"].unique()
    assert [list(zone) for zone in zones] == [["T-1"], ["T-2"], ["T-10"]]


# Worked by hand: two exposures a day, five spots due on the first day and one on the second.
def test_what_is_past_takes_nothing_from_what_can_be_reached():
    rows = [(-1, "required", 1)] * 3 + [(0, "random", 1)] * 2
    reached = reachable(spots(rows), per_shift=2, per_day=1, start=START)
    assert reached.tolist() == [False] * 3 + [True] * 2


def test_a_shortfall_says_of_each_spot_why():
    rows = [(-1, "required", 1), (0, "targeted", 1), (0, "random", 1), (None, "random", 1)]
    frame = spots(rows).assign(welded=[True, False, True, True])
    short = shortfall(frame, per_shift=1, per_day=1, start=START)
    assert short[["joint", "why"]].to_numpy().tolist() == [
        ["J-0", "was due on 2026-05-03"],
        ["J-1", "no exposure is left for it by 2026-05-04, and the joint is not welded yet"],
    ]
    assert shortfall_sentence(short, 4, START) == (
        "2 of 4 open spots can no longer be reached in time: 1 required, 1 targeted; "
        "1 was due before."
    )


def test_the_last_day_still_counts():
    # Two shifts of three on each of the days 4 and 5 May: twelve exposures by the fifth.
    rows = [(1, "random", 1)] * 13
    assert reachable(spots(rows), per_shift=3, per_day=2, start=START).sum() == 12


def test_days_run_over_the_end_of_a_month():
    days = day_of_shift(np.arange(1, 8), per_day=3, start=date(2024, 2, 28))
    assert days.astype(str).tolist() == ["2024-02-28"] * 3 + ["2024-02-29"] * 3 + ["2024-03-01"]


def test_no_spot_at_all_is_no_shortfall():
    frame = spots([])
    assert shortfall(frame, per_shift=1, per_day=1, start=START).empty
    assert in_shifts(frame, per_shift=1).empty
