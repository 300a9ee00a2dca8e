"""Whether a zone may be released: every check stands in the way, and goes when it is cleared.

What must be done before which milestone: classification rules as far as
:mod:`ndtstats.release.gates` names them, else common practice, no source.
"""

from datetime import UTC, datetime

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.planning import draw_plan
from ndtstats.register import decisions_in_force, withdraw_decision
from ndtstats.release import (
    GATES,
    override,
    release,
    release_paper,
    releases,
    releases_table,
    sentence,
    sign,
)
from ndtstats.release.paper import page_of, write_paper
from ndtstats.rules import adopt, read_rules, rules_in_force

WHO = {"person": "A. Lead", "reason": "owner agrees"}


def checks(yard, zone="TANK", **asked):
    """Check and joint of what stands in the way; "" where it is no joint."""
    found = release(yard.register, zone, **asked).obstacles
    return sorted(zip(found["check"], found["joint"].fillna(""), strict=True))


def finish(yard):
    """Weld and examine everything in the tank, so that nothing stands in the way of closing it."""
    for joint in ("T-1", "T-2", "D-1"):
        yard.weld(joint)
        yard.examine(joint, "VT", date="2026-02-03")
        if joint != "T-2":
            yard.examine(joint, "RT")


def test_a_tank_is_taken_from_first_bead_to_release(yard):
    yard.weld("D-1")
    assert checks(yard) == [
        ("extent", "T-1"), ("visual", "T-1"), ("visual", "T-2"), ("welded", "T-1"),
        ("welded", "T-2"),
    ]  # fmt: skip
    yard.weld("T-1")
    yard.weld("T-2")
    yard.examine("T-1", "VT", date="2026-02-03")
    assert checks(yard) == [("extent", "T-1"), ("visual", "T-2")]
    yard.examine("T-1", "RT", from_mm=0.0, to_mm=600.0)
    yard.examine("T-2", "VT", date="2026-02-03")
    answer = release(yard.register, "TANK")
    assert answer.milestone == "close"
    assert answer.obstacles["what"].tolist() == ['rule "butts": 400 of 1,000 mm not examined by RT']
    yard.examine("T-1", "RT", from_mm=600.0, to_mm=1000.0)
    answer = release(yard.register, "TANK")
    assert answer.free
    assert sentence(answer) == (
        "Zone TANK of job H1 (2 joints, 3.0 m) can be closed: nothing stands in the way."
    )


def test_a_reject_stands_in_the_way_until_it_is_repaired_and_examined_again(yard):
    finish(yard)
    before = yard.now
    yard.examine("T-1", "RT", "reject", date="2026-02-06", from_mm=0.0, to_mm=300.0)
    hindered = release(yard.register, "TANK")
    assert hindered.obstacles["check"].tolist() == ["repair"]
    with pytest.raises(UseError, match="cannot be closed: 1 thing stands in the way"):
        sign(yard.register, hindered, now=yard.now, **WHO)
    assert release(yard.register, "TANK", as_of=before).free, "as it was known then"
    yard.examine("T-1", "RT", date="2026-02-08", round=1, from_mm=500.0, to_mm=800.0)
    (what,) = release(yard.register, "TANK").obstacles["what"]
    assert "does not cover" in what
    yard.examine("T-1", "RT", date="2026-02-09", round=1, from_mm=0.0, to_mm=300.0)
    assert checks(yard) == []


def test_the_test_of_a_tank_comes_after_it_is_closed_and_before_it_is_painted(yard):
    finish(yard)
    answer = release(yard.register, "TANK", milestone="close")
    assert answer.free
    assert answer.later["check"].tolist() == ["test"]
    assert checks(yard, milestone="paint") == [("test", "")]
    yard.add(
        "tests",
        {"job": "H1", "zone": "TANK", "test": "leak", "date": "2026-02-20", "pressure_bar": 0.15,
         "verdict": "accept", "report": "L-1"},
    )  # fmt: skip
    assert checks(yard, milestone="paint") == []
    assert "test" not in GATES["test"]


def test_a_zone_holds_what_the_zones_in_it_hold_and_nothing_of_others(yard):
    yard.weld("D-1")
    inside = release(yard.register, "BLOCK")
    assert inside.zones == ("BLOCK", "TANK")
    assert (
        inside.obstacles["joint"].tolist()
        == release(yard.register, "TANK").obstacles["joint"].tolist()
    )
    assert set(release(yard.register, "DECK").obstacles["joint"]) == {"D-1"}


CROSSINGS = """\
title = "Crossings (invented)"
follows = "an invented rule"
edition = "2026"
nothing_asked = ["F"]

[[extent]]
name = "crossings"
categories = ["A"]
method = "RT"
places = "crossings"
amount = { family = "share-of-length", percent = 100 }
"""


def test_crossings_that_nobody_examined_stand_in_the_way_by_their_places(yard):
    finish(yard)
    crossed = {"job": "H1", "joint": "T-3", "zone": "TANK", "category": "A", "joint_type": "butt",
               "length_mm": 1000.0, "process": "131", "penetration": "full"}  # fmt: skip
    yard.add("joints", crossed | {"crossings_mm": "200;500;900"})
    yard.weld("T-3")
    yard.examine("T-3", "VT", date="2026-02-03")
    yard.examine("T-3", "RT", from_mm=100.0, to_mm=300.0)
    rules = read_rules(CROSSINGS, source="r.toml")
    adopt(yard.register, "H1", rules, agreed_by=None, by="lead", now=yard.now)
    found = release(yard.register, "TANK").obstacles.set_index("check")["what"]
    assert found.loc[["extent"]].iloc[0] == (
        'rule "crossings": crossings not examined: at 500, 900 mm by RT'
    )


def test_a_deposit_outside_a_qualification_stands_in_the_way(yard):
    finish(yard)
    yard.weld("T-2", welder="M2", date="2026-02-02")
    (row,) = release(yard.register, "TANK").obstacles.itertuples()
    assert (row.check, row.joint) == ("qualification", "T-2")
    assert "M2" in row.what


def test_what_escalation_asks_for_stands_in_the_way_of_every_zone_with_work_of_the_lot(yard):
    finish(yard)
    joints = [("S-1", "TANK"), ("S-2", "DECK"), ("S-3", "DECK"), ("S-4", "DECK")]
    yard.add(
        "joints",
        *(
            {"job": "H1", "joint": j, "zone": z, "category": "S", "joint_type": "butt",
             "length_mm": 500.0, "process": "131", "whole": True}
            for j, z in joints
        ),
    )  # fmt: skip
    for joint, _ in joints:
        yard.weld(joint)
        yard.examine(joint, "VT", date="2026-02-03")
    yard.examine("S-2", "RT", "reject", date="2026-02-06")
    assert checks(yard) == [("owed", "")]
    assert checks(yard, "DECK") == [("owed", ""), ("repair", "S-2")]


def test_a_short_extent_that_no_plan_asks_for_stands_in_the_way_where_it_could_be_made_good(yard):
    finish(yard)
    yard.add(
        "joints",
        {"job": "H1", "joint": "S-1", "zone": "TANK", "category": "S", "joint_type": "butt",
         "length_mm": 500.0, "process": "131", "whole": True},
    )  # fmt: skip
    yard.weld("S-1")
    yard.examine("S-1", "VT", date="2026-02-03")
    (row,) = release(yard.register, "TANK").obstacles.itertuples()
    assert row.check == "extent"
    assert "1 joint" in row.what
    assert checks(yard, "DECK") == []
    in_force = rules_in_force(yard.register, "H1")
    draw_plan(yard.register, job="H1", rules=in_force, seed=1, now=yard.now)
    assert checks(yard) == [("spot", "S-1")], "what a plan asks for is waited for, not drawn again"


def test_without_rules_nobody_can_say_what_had_to_be_examined(register):
    with register.batch(kind="load", subject="jobs", now=datetime(2026, 3, 1, tzinfo=UTC)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": ["H1"], "zone": ["TANK"]}))
    answer = release(register, "TANK")
    assert answer.obstacles["check"].tolist() == ["rules"]
    assert answer.milestone == "hand over"


def test_an_override_passes_over_what_was_there_and_nothing_that_comes_later(yard):
    finish(yard)
    yard.weld("T-2", welder="M2", date="2026-02-02")
    answer = release(yard.register, "TANK")
    override(yard.register, answer, now=yard.now, **WHO)
    again = release(yard.register, "TANK")
    assert again.free
    assert again.overridden["person"].tolist() == ["A. Lead"]
    assert "1 thing was overridden by name" in sentence(again)
    assert not release(yard.register, "TANK", milestone="paint").free, "for another milestone: no"
    yard.examine("T-1", "RT", "reject", date="2026-02-06", from_mm=0.0, to_mm=300.0)
    assert checks(yard) == [("repair", "T-1")]
    (decision,) = decisions_in_force(yard.register, kind="override")["decision"]
    withdraw_decision(yard.register, decision, now=yard.now, **WHO)
    assert checks(yard) == [("qualification", "T-2"), ("repair", "T-1")]


def test_a_signed_zone_is_released_until_something_comes_in(yard):
    finish(yard)
    answer = release(yard.register, "TANK")
    with pytest.raises(UseError, match="nothing stands in the way"):
        override(yard.register, answer, now=yard.now, **WHO)
    sign(yard.register, answer, now=yard.now, **WHO)
    states = releases_table(releases(yard.register)).set_index("zone")["state"]
    assert states.to_dict() == {"BLOCK": "free", "TANK": "released", "DECK": "free"}
    yard.examine("T-1", "RT", "reject", date="2026-02-06", from_mm=0.0, to_mm=300.0)
    table = releases_table(releases(yard.register)).set_index("zone")
    assert table["state"].to_dict() == {"BLOCK": "hindered", "TANK": "signed, but", "DECK": "free"}
    assert table["checks"]["TANK"] == "repair 1"


def test_an_unknown_zone_is_told_with_the_nearest(yard):
    with pytest.raises(UseError, match='did you mean "TANK"'):
        release(yard.register, "TNAK")


@pytest.mark.parametrize("ending", [".xlsx", ".html"])
def test_a_paper_on_which_nothing_stands_says_so(yard, tmp_path, ending):
    finish(yard)
    yard.add("zones", {"job": "H1", "zone": "TANK", "parent": "BLOCK", "milestone": "close"})
    answer = release(yard.register, "TANK")
    path = tmp_path / f"tank{ending}"
    write_paper(release_paper(yard.register, answer), path)
    said = "can be closed: nothing stands in the way"
    if ending == ".html":
        assert said in path.read_text(encoding="utf-8")
    else:
        sheet = pd.read_excel(path, header=None, dtype=str, engine="calamine")
        assert said in sheet.iloc[1, 0]


def test_the_paper_lists_what_stands_in_the_way_and_hostile_names_are_text(yard, tmp_path):
    hostile = '<script>alert("x")</script>'
    yard.add(
        "joints",
        {"job": "H1", "joint": hostile, "zone": "TANK", "category": "A", "joint_type": "butt",
         "length_mm": 10.0},
    )  # fmt: skip
    answer = release(yard.register, "TANK")
    page = page_of(release_paper(yard.register, answer))
    assert hostile not in page
    assert "&lt;script&gt;" in page
    assert "Who decides" in page
    write_paper(release_paper(yard.register, answer), tmp_path / "tank.xlsx")
    sheet = pd.read_excel(tmp_path / "tank.xlsx", header=None, dtype=str, engine="calamine")
    assert (sheet == "not seen by eye yet").any(axis=None)
    with pytest.raises(UseError, match="there already"):
        write_paper(release_paper(yard.register, answer), tmp_path / "tank.xlsx")
    with pytest.raises(UseError, match=r"\.xlsx or an \.html"):
        write_paper(release_paper(yard.register, answer), tmp_path / "tank.pdf")
