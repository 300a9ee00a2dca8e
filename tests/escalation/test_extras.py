from datetime import timedelta

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.escalation import owed, plan_extras
from ndtstats.planning import plan_spots
from ndtstats.rules import adopt, load_rules

FILM = {"method": "RT", "round": 0, "report": "R-1", "date": "2026-03-02", "verdict": "reject"}


@pytest.fixture
def hours(now):
    """The clock: each call is an hour later."""
    passed = iter(range(1, 1000))
    return lambda: now + timedelta(hours=next(passed))


@pytest.fixture
def examine(register, hours):
    """Load examinations of job L1, each given by what is not as in :data:`FILM`."""

    def load(*films):
        rows = pd.DataFrame([{"job": "L1", **FILM, **film} for film in films])
        rows["date"] = pd.to_datetime(rows["date"])
        with register.batch(kind="load", subject="examinations", now=hours()) as batch:
            batch.merge("examinations", rows)

    return load


def yard(register, at, joints, welders, preset):
    joints = joints.assign(job="L1", zone="Z", joint_type="butt")
    deposits = joints[["job", "joint"]].assign(welder=welders, date=pd.Timestamp("2026-02-01"))
    with register.batch(kind="load", subject="all", now=at) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["L1"]}))
        batch.merge("zones", pd.DataFrame({"job": ["L1"], "zone": ["Z"]}))
        batch.merge("joints", joints)
        batch.merge("deposits", deposits)
    adopt(register, "L1", load_rules(preset), agreed_by=None, by="lead", now=at)


@pytest.fixture
def piping(register, hours, examine):
    """Twenty pipe butts, the odd ones by A, the even ones by B; J1 of A is rejected, J3 sound."""
    names = [f"J{n}" for n in range(1, 21)]
    joints = pd.DataFrame({"joint": names, "category": "NORMAL", "length_mm": 350.0, "whole": True})
    yard(register, hours(), joints, ["A", "B"] * 10, "process-piping")
    examine({"joint": "J1"}, {"joint": "J3", "verdict": "accept"})
    return register


@pytest.fixture
def hull(register, hours):
    """Two seams of 3 m by one welder."""
    joints = pd.DataFrame({"joint": ["S1", "S2"], "category": "SHELL-SEAM", "length_mm": 3000.0})
    yard(register, hours(), joints, "A", "aluminium-hull")
    return register


def answers(spots, verdict="accept", **what):
    return [
        {"joint": s.joint, "from_mm": s.from_mm, "to_mm": s.to_mm, "method": s.method,
         "round": s.round, "request": s.spot, "verdict": verdict, "report": "R-9",
         "date": "2026-03-09", **what}
        for s in spots.itertuples()
    ]  # fmt: skip


def first_round(spots):
    return spots[spots["round"] == 0]


def places(spots):
    return sorted(zip(spots["joint"], spots["from_mm"], spots["to_mm"], strict=True))


def test_a_reject_in_piping_plans_two_other_joints_of_the_same_welder(piping, hours):
    # ASME B31.3, 341.3.4(a); seen.
    plan, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    spots = plan_spots(piping, plan)
    extras = first_round(spots)
    (item,) = owed(piping, job="L1").query("what == 'extra'")["item"]
    assert extras["because"].tolist() == [item, item]
    assert set(spots["part"]) == {"extra"}
    assert spots["pi"].isna().all()
    assert extras["joint"].nunique() == 2
    # Odd joints are A's; of those J1 and J3 are examined.
    assert set(extras["joint"]) <= {f"J{n}" for n in range(5, 21, 2)}
    assert (extras["from_mm"] == 0).all()
    assert (extras["to_mm"] == 350).all()
    assert set(extras["acceptance"]) == {"ASME B31.3, table 341.3.2, normal service"}


def test_the_repair_is_asked_for_again_in_its_round_and_place(piping, hours):
    plan, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    again = plan_spots(piping, plan).query("round > 0")
    assert again[["joint", "round", "method", "from_mm", "to_mm"]].to_numpy().tolist() == [
        ["J1", 1, "RT", 0.0, 350.0]
    ]
    assert again["because"].str.endswith("#re-examine").all()


def test_answered_as_asked_nothing_is_owed(piping, hours, examine):
    plan, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    examine(*answers(plan_spots(piping, plan)))
    assert owed(piping, job="L1").empty
    assert set(owed(piping, job="L1", everything=True)["state"]) == {"done"}
    with pytest.raises(UseError, match="owes nothing that is not planned already"):
        plan_extras(piping, job="L1", seed=1, now=hours())


def test_a_rejected_extra_plans_the_next_stage(piping, hours, examine):
    # ASME B31.3, 341.3.4(c); seen: two more for the one that is bad.
    plan, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    extras = first_round(plan_spots(piping, plan))
    examine(*answers(extras[:1], verdict="reject"), *answers(extras[1:]))
    second, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    more = first_round(plan_spots(piping, second))
    assert len(more) == 2
    assert set(more["joint"]).isdisjoint({"J1", "J3", *extras["joint"]})
    items = owed(piping, job="L1").query("what == 'extra'").set_index("item")
    assert items.loc[more["because"], "round"].tolist() == [2, 2]


def test_planning_twice_does_not_double(piping, hours):
    plan_extras(piping, job="L1", seed=1, now=hours())
    with pytest.raises(UseError, match="job L1 owes nothing that is not planned already"):
        plan_extras(piping, job="L1", seed=2, now=hours())


def test_what_was_not_done_is_planned_elsewhere(piping, hours, examine):
    plan, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    extras = first_round(plan_spots(piping, plan))
    examine(*answers(extras[:1], verdict="not done"), *answers(extras[1:]))
    second, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    (joint,) = plan_spots(piping, second)["joint"]
    assert joint not in {"J1", "J3", *extras["joint"]}


def test_a_re_shoot_is_still_asked_for_by_the_first_plan(piping, hours, examine):
    plan, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    extras = first_round(plan_spots(piping, plan))
    examine(*answers(extras[:1], verdict="re-shoot"), *answers(extras[1:]))
    with pytest.raises(UseError, match="not planned already"):
        plan_extras(piping, job="L1", seed=1, now=hours())


def test_an_answer_without_its_request_is_known_by_its_place(piping, hours, examine):
    plan, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    extras = first_round(plan_spots(piping, plan))
    # One comes back sound, one bad: two more are owed, whatever stood in the request column.
    examine(*answers(extras[:1], verdict="reject", request=None),
            *answers(extras[1:], request=None))  # fmt: skip
    second, _ = plan_extras(piping, job="L1", seed=1, now=hours())
    assert len(first_round(plan_spots(piping, second))) == 2


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_how_many_does_not_hang_on_the_seed(piping, hours, seed):
    plan, spots = plan_extras(piping, job="L1", seed=seed, now=hours())
    assert len(spots) == 3
    assert len(plan_spots(piping, plan)) == 3


def test_the_same_seed_draws_the_same_places(piping, hours, tmp_path):
    at = hours()
    _, spots = plan_extras(piping, job="L1", seed=5, now=at)
    copy = type(piping).open(tmp_path / "again.sqlite", create=True)
    names = [f"J{n}" for n in range(1, 21)]
    joints = pd.DataFrame({"joint": names, "category": "NORMAL", "length_mm": 350.0, "whole": True})
    yard(copy, hours(), joints, ["A", "B"] * 10, "process-piping")
    films = pd.DataFrame(
        [{"job": "L1", **FILM, "joint": j, "verdict": v} for j, v in
         (("J1", "reject"), ("J3", "accept"))]
    )  # fmt: skip
    with copy.batch(kind="load", subject="examinations", now=hours()) as batch:
        batch.merge("examinations", films.assign(date=pd.to_datetime(films["date"])))
    _, again = plan_extras(copy, job="L1", seed=5, now=hours())
    copy.close()
    assert places(again) == places(spots)


def test_a_job_without_rejects_owes_nothing(hull, hours):
    with pytest.raises(UseError, match="job L1 owes nothing that is not planned already"):
        plan_extras(hull, job="L1", seed=1, now=hours())


def test_a_hull_is_extended_on_both_sides(hull, hours, examine):
    # Common practice, no source: a spot on each side until sound.
    examine({"joint": "S1", "from_mm": 900.0, "to_mm": 1200.0})
    plan, _ = plan_extras(hull, job="L1", seed=1, now=hours())
    spots = plan_spots(hull, plan)
    extras = first_round(spots)
    assert places(extras) == [("S1", 600.0, 900.0), ("S1", 1200.0, 1500.0)]
    assert places(spots[spots["round"] == 1]) == [("S1", 900.0, 1200.0)]
    examine(*answers(extras[:1], verdict="reject"), *answers(extras[1:]))
    second, _ = plan_extras(hull, job="L1", seed=1, now=hours())
    more = plan_spots(hull, second)
    assert places(first_round(more)) == [("S1", 300.0, 600.0)]
    assert places(more[more["round"] == 1]) == [("S1", 600.0, 900.0)]


def test_a_place_between_two_rejects_is_asked_for_once(hull, hours, examine):
    examine(
        {"joint": "S1", "from_mm": 300.0, "to_mm": 600.0},
        {"joint": "S1", "from_mm": 900.0, "to_mm": 1200.0},
    )
    plan, _ = plan_extras(hull, job="L1", seed=1, now=hours())
    extras = first_round(plan_spots(hull, plan))
    assert places(extras) == [("S1", 0.0, 300.0), ("S1", 600.0, 900.0), ("S1", 1200.0, 1500.0)]
    with pytest.raises(UseError, match="not planned already"):
        plan_extras(hull, job="L1", seed=1, now=hours())
    examine(*answers(plan_spots(hull, plan)))
    assert owed(hull, job="L1").empty


def test_a_joint_of_two_welders_answers_one_lot_at_a_time(register, hours, examine):
    # Both welded every joint, and both are charged: each lot is owed two joints of its own.
    names = [f"J{n}" for n in range(1, 11)]
    joints = pd.DataFrame({"joint": names, "category": "NORMAL", "length_mm": 350.0, "whole": True})
    yard(register, hours(), joints, "A", "process-piping")
    other = pd.DataFrame({"job": "L1", "joint": names, "welder": "B"})
    with register.batch(kind="load", subject="deposits", now=hours()) as batch:
        batch.merge("deposits", other.assign(date=pd.Timestamp("2026-02-02")))
    examine({"joint": "J1"})
    plan, _ = plan_extras(register, job="L1", seed=1, now=hours())
    extras = first_round(plan_spots(register, plan))
    assert extras["because"].value_counts().tolist() == [2, 2]
    assert extras["joint"].nunique() == 4
