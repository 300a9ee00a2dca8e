import pandas as pd
import pytest

from ndtstats.planning.order import (
    due_dates,
    in_walking_order,
    natural,
    with_due_dates,
    zone_paths,
    zones_within,
)


def zones(**of):
    frame = pd.DataFrame([(zone, *values) for zone, values in of.items()])
    frame.columns = ["zone", "parent", "due"]
    return frame.assign(due=pd.to_datetime(frame["due"]))


# Zones nest, and a weld is due before its zone closes (the meaning of a due date in columns.py):
# what is inside is out of reach when what is around it is closed. Worked by hand.
NESTED = zones(
    HULL=(None, "2026-09-01"),
    BLOCK=("HULL", "2026-05-01"),
    TANK=("BLOCK", "2026-06-01"),
    VOID=("BLOCK", None),
    FREE=(None, None),
)


def test_a_weld_is_due_before_the_first_zone_around_it_closes():
    due = due_dates(NESTED)
    assert due[["TANK", "VOID", "BLOCK"]].eq(pd.Timestamp("2026-05-01")).all()
    assert due["HULL"] == pd.Timestamp("2026-09-01")
    assert pd.isna(due["FREE"])


def test_zones_in_a_circle_come_to_an_end():
    circle = zones(A=("B", "2026-05-01"), B=("A", "2026-04-01"))
    assert due_dates(circle).eq(pd.Timestamp("2026-04-01")).all()
    assert zones_within(circle, "A") == ["A", "B"]
    assert zone_paths(circle)["A"].endswith("B > A")


def test_a_path_names_the_zones_around_from_the_outermost_in():
    paths = zone_paths(NESTED)
    assert paths.to_dict() == {
        "HULL": "HULL",
        "BLOCK": "HULL > BLOCK",
        "TANK": "HULL > BLOCK > TANK",
        "VOID": "HULL > BLOCK > VOID",
        "FREE": "FREE",
    }
    assert zone_paths(NESTED.iloc[:0]).empty


def test_zones_of_one_block_stay_together():
    # Both blocks are due on one day; by name alone their tanks would take turns.
    nested = zones(
        B1=(None, "2026-05-01"), B2=(None, "2026-05-01"),
        T1=("B2", None), T2=("B1", None), T3=("B2", None), T4=("B1", None),
    )  # fmt: skip
    paths = zone_paths(nested).iloc[2:]
    rows = spots([("2026-05-01", path, "J-1", 0.0, "RT") for path in paths])
    names = in_walking_order(rows)["zone_path"].str[-2:].tolist()
    assert names == ["T2", "T4", "T1", "T3"]


def test_a_zone_holds_those_nested_in_it():
    assert zones_within(NESTED, "BLOCK") == ["BLOCK", "TANK", "VOID"]
    assert zones_within(NESTED, "TANK") == ["TANK"]
    assert zones_within(NESTED, "NONE") == []


# The order in which GNU "sort --version-sort" puts the same names.
VERSION_SORTED = ["A-1", "A-2", "A-10", "B-1-2", "B-1-10", "B-2", "SB-9", "SB-10a", "SB-10b"]


def test_names_sort_as_people_count():
    shuffled = pd.Series(sorted(VERSION_SORTED))
    assert shuffled[natural(shuffled).sort_values().index].tolist() == VERSION_SORTED


def test_capitals_do_not_part_names():
    names = pd.Series(["b-2", "A-1", "B-1"])
    assert names[natural(names).sort_values().index].tolist() == ["A-1", "B-1", "b-2"]


def spots(rows):
    frame = pd.DataFrame(rows, columns=["due", "zone_path", "joint", "from_mm", "method"])
    return frame.assign(due=pd.to_datetime(frame["due"]))


def test_what_is_due_first_comes_first_then_the_walk():
    rows = [
        (None, "A", "J-1", 0.0, "RT"),
        ("2026-06-01", "A", "J-1", 0.0, "RT"),
        ("2026-05-01", "Z-10", "J-1", 0.0, "RT"),
        ("2026-05-01", "Z-9", "J-10", 0.0, "RT"),
        ("2026-05-01", "Z-9", "J-9", 900.0, "RT"),
        ("2026-05-01", "Z-9", "J-9", 300.0, "UT"),
        ("2026-05-01", "Z-9", "J-9", 300.0, "RT"),
    ]
    ordered = in_walking_order(spots(rows))
    assert ordered.astype({"due": "str"}).equals(spots(rows[::-1]).astype({"due": "str"}))


def test_joints_whose_names_count_alike_are_not_mixed():
    rows = [(None, "A", name, at, "RT") for at in (0.0, 300.0) for name in ("J-01", "J-1")]
    assert in_walking_order(spots(rows))["joint"].tolist() == ["J-01", "J-01", "J-1", "J-1"]


@pytest.mark.parametrize("rows", [[], [(None, None, "J-1", 0.0, "RT")]])
def test_nothing_and_unknown_zones_are_no_trouble(rows):
    assert len(in_walking_order(spots(rows))) == len(rows)


@pytest.mark.parametrize("joints", [[], ["J-1"]])
def test_a_job_without_zones_has_no_due_dates(register, joints):
    dated = with_due_dates(register, "H1", pd.DataFrame({"joint": pd.Series(joints, dtype="str")}))
    assert dated["due"].isna().all()
    assert dated["due"].dtype == "datetime64[s]"
