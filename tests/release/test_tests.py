"""Tests of zones whose story is told in a few rows; expectations by hand."""

import pandas as pd
import pytest

from ndtstats.release.tests import state_of_zones, tightness_sentence, zone_tests
from ndtstats.rules import adopt, read_rules

ZONES = pd.DataFrame(
    {
        "job": "H1", "zone": ["BLOCK", "TANK", "VOID"], "parent": [None, "BLOCK", "BLOCK"],
        "due": pd.NaT, "milestone": None, "leak_test": [None, True, None],
        "test_pressure_bar": [None, 0.15, None],
    }
).astype({"due": "datetime64[s]"})  # fmt: skip

RULES = """\
title = "t"
follows = "f"
edition = "e"
[tests.leak]
kind = "{kind}"
[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = {{ family = "share-of-length", percent = 4 }}
"""


def rules(kind="air"):
    return read_rules(RULES.format(kind=kind), source="r.toml")


def done(*rows, zone="TANK"):
    """Tests as (day of March 2026, verdict, bar[, test]); later rows were loaded later."""
    frame = pd.DataFrame([(*row, "leak")[:4] for row in rows],
                         columns=["day", "verdict", "pressure_bar", "test"])  # fmt: skip
    return frame.assign(
        zone=zone, date=pd.to_datetime("2026-03-" + frame["day"].astype("str").str.zfill(2)),
        report="L-" + frame["day"].astype("str"), id=range(len(frame)),
    ).astype({"pressure_bar": "float64"})  # fmt: skip


def welded(*rows):
    frame = pd.DataFrame(rows, columns=["zone", "joint", "date"])
    return frame.assign(date=pd.to_datetime(frame["date"]))


@pytest.mark.parametrize(
    ("tests", "state"),
    [
        ([], "missing"),
        ([(3, "accept", 0.15)], "accepted"),
        ([(3, "accept", 0.148)], "accepted"),  # a gauge is not read to the third figure
        ([(3, "accept", 0.14)], "too low"),
        ([(3, "accept", 0.16)], "above the drawing"),
        ([(3, "accept", None)], "pressure not stated"),
        ([(3, "reject", 0.15)], "failed"),
        ([(3, "reject", 0.15), (5, "accept", 0.15)], "accepted"),
        ([(3, "accept", 0.15), (5, "reject", 0.15)], "failed"),
        ([(5, "reject", 0.15), (3, "accept", 0.15)], "failed"),
        ([(3, "reject", 0.15), (3, "accept", 0.15)], "accepted"),
        # Another kind of test does not undo a reject.
        ([(3, "reject", 0.15, "pressure"), (5, "accept", 0.15, "leak")], "failed"),
    ],
)
def test_the_later_test_of_a_kind_counts(tests, state):
    table = state_of_zones(ZONES, done(*tests), welded(), None)
    assert table[["zone", "required", "state"]].to_numpy().tolist() == [["TANK", True, state]]
    assert (table["note"].iloc[0] == "") == (state == "accepted")


@pytest.mark.parametrize(
    ("zone", "day", "state"),
    [
        ("TANK", "2026-03-02", "accepted"),
        ("TANK", "2026-03-03", "accepted"),  # only days are known: on the day counts
        ("TANK", "2026-03-04", "welded since"),
        ("VOID", "2026-03-04", "accepted"),
        ("BLOCK", "2026-03-04", "accepted"),
    ],
)
def test_a_weld_after_the_test_makes_it_void(zone, day, state):
    work = welded(("TANK", "F-1", "2026-01-05"), (zone, "F-2", day))
    table = state_of_zones(ZONES, done((3, "accept", 0.15)), work, None).set_index("zone")
    assert table["state"]["TANK"] == state
    told = "F-2 was welded on 2026-03-04, after the leak test of 2026-03-03, report L-3"
    assert table["note"]["TANK"] == (told if state == "welded since" else "")


def test_a_weld_in_a_zone_within_makes_it_void_too():
    tested = done((3, "accept", 0.15), zone="BLOCK")
    work = welded(("VOID", "F-2", "2026-03-04"))
    table = state_of_zones(ZONES, tested, work, None).set_index("zone")
    assert table["state"].to_dict() == {"BLOCK": "welded since", "TANK": "missing"}
    assert table["required"].to_dict() == {"BLOCK": False, "TANK": True}


# Air 0.15 bar, hose 2 bar at the nozzle: IACS UR S14 (figures seen).
@pytest.mark.parametrize(
    ("kind", "drawing", "bar", "state"),
    [
        ("air", None, 0.15, "accepted"),
        ("air", None, 0.10, "too low"),
        ("air", 0.30, 0.15, "too low"),  # the drawing goes before the rules
        ("air", 0.10, 0.15, "above the drawing"),
        ("air-rudder", None, 0.16, "above the drawing"),  # never above 0.15: LR inland (seen)
        # What comes out of a hose does not fill the tank.
        ("hose", 0.15, 2.0, "accepted"),
        ("hose", 0.15, 1.5, "too low"),
        ("kerosene", 0.15, None, "pressure not stated"),
    ],
)
def test_the_drawing_bounds_the_pressure_else_the_rules(kind, drawing, bar, state):
    zones = ZONES[ZONES["zone"] == "TANK"].assign(test_pressure_bar=drawing)
    table = state_of_zones(zones, done((3, "accept", bar)), welded(), rules(kind))
    assert table["state"].tolist() == [state]


def test_a_missing_test_says_how_it_is_done():
    told = state_of_zones(ZONES, done(), welded(), rules())
    assert told["note"].tolist() == ["the drawing states 0.15 bar"]
    bare = ZONES.assign(test_pressure_bar=None)
    told = state_of_zones(bare, done(), welded(), rules())["note"].iloc[0]
    assert told.startswith("air: raise to 0.2 bar, hold 60 min, look at 0.15 bar")
    told = state_of_zones(bare, done(), welded(), None)["note"].iloc[0]
    assert told == "no pressure is stated for it"


def test_tested_after_the_day_of_painting_is_noted():
    zones = ZONES.assign(milestone="paint", due=pd.Timestamp("2026-03-01"))
    table = state_of_zones(zones, done((3, "accept", 0.15)), welded(), None)
    assert table["state"].tolist() == ["accepted"]
    assert table["note"].iloc[0] == "it was to be painted by 2026-03-01, and paint can hide a leak"


def test_a_circle_of_zones_ends():
    zones = ZONES.assign(parent=["TANK", "BLOCK", "BLOCK"])
    table = state_of_zones(zones, done((3, "accept", 0.15)), welded(("VOID", "F", "2026-04-01")),
                           None)  # fmt: skip
    assert table["state"].tolist() == ["welded since"]


def test_of_the_register_as_of_any_instant(register, now):
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("zones", ZONES)
        batch.merge("joints", pd.DataFrame({"job": "H1", "joint": ["F-1"], "zone": "TANK",
                                            "category": "A", "length_mm": 900.0}))  # fmt: skip
    adopt(register, "H1", rules(), agreed_by=None, by=None, now=now)
    then = register.latest_time()
    with register.batch(kind="load", subject="tests", now=now) as batch:
        batch.merge("tests", done((3, "accept", 0.15)).assign(job="H1"))
        batch.merge("deposits", pd.DataFrame({"job": "H1", "joint": ["F-1"], "welder": "K7",
                                              "date": pd.Timestamp("2026-03-09")}))  # fmt: skip
    assert zone_tests(register, job="H1", as_of=then)["state"].tolist() == ["missing"]
    table = zone_tests(register, job="H1")
    assert table["state"].tolist() == ["welded since"]
    assert tightness_sentence(table) == (
        "0 of 1 zone that needs a leak or pressure test have one that holds: 1 welded since."
    )


def test_a_job_without_any_is_told():
    none = ZONES.assign(leak_test=None)
    table = state_of_zones(none, done(), welded(), None)
    assert table.empty
    assert tightness_sentence(table).startswith("No zone needs a leak or pressure test")
