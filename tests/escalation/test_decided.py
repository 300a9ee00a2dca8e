"""Waived, overturned, cut out: what people decide closes items, and forgets none."""

from datetime import timedelta

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.escalation import (
    decide,
    explain,
    lives,
    orphaned_waivers,
    overturn,
    owed,
    plan_extras,
    sentence,
    waive,
    waived_sentences,
)
from ndtstats.rates import rates
from ndtstats.register import withdraw_decision
from ndtstats.rules import joints_under, load_rules
from ndtstats.rules.procedures import PRESETS

WHO = {"person": "A. Lead", "reason": "agreed with the owner"}


@pytest.fixture
def later(now):
    return {**WHO, "now": now + timedelta(days=40)}


def state_of(register, what, **more):
    table = owed(register, everything=True, **more)
    return dict(zip(table["item"], table["state"], strict=True)) | {
        "counts": int(table["count"].sum())
    }


def test_a_waived_item_counts_nothing_and_names_who_and_why(piping, later):
    register = piping(("J1", "reject", "R-1", 0))
    extra = owed(register).set_index("what").loc["extra"]
    (number,) = waive(register, [extra["handle"]], **later)
    assert "extra" not in set(owed(register)["what"])
    every = owed(register, everything=True).set_index("item")
    told = every.loc[extra["item"]]
    assert (told["state"], told["count"]) == ("waived", 0)
    assert told["decided"] == (f"waived by A. Lead on 2026-04-11 ({number}): agreed with the owner")
    assert waived_sentences(every.reset_index())


def test_withdrawn_it_is_owed_again(piping, later):
    register = piping(("J1", "reject", "R-1", 0))
    item = owed(register).set_index("what").loc["extra", "item"]
    (number,) = waive(register, [item], **later)
    withdraw_decision(register, number, **later)
    assert "extra" in set(owed(register)["what"])


def test_nothing_is_waived_twice_and_nothing_that_is_done(piping, later):
    register = piping(("J1", "reject", "R-1", 0), ("J1", "accept", "R-2", 1))
    item = owed(register).set_index("what").loc["extra", "handle"]
    waive(register, [item, item], **later)
    with pytest.raises(UseError, match="waived by A"):
        waive(register, [item], **later)
    with pytest.raises(UseError, match="any more: done"):
        waive(register, ["RT R-2, J1 0-350 mm, 2026-03-03#repair".replace("R-2", "R-1").replace(
            "03-03", "03-02")], **later)  # fmt: skip
    with pytest.raises(UseError, match="nothing was ever owed"):
        waive(register, ["nothing of the kind"], **later)
    with pytest.raises(UseError, match="reason"):
        waive(register, [owed(piping(("J2", "reject", "R-9", 0)))["handle"].iloc[0]],
              person="A", reason=" ", now=later["now"])  # fmt: skip


def test_what_is_examined_after_a_waiver_answers_the_next_item(make):
    procedure = PRESETS["progressive-piping"]
    films = make.films(
        ("J1", "reject", 1), ("J2", "reject", 2, "initial"), ("J3", "accept", 9),
        ("J4", "accept", 9),
    )  # fmt: skip
    plain = decide(films, make.welds(20), procedure).set_index("because")["state"]
    assert plain.to_dict() == {"RT R-01, J1": "done", "RT R-02, J2": "open"}
    item = decide(films.head(1), make.welds(20), procedure)["item"].iloc[0]
    day = pd.Timestamp("2026-03-04")
    given = decide(films, make.welds(20), procedure, {item: day}).set_index("because")["state"]
    assert given.to_dict() == {"RT R-01, J1": "waived", "RT R-02, J2": "done"}


def test_a_waiver_of_nothing_is_said(piping, later):
    register = piping(("J1", "reject", "R-1", 0))
    item = owed(register).set_index("what").loc["extra", "handle"]
    waive(register, [item], **later)
    # The report was misread: the row is corrected, and with its place the item's name changes.
    row = {"job": "L1", "joint": "J1", "method": "RT", "verdict": "reject", "report": "R-1",
           "round": 0, "date": pd.Timestamp("2026-03-04")}  # fmt: skip
    with register.batch(kind="load", subject="mended", now=later["now"]) as batch:
        batch.merge("examinations", pd.DataFrame([row]))
    assert "extra" in set(owed(register)["what"])
    told = orphaned_waivers(register, owed(register, everything=True))
    assert len(told) == 1
    assert "about nothing that is owed now" in told[0]


def test_an_overturned_reject_closes_what_it_opened_and_stays_visible(piping, later):
    register = piping(("J1", "reject", "R-1", 0), ("J3", "accept", "R-2", 0))
    number, name = overturn(register, "R-1", **later)
    assert name == "RT R-1, J1 0-350 mm, 2026-03-02"
    assert owed(register).empty
    every = owed(register, everything=True)
    assert set(every["state"]) == {"overturned"}
    assert set(every["what"]) == {"extra", "repair", "re-examine"}
    assert (
        every["decided"].str.contains(f"overturned by A. Lead on 2026-04-11 \\({number}\\)").all()
    )
    assert lives(register)["state"].tolist() == ["overturned"]
    before = owed(register, as_of=later["now"] - timedelta(days=1))
    assert len(before) == 3


def test_rates_count_an_overturned_reject_as_an_accept(piping, later):
    register = piping(("J1", "reject", "R-1", 0), ("J3", "accept", "R-2", 0))
    overturn(register, "R-1", **later)
    table = rates(register, by=())
    assert table[["rejected", "examined"]].iloc[0].tolist() == [0, 2]
    then = rates(register, by=(), as_of=later["now"] - timedelta(days=1))
    assert then[["rejected", "examined"]].iloc[0].tolist() == [1, 2]


def test_an_overturn_survives_a_correction_of_the_row(piping, later):
    register = piping(("J1", "reject", "R-1", 0))
    overturn(register, "R-1", **later)
    row = {"job": "L1", "joint": "J1", "method": "RT", "verdict": "reject", "report": "R-1",
           "round": 0, "date": pd.Timestamp("2026-03-04"), "technician": "N. Doe"}  # fmt: skip
    with register.batch(kind="load", subject="mended", now=later["now"]) as batch:
        assert batch.merge("examinations", pd.DataFrame([row])).corrected == 1
    assert owed(register).empty


def test_an_extra_of_an_overturned_reject_that_is_bad_begins_anew(piping, later):
    register = piping(("J1", "reject", "R-1", 0))
    plan_extras(register, job="L1", seed=1, now=later["now"])
    spot = register.table("spots").query("round == 0").iloc[0]
    film = {"job": "L1", "joint": spot["joint"], "method": "RT", "verdict": "reject",
            "report": "R-5", "round": 0, "request": spot["spot"],
            "date": pd.Timestamp("2026-04-12")}  # fmt: skip
    with register.batch(kind="load", subject="x", now=later["now"] + timedelta(days=1)) as batch:
        batch.merge("examinations", pd.DataFrame([film]))
    extras = owed(register).query("what == 'extra'")
    assert sorted(extras["round"]) == [1, 2]
    overturn(register, "R-1", **{**later, "now": later["now"] + timedelta(days=2)})
    extras = owed(register).query("what == 'extra'")
    assert extras["round"].tolist() == [1]
    assert extras["because"].str.contains("R-5").all()


def test_what_cannot_be_overturned_is_said(piping, later):
    register = piping(
        ("J1", "reject", "R-1", 0), ("J2", "reject", "R-1", 0), ("J3", "accept", "R-2", 0)
    )
    with pytest.raises(UseError, match="2 rejects go by") as told:
        overturn(register, "R-1", **later)
    handle = str(told.value).split("handle: ")[1].split(" = ")[0]
    _, name = overturn(register, handle, **later)
    assert "J1" in name
    with pytest.raises(UseError, match="overturned already"):
        overturn(register, name, **later)
    with pytest.raises(UseError, match="correction: load the row again"):
        overturn(register, "R-2", **later)
    with pytest.raises(UseError, match='did you mean "R-1"'):
        overturn(register, "R-11", **later)


def test_a_cut_out_joint_is_examined_in_its_new_weld(piping, later):
    register = piping(("J1", "reject", "R-1", 0))
    new = {"job": "L1", "zone": "RACK", "joint": "J1-C", "category": "NORMAL", "joint_type": "butt",
           "length_mm": 350.0, "whole": True, "replaces": "J1"}  # fmt: skip
    made = {"job": "L1", "joint": "J1-C", "welder": "B", "date": pd.Timestamp("2026-04-12")}
    with register.batch(kind="load", subject="cut", now=later["now"]) as batch:
        batch.merge("joints", pd.DataFrame([new]))
        batch.merge("deposits", pd.DataFrame([made]))
    table = owed(register).set_index("what")
    assert "repair" not in table.index
    # Welder A's extras are owed still: cutting out the bad weld says nothing of the others.
    assert table.loc["extra", "count"] == 2
    again = table.loc["re-examine"]
    assert again["places"] == [{"joint": "J1-C", "from_mm": 0.0, "to_mm": 350.0}]
    assert again["round"] == 0
    assert lives(register)["state"].tolist() == ["new weld to examine"]
    _, spots = plan_extras(register, job="L1", seed=1, now=later["now"])
    assert spots.set_index("joint").loc["J1-C", "round"] == 0
    assert "J1" not in set(spots["joint"])
    film = {"job": "L1", "joint": "J1-C", "method": "RT", "verdict": "accept", "report": "R-7",
            "round": 0, "date": pd.Timestamp("2026-04-14")}  # fmt: skip
    with register.batch(kind="load", subject="x", now=later["now"] + timedelta(days=3)) as batch:
        batch.merge("examinations", pd.DataFrame([film]))
    assert "re-examine" not in set(owed(register)["what"])
    assert lives(register)["state"].tolist() == ["cut out"]


def test_the_story_names_reports_days_and_what_is_left(piping):
    register = piping(
        ("J1", "reject", "R-1", 0), ("J3", "accept", "R-2", 0), ("J5", "reject", "R-2", 0)
    )
    table = owed(register, everything=True)
    extras = table[table["what"] == "extra"].set_index("round")
    first = " ".join(explain(register, extras.loc[1, "handle"]))
    assert "On 2026-03-02 report R-1 rejected joint J1, 0 to 350 mm, by RT" in first
    assert "welded by A on 2026-02-01" in first
    assert "ASME B31.3, 341.3.4" in first
    assert "answered by RT R-2, J3 0-350 mm, 2026-03-03: accepted" in first
    assert "answered by RT R-2, J5 0-350 mm, 2026-03-03: rejected" in first
    assert first.endswith("It is closed.")
    second = " ".join(explain(register, extras.loc[2, "handle"]))
    assert f"extra of stage 1 (item {extras.loc[1, 'handle']})" in second
    assert "Still owed: 2 places" in second


def test_the_story_of_an_exhausted_lot_says_what_follows(piping):
    # Too few left: all of the lot; common practice, no source.
    rest = [(f"J{n}", "accept", "R-1", 0) for n in range(3, 18, 2)]
    register = piping(("J1", "reject", "R-1", 0), *rest)
    extra = owed(register).set_index("what").loc["extra"]
    assert (extra["state"], extra["count"]) == ("exhausted", 1)
    assert (
        "1 lot is exhausted (welder A, category NORMAL, method RT): fewer places are left"
        in sentence(owed(register))
    )
    text = " ".join(explain(register, extra["handle"]))
    assert "1 of them can still be examined" in text
    assert "Once all of it is examined the whole lot is" in text


def test_a_lot_whose_last_place_is_examined_is_told_as_examined_whole(piping):
    rest = [(f"J{n}", "accept", "R-1", 0) for n in range(3, 20, 2)]
    register = piping(("J1", "reject", "R-1", 0), *rest)
    assert "extra" not in set(owed(register)["what"])
    extra = owed(register, everything=True).set_index("what").loc["extra"]
    assert (extra["state"], extra["count"]) == ("exhausted", 0)
    assert "nothing is left to examine" in " ".join(explain(register, extra["handle"]))


def test_the_story_of_a_waived_repair_says_who_and_of_a_whole_lot_what_clears_it(piping, later):
    extras = [("J3", "reject", "R-2", 0), ("J5", "reject", "R-2", 0)]
    more = [(f"J{n}", "reject", "R-3", 0) for n in (7, 9, 11, 13)]
    register = piping(("J1", "reject", "R-1", 0), *extras, *more)
    table = owed(register).set_index("what")
    whole = " ".join(explain(register, table.loc["whole lot", "handle"]))
    assert "That asks for the whole lot (" in whole
    assert "Examining all of it clears it" in whole
    repair = table.loc[["repair"]].iloc[0]
    assert "Still owed: the repair." in " ".join(explain(register, repair["handle"]))
    waive(register, [repair["handle"]], **later)
    told = " ".join(explain(register, repair["handle"]))
    assert "A reject is repaired and the same place examined again" in told
    assert "That asks for repair 1 of joint J" in told
    assert "Nothing is owed of it any more: " in told
    assert "A. Lead" in told


@pytest.mark.parametrize("procedure", ["tank-shell", "until-sound-hull"])
def test_a_waived_neighbour_is_waived(make, procedure):
    weld = make.weld(3000, 300)
    films = make.spots((900, 1200, "reject", 1))
    items = decide(films, weld, PRESETS[procedure])
    given = decide(films, weld, PRESETS[procedure], {items["item"][0]: pd.Timestamp("2026-03-04")})
    assert given["state"].tolist() == ["waived", "open"]
    assert given["count"].tolist() == [0, 1]


def test_a_replaced_joint_leaves_plans_and_extents_and_stays_in_rates(piping, later):
    register = piping(("J1", "reject", "R-1", 0))
    joints = register.table("joints")
    rule = load_rules("process-piping").extent[0]
    assert "J1" in set(joints_under(joints, rule)["joint"])
    new = joints[joints["joint"] == "J1"].assign(joint="J1-C", replaces="J1")
    with register.batch(kind="load", subject="cut", now=later["now"]) as batch:
        batch.merge("joints", new.drop(columns=["id", "batch"]))
    left = set(joints_under(register.table("joints"), rule)["joint"])
    assert ("J1" in left, "J1-C" in left) == (False, True)
    assert rates(register, by=())[["rejected", "examined"]].iloc[0].tolist() == [1, 1]
