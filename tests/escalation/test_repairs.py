"""A reject owes its repair and the same place examined again, whatever its procedure."""

import pandas as pd
import pytest

from ndtstats.escalation import repairs


def history(*frames):
    rows = pd.concat(frames, ignore_index=True)
    return rows.assign(order=range(len(rows)))


def shown(*rows):
    return pd.DataFrame(rows, columns=["ref", "start_mm", "end_mm"])


NOWHERE = shown()


def test_e4_a_bad_repair_is_repaired_again(make):
    # ASME B31.3, 341.3.4 (f); seen.
    reject = make.films(("J1", "reject", 1))
    again = make.films(("J1", "reject", 3)).assign(round=1)
    items = repairs(history(reject, again), NOWHERE)
    assert make.found(items) == [
        ("re-examine", 1, 0, "done"), ("repair", 1, 0, "done"),
        ("re-examine", 2, 1, "open"), ("repair", 2, 1, "open"),
    ]  # fmt: skip
    closed = make.films(("J1", "accept", 4)).assign(round=2)
    items = repairs(history(reject, again, closed), NOWHERE)
    assert set(items["state"]) == {"done"}
    assert items.loc[items["round"] == 2, "answered_by"].tolist() == ["RT R-04, J1"] * 2


def test_a_re_examination_that_misses_the_place_does_not_close_it(make):
    # A tape turned round is a real way to fail: opinion, seen.
    reject = make.spots((900, 1200, "reject", 1))
    astray = make.spots((1800, 2100, "accept", 2)).assign(round=1)
    bad = shown((reject["ref"].iloc[0], 950.0, 990.0))
    items = repairs(history(reject, astray), bad)
    assert set(items["state"]) == {"open"}
    assert items["because"].str.contains("does not cover the place").all()
    right = make.spots((930, 1010, "accept", 3)).assign(round=1)
    items = repairs(history(reject, astray, right), bad)
    assert set(items["state"]) == {"done"}
    assert set(items["answered_by"]) == set(right["ref"])


@pytest.mark.parametrize(
    ("covered", "state"),
    [
        ([(900, 1100)], "open"),
        ([(900, 1100), (1500, 1700)], "done"),
        ([(900, 1000), (1000, 1100), (1500, 1700)], "done"),
        ([(900, 1030), (1500, 1700)], "open"),
        ([(900, 1045), (1500, 1700)], "done"),  # 5 mm off the end: two readings of a tape
    ],
)
def test_every_indication_must_be_covered_but_not_what_lies_between(make, covered, state):
    reject = make.spots((500, 2000, "reject", 1))
    ref = reject["ref"].iloc[0]
    bad = shown((ref, 950.0, 1050.0), (ref, 1550.0, 1570.0))
    again = make.spots(*((low, high, "accept", 2) for low, high in covered)).assign(round=1)
    assert set(repairs(history(reject, again), bad)["state"]) == {state}


def test_a_reject_that_is_nowhere_in_particular_is_examined_whole(make):
    reject = make.spots((900, 1200, "reject", 1))
    part = make.spots((900, 1100, "accept", 2)).assign(round=1)
    rest = make.spots((1100, 1200, "accept", 3)).assign(round=1)
    assert set(repairs(history(reject, part), NOWHERE)["state"]) == {"open"}
    assert set(repairs(history(reject, part, rest), NOWHERE)["state"]) == {"done"}


@pytest.mark.parametrize(
    "change",
    [{"method": "PT"}, {"round": 0}, {"date": pd.Timestamp("2026-02-20")}, {"joint": "B-2"}],
    ids=["method", "round", "date", "joint"],
)
def test_only_a_later_examination_by_the_same_method_closes_a_reject(make, change):
    # Same method, same extent: ASME B31.3, 341.3.3; seen.
    reject = make.films(("J1", "reject", 1))
    right = make.films(("J1", "accept", 2)).assign(round=1)
    assert set(repairs(history(reject, right), NOWHERE)["state"]) == {"done"}
    assert set(repairs(history(reject, right.assign(**change)), NOWHERE)["state"]) == {"open"}


def test_the_re_examination_of_a_neighbour_is_not_astray(make):
    rejects = make.spots((900, 1200, "reject", 1), (1200, 1500, "reject", 2))
    again = make.spots((900, 1200, "accept", 3)).assign(round=1)
    items = repairs(history(rejects, again), NOWHERE)
    still = items[items["state"] == "open"]
    assert len(still) == 2
    assert not still["because"].str.contains("does not cover").any()


def test_nothing_rejected_owes_nothing(make):
    assert repairs(make.films(("J1", "accept", 1)), NOWHERE).empty
