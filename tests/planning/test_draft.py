from datetime import timedelta

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.planning import Aims, draw_plan, plan_spots, repeat_plan
from ndtstats.planning.places import touched
from ndtstats.rules import read_rules

LATER = timedelta(days=1)


def examined(yard, now, rows):
    """Load first radiographs: joint, from, to, verdict."""
    table = pd.DataFrame(rows, columns=["joint", "from_mm", "to_mm", "verdict"]).assign(
        job="H1", method="RT", date=pd.Timestamp("2026-03-20"), report="R-1", round=0
    )
    table["exposure"] = [str(n) for n in range(len(table))]
    with yard.batch(kind="load", subject="examinations", now=now) as batch:
        batch.merge("examinations", table)


def test_what_is_aimed_stands_apart_from_what_chance_drew(yard, rules, now):
    plain, _ = draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    before = plan_spots(yard, plain)
    # Another name of a rule makes another rule, and all joints new.
    other = read_rules(rules.text.replace('"butts"', '"all butts"'), source="x")
    plan, drawing = draw_plan(
        yard, job="H1", rules=other, seed=1, now=now + LATER, aims=Aims(budget=8)
    )
    spots = plan_spots(yard, plan)
    aimed = spots[spots["part"] == "targeted"]
    assert len(aimed) == 8
    assert aimed["pi"].isna().all()
    assert aimed["why"].str.startswith("aimed: ").all()
    places = ["joint", "from_mm", "method", "part"]
    drawn = spots[spots["part"] != "targeted"][places].sort_values(places, ignore_index=True)
    pd.testing.assert_frame_equal(drawn, before[places].sort_values(places, ignore_index=True))
    assert not touched(aimed.reset_index(drop=True), spots.drop(aimed.index)).any()
    assert any("8 of 8 exposures beyond the rules" in note for note in drawing.notes)


def test_aims_go_to_the_riskiest_places_and_to_several_welders(yard, rules, now):
    _, drawing = draw_plan(yard, job="H1", rules=rules, seed=1, now=now, aims=Aims(budget=8))
    aimed = drawing.spots[drawing.spots["part"] == "targeted"]
    cells = drawing.cells[drawing.cells["method"] == "RT"]
    free = cells[~touched(cells, drawing.spots[drawing.spots["part"] != "targeted"])]
    expected = aimed["mean_expected"] * aimed["stated"] / aimed["exposures"]
    rest = free["mean_expected"] * free["stated"] / free["exposures"]
    assert expected.mean() > 1.5 * rest.mean()
    # All four made about the same: what one has had makes the next place of another worth more.
    assert aimed["welder"].value_counts().max() <= 3


def test_a_budget_can_be_spent_on_what_earlier_plans_cover(yard, rules, now):
    first, _ = draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    with pytest.raises(UseError, match="no joint to plan for"):
        draw_plan(yard, job="H1", rules=rules, seed=2, now=now + LATER)
    plan, drawing = draw_plan(
        yard, job="H1", rules=rules, seed=2, now=now + LATER, aims=Aims(budget=5)
    )
    assert drawing.cells.empty
    spots = plan_spots(yard, plan)
    assert spots["part"].tolist() == ["targeted"] * 5
    assert not touched(spots, plan_spots(yard, first)).any()


def test_a_comment_or_a_risk_factor_makes_no_joint_new(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    for text in (
        rules.text + "\n# looked at again\n",
        rules.text.replace("bead_end = 1.5", "bead_end = 2.5"),
    ):
        with pytest.raises(UseError, match="no joint to plan for"):
            draw_plan(yard, job="H1", rules=read_rules(text, source="x"), seed=2, now=now + LATER)


def test_what_was_examined_already_is_not_aimed_at(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    examined(yard, now + LATER, [(f"B-{n}", 0, 3000, "accept") for n in range(9)])
    plan, _ = draw_plan(
        yard, job="H1", rules=rules, seed=2, now=now + 2 * LATER, aims=Aims(budget=10)
    )
    spots = plan_spots(yard, plan)
    assert not spots["joint"].isin([f"B-{n}" for n in range(9)]).any()


def test_results_draw_the_aims_to_the_welder_who_had_them(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    # W1 welded B-1, B-5, B-9; three of his six radiographs were rejected, of the others none.
    rows = [("B-1", 300 * n, 300 * n + 300, "reject" if n < 3 else "accept") for n in range(6)]
    rows += [(f"B-{w}", 300 * n, 300 * n + 300, "accept") for w in (0, 2, 3) for n in range(6)]
    examined(yard, now + LATER, rows)
    plan, drawing = draw_plan(
        yard, job="H1", rules=rules, seed=2, now=now + 2 * LATER, aims=Aims(budget=3)
    )
    aimed = drawing.spots[drawing.spots["part"] == "targeted"]
    assert aimed["welder"].tolist().count("W1") >= 2
    assert any("3 rejectable found in" in note for note in drawing.notes)
    assert repeat_plan(yard, plan).equal


def test_a_plan_with_aims_repeats_to_the_spot(yard, rules, now):
    draw_plan(yard, job="H1", rules=rules, seed=1, now=now, aims=Aims(budget=4))
    plan, _ = draw_plan(
        yard, job="H1", rules=rules, seed=9, now=now + LATER, aims=Aims(3, evidence_days=30)
    )
    examined(yard, now + 2 * LATER, [("B-3", 0, 300, "reject")])
    again = repeat_plan(yard, plan)
    assert (again.equal, again.frame_equal) == (True, True)


def certificate(yard, now, **more):
    row = {
        "welder": "W2", "certificate": "C-7", "standard": "ISO 9606-2", "process": "131",
        "qualified_on": pd.Timestamp("2025-09-20"), "joint_types": "butt", **more,
    }  # fmt: skip
    with yard.batch(kind="load", subject="qualifications", now=now - LATER / 2) as batch:
        batch.merge("welders", pd.DataFrame({"welder": [f"W{n}" for n in range(4)]}))
        joints = yard.table("joints").drop(columns=["id", "batch"])
        batch.merge("joints", joints.assign(process="131"))
        batch.merge("qualifications", pd.DataFrame([row]))


def test_a_certificate_gets_the_production_spot_that_it_needs(yard, rules, now):
    certificate(yard, now)
    # Chance is given nothing of W2 that would do: only what is aimed can be his evidence.
    plan, _ = draw_plan(yard, job="H1", rules=rules, seed=1, now=now, aims=Aims(evidence_days=30))
    spots = plan_spots(yard, plan)
    told = spots[spots["why"].str.contains("certificate C-7")]
    drawn = spots[~spots["part"].isin(["targeted", "reserve"])]
    of_w2 = drawn["joint"].isin(
        [f"B-{n}" for n in (2, 6)] + [f"P-{n:02d}" for n in range(0, 30, 4)]
    )
    # Either the draw itself holds a weld of his, or one is aimed.
    assert len(told) == (0 if of_w2.any() else 1)


def test_a_certificate_that_no_weld_fits_is_told(yard, rules, now):
    certificate(yard, now, process="141")
    _, drawing = draw_plan(
        yard, job="H1", rules=rules, seed=1, now=now, aims=Aims(evidence_days=30)
    )
    assert any("C-7" in note for note in drawing.notes)
