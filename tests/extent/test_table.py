from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.extent import extent, extent_table, sentence
from ndtstats.extent.table import COLUMNS
from ndtstats.register.frames import typed
from ndtstats.register.schema import STORED
from ndtstats.rules import Rules, adopt, load_rules, read_rules

TOP = 'title = "t"\nfollows = "f"\nedition = "e"\n'


def rules(*extents: str, top: str = "") -> Rules:
    return read_rules(TOP + top + "".join(f"[[extent]]\n{text}\n" for text in extents), source="r")


def rule(amount: str, name: str = "butts", categories: str = '"A"', **keys: str) -> str:
    lines = {"name": f'"{name}"', "categories": f"[{categories}]", "method": '"RT"', **keys}
    return "\n".join(f"{key} = {value}" for key, value in lines.items()) + (
        f"\namount = {{ {amount} }}"
    )


def table(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    return typed(pd.DataFrame(rows), STORED[name])


def joints(number: int, length_mm: float = 1000.0, **columns: Any) -> pd.DataFrame:
    rows = [
        {"joint": f"B-{n}", "length_mm": length_mm, "category": "A", "zone": "Z1", **columns}
        for n in range(1, number + 1)
    ]
    return table("joints", rows)


def deposits(**welder_of: str) -> pd.DataFrame:
    rows = [
        {"joint": joint.replace("_", "-"), "welder": welder, "date": f"2026-01-{n:02d}"}
        for n, (joint, welders) in enumerate(welder_of.items(), start=1)
        for welder in welders.split()
    ]
    return table("deposits", rows)


NOBODY = table("deposits", [])
NOTHING = table("examinations", [])


def seen(*places: tuple[str, float | None, float | None], **columns: Any) -> pd.DataFrame:
    rows = [
        {"joint": joint, "from_mm": low, "to_mm": high, "method": "RT", "verdict": "accept",
         "round": 0, **columns}
        for joint, low, high in places
    ]  # fmt: skip
    return table("examinations", rows)


def whole(*names: str, **columns: Any) -> pd.DataFrame:
    return seen(*((name, None, None) for name in names), **columns)


def only(found: pd.DataFrame) -> Any:
    assert len(found) == 1
    return found.iloc[0]


FIVE_PERCENT = rules(rule('family = "percent-of-joints", percent = 5', spots_per_welder="1"))


# ASME B31.3, 341.4.1 (seen; the work of each welder: opinion, seen): 30 welds of 4 welders need
# max(2, welders not shown yet), so fewer where one weld shows two of them.
@pytest.mark.parametrize(
    ("examined", "required", "missing"),
    [
        ([], 4, 4),
        (["B-1", "B-2"], 4, 2),
        (["B-1", "B-2", "B-3", "B-4"], 2, 0),
        (["B-5", "B-6"], 2, 0),
    ],
)
def test_percent_of_joints_with_the_work_of_each_welder(examined, required, missing):
    made = deposits(B_1="K1", B_2="K2", B_3="K3", B_4="K4", B_5="K1 K2", B_6="K3 K4")
    row = only(extent_table(joints(30), made, whole(*examined), rules=FIVE_PERCENT))
    assert (row["required"], row["achieved"], row["missing"]) == (required, len(examined), missing)
    assert row["state"] == ("short" if missing else "met")
    assert row["unit"] == "joints"


def test_a_joint_examined_in_part_is_not_examined_whole():
    examined = seen(("B-1", 0, 900), ("B-2", 0, 500), ("B-2", 500, 1000))
    row = only(extent_table(joints(3), NOBODY, examined, rules=FIVE_PERCENT))
    assert (row["required"], row["achieved"]) == (1, 1)
    assert row["examined_mm"] == 1900
    assert row["share_examined"] == pytest.approx(1900 / 3000)


def test_a_class_examined_whole_counts_for_no_other():
    # ASME B31.3, 341.4 (opinion, seen): another population.
    both = rules(
        rule('family = "percent-of-joints", percent = 5'),
        rule('family = "percent-of-joints", percent = 100', name="severe", categories='"S"'),
    )
    known = joints(40)
    known.loc[known.index[:20], "category"] = "S"
    examined = whole(*known["joint"][:20])
    found = extent_table(known, NOBODY, examined, rules=both).set_index("rule")
    assert found["state"].to_dict() == {"butts": "short", "severe": "met"}
    assert found.loc["butts", ["required", "achieved"]].tolist() == [1, 0]


# LR Special Service Craft, Pt 7 Ch 2, 3.6 (seen): a ship of 40 m, 600 m of butts.
LR = rules(
    rule('family = "check-points", lengths = 1', name="crossings", places='"crossings"'),
    rule('family = "share-of-length", one_in = 25', name="plating", places='"elsewhere"'),
    top="[structure]\nlength_m = 40\n",
)


def test_check_points_at_crossings_and_in_plating_are_counted_apart():
    known = joints(60, 10_000.0, crossings_mm="1000;4000;7000")
    films = [(f"B-{n}", 850.0, 1150.0) for n in range(1, 61)]
    films += [(f"B-{n}", 2000.0, 2400.0) for n in range(1, 61)]
    found = extent_table(known, NOBODY, seen(*films), rules=LR).set_index("rule")
    assert found["required"].to_dict() == {"crossings": 40_000, "plating": 24_000}
    assert found["achieved"].to_dict() == {"crossings": 60 * 300, "plating": 60 * 400}
    assert found["missing"].to_dict() == {"crossings": 22_000, "plating": 0}
    assert found["unit"].to_dict() == {"crossings": "mm", "plating": "mm"}


def test_a_film_about_a_crossing_counts_on_each_side_of_the_border_once():
    known = joints(60, 10_000.0, crossings_mm="1000")
    found = extent_table(known, NOBODY, seen(("B-1", 750, 1250)), rules=LR).set_index("rule")
    assert found["achieved"].to_dict() == {"crossings": 300, "plating": 200}


def test_no_more_crossings_are_asked_for_than_there_are():
    known = joints(10, 10_000.0, crossings_mm="1000")
    row = extent_table(known, NOBODY, NOTHING, rules=LR).set_index("rule").loc["crossings"]
    assert row["required"] == 10 * 300
    assert "more than all the crossings" in row["note"]


# ASME VIII-1, UW-52 (opinion, seen; each welder: from memory): 100 m of seam need 7 spots, and 9
# where 9 welders made stretches of their own.
VESSEL = load_rules("pressure-vessel")


@pytest.mark.parametrize(("welders", "required"), [(2, 7), (9, 9)])
def test_spots_in_a_vessel_show_each_welder(welders, required):
    known = joints(10, 10_000.0, category="SPOT")
    made = deposits(**{f"B_{n}": f"K{n % welders}" for n in range(1, 11)})
    row = only(extent_table(known, made, NOTHING, rules=VESSEL))
    assert (row["required"], row["missing"], row["unit"]) == (required, required, "spots")
    films = seen(*((f"B-{n}", 1000.0, 1152.0) for n in range(1, required + 1)))
    assert only(extent_table(known, made, films, rules=VESSEL))["state"] == "met"


def test_a_welder_left_out_keeps_the_extent_short_and_is_named():
    known = joints(10, 10_000.0, category="SPOT")
    made = deposits(**{f"B_{n}": "K1" for n in range(1, 10)}, B_10="K2")
    films = seen(*((f"B-{n}", 1000.0, 1152.0) for n in range(1, 9)))
    row = only(extent_table(known, made, films, rules=VESSEL))
    assert (row["achieved"], row["required"], row["missing"]) == (8, 9, 1)
    assert "welder K2" in row["note"]


def test_a_welder_is_shown_where_his_own_stretch_is_seen():
    made = table("deposits", [
        {"joint": "B-1", "welder": "K1", "date": "2026-01-01", "from_mm": 0.0, "to_mm": 6000.0},
        {"joint": "B-1", "welder": "K2", "date": "2026-01-01", "from_mm": 6000.0, "to_mm": 9000.0},
    ])  # fmt: skip
    known = joints(1, 9_000.0, category="SPOT")
    first = only(extent_table(known, made, seen(("B-1", 0, 152)), rules=VESSEL))
    assert "K2" in first["note"]
    # Ten millimetres of his weld at the edge of a film show nothing of it.
    edge = only(extent_table(known, made, seen(("B-1", 5858, 6010)), rules=VESSEL))
    assert "K2" in edge["note"]
    both = only(extent_table(known, made, seen(("B-1", 5900, 6100)), rules=VESSEL))
    assert both["state"] == "met"


def test_exposures_too_short_for_a_spot_are_told():
    known = joints(1, 9_000.0, category="SPOT")
    row = only(extent_table(known, NOBODY, seen(("B-1", 500, 600)), rules=VESSEL))
    assert (row["achieved"], row["state"]) == (0, "short")
    assert "1 exposure is shorter than 152 mm" in row["note"]


def test_who_welded_unknown_is_told():
    known = joints(1, 9_000.0, category="SPOT")
    row = only(extent_table(known, NOBODY, NOTHING, rules=VESSEL))
    assert "not welded yet, for no deposit says so: 1 of 1 joint" in row["note"]
    row = only(extent_table(known, NOBODY, seen(("B-1", 500, 700)), rules=VESSEL))
    assert "who welded is not known of 1 of 1 joint" in row["note"]


def test_a_structure_examined_whole_asks_for_nothing_more():
    known = joints(1, 100_000.0, category="SPOT")
    made = deposits(B_1="K1 K2 K3")
    row = only(extent_table(known, made, whole("B-1"), rules=VESSEL))
    assert (row["achieved"], row["missing"], row["state"]) == (1, 0, "met")


# API 650, 8.1.2 (seen): as in tests/rules/test_amount.py, with a quarter of the spots at junctions.
TANK = rules(
    rule(
        'family = "spot-per-increment", increment_m = 30, remainder = "major-fraction", '
        'first_m = 3, first_for = "each-welder", crossing_percent = 25, crossing_least = 2',
        spot_length_mm="150",
    )
)


def test_spots_of_a_tank_at_its_junctions():
    known = joints(45, 2_000.0, crossings_mm="0;2000")
    made = deposits(**{f"B_{n}": "K1" if n < 20 else "K2" for n in range(1, 29)})
    films = seen(*((f"B-{n}", 500.0, 650.0) for n in range(1, 6)))
    row = only(extent_table(known, made, films, rules=TANK))
    assert (row["achieved"], row["required"], row["missing"]) == (5, 7, 2)
    assert "2 more must lie at crossings" in row["note"]
    assert "no spot in the first 3 m of welder K2" in row["note"]
    at = seen(*((f"B-{n}", 0.0, 150.0) for n in (1, 2, 3, 4, 20)))
    assert only(extent_table(known, made, at, rules=TANK))["state"] == "met"


def test_what_one_group_has_too_much_does_not_help_another():
    by_joint = rules(
        rule('family = "spot-per-increment", increment_m = 30', counted_per='["joint"]')
    )
    films = seen(*(("B-1", 1000.0 * n, 1000.0 * n + 300) for n in range(1, 6)))
    row = only(extent_table(joints(3, 9_000.0), NOBODY, films, rules=by_joint))
    assert (row["required"], row["achieved"], row["missing"]) == (3, 5, 2)
    assert "2 of 3 are short" in row["note"]


def test_a_rule_counted_by_category_has_a_row_for_each():
    two = rules(
        rule('family = "share-of-length", percent = 10', categories='"A", "B"',
             counted_per='["category"]')
    )  # fmt: skip
    known = joints(10)
    known.loc[known.index[:4], "category"] = "B"
    found = extent_table(known, NOBODY, seen(("B-1", 0, 500)), rules=two).set_index("category")
    assert found["required"].to_dict() == {"A": 600, "B": 400}
    assert found["state"].to_dict() == {"A": "short", "B": "met"}
    together = two.extent[0].model_copy(update={"counted_per": ()})
    one = two.model_copy(update={"file": two.file.model_copy(update={"extent": (together,)})})
    assert only(extent_table(known, NOBODY, NOTHING, rules=one))["category"] == "A, B"


def test_places_asked_for_every_one():
    always = rules(rule('family = "share-of-length", percent = 1', always='["crossings", "ends"]'))
    known = joints(1, 10_000.0, crossings_mm="5000")
    films = [("B-1", 4850, 5150), ("B-1", 0, 300), ("B-1", 9700, 10_000)]
    for left_out, place in ((films[1:], "crossing"), (films[:2], "far end")):
        row = only(extent_table(known, NOBODY, seen(*left_out), rules=always))
        assert row["state"] == "short"
        assert f"every {place} is asked for: joint B-1" in row["note"]
    assert only(extent_table(known, NOBODY, seen(*films), rules=always))["state"] == "met"


def test_first_off_work_of_a_procedure():
    # EN 1090-2:2008, 12.4.2.2 (from memory): first five joints, twice the share, at least 900 mm.
    known = joints(8, 6_000.0, category="TB-LOW", procedure="W1")
    made = deposits(**{f"B_{n}": "K1" for n in range(1, 9)})
    structure = load_rules("steel-structure")
    films = [(f"B-{n}", 0.0, 1200.0) for n in range(1, 5)]
    row = only(extent_table(known, made, seen(*films, method="UT"), rules=structure))
    assert row["required"] == 4_800 + 1_200
    assert row["note"] == "first-off work: joint B-5"
    done = seen(*films, ("B-5", 3000, 4200), method="UT")
    assert only(extent_table(known, made, done, rules=structure))["state"] == "met"


def test_a_clean_record_reduces_and_a_reject_takes_it_back():
    # EN 13480-5 (seen): 5 % of the first 100, then 2 % of all, at least 5.
    less = "reduction = { after_joints = 100, percent = 2, least = 5 }"
    reduced = rules(rule(f'family = "percent-of-joints", percent = 5, {less}'))
    known = joints(200)
    row = only(extent_table(known, NOBODY, whole("B-1"), rules=reduced))
    assert row["required"] == 5
    assert "clean record" in row["note"]
    bad = whole("B-1", verdict="reject")
    assert only(extent_table(known, NOBODY, bad, rules=reduced))["required"] == 10


# That a joint cut out is no clean record: common practice, no source. What it was examined for is
# gone with it: the new weld is another weld.
@pytest.mark.parametrize(
    ("before", "after", "required", "achieved"),
    [
        ("reject", None, 10, 0),
        ("reject", "accept", 10, 1),
        ("accept", None, 5, 0),
        ("accept", "accept", 5, 1),
    ],
)
def test_a_joint_cut_out_asks_for_nothing_and_its_reject_stays(before, after, required, achieved):
    less = "reduction = { after_joints = 100, percent = 2, least = 5 }"
    reduced = rules(rule(f'family = "percent-of-joints", percent = 5, {less}'))
    anew = joints(1, replaces="B-1").assign(joint="B-1-C")
    known = pd.concat([joints(200), anew], ignore_index=True)
    old_weld = whole("B-1", verdict=before)
    done = old_weld if after is None else pd.concat([old_weld, whole("B-1-C", verdict=after)])
    row = only(extent_table(known, NOBODY, done.reset_index(drop=True), rules=reduced))
    assert (row["joints"], row["length_mm"]) == (200, 200_000.0)
    assert (row["required"], row["achieved"]) == (required, achieved)


def test_a_reject_on_a_joint_cut_out_under_another_rule_leaves_the_record_clean():
    less = "reduction = { after_joints = 100, percent = 2, least = 5 }"
    reduced = rules(rule(f'family = "percent-of-joints", percent = 5, {less}'))
    other = joints(1, category="B").assign(joint="C-1")
    anew = joints(1, category="B", replaces="C-1").assign(joint="C-1-C")
    known = pd.concat([joints(200), other, anew], ignore_index=True)
    found = extent_table(known, NOBODY, whole("C-1", verdict="reject"), rules=reduced)
    assert found.loc[found["category"] == "A", "required"].tolist() == [5]


def test_categories_that_no_rule_names_are_listed():
    known = joints(3)
    known.loc[2, "category"] = "Z"
    found = extent_table(known, NOBODY, whole("B-1"), rules=FIVE_PERCENT)
    assert found["state"].tolist() == ["met", "no rule"]
    last = found.iloc[1]
    assert (last["category"], last["joints"], last["length_mm"]) == ("Z", 1, 1000)
    assert last[["rule", "method", "required", "missing"]].isna().all()


def test_check_points_are_owed_before_any_joint_is_known():
    points = rules(rule('family = "check-points", points = 12'))
    row = only(extent_table(table("joints", []), NOBODY, NOTHING, rules=points))
    assert (row["required"], row["missing"], row["state"]) == (12, 12, "short")
    none = extent_table(table("joints", []), NOBODY, NOTHING, rules=FIVE_PERCENT)
    assert none.empty
    assert list(none.columns) == [c for c in COLUMNS if c != "job"]


def test_another_method_counts_nothing():
    row = only(extent_table(joints(3), NOBODY, whole("B-1", method="UT"), rules=FIVE_PERCENT))
    assert row["achieved"] == 0


ANY = st.lists(
    st.tuples(
        st.integers(1, 6),
        st.integers(0, 10_000),
        st.integers(10, 4_000),
        st.sampled_from(["accept", "reject", "re-shoot", "not done"]),
    ),
    max_size=15,
)


@settings(max_examples=12, deadline=None)
@given(ANY, st.sampled_from([FIVE_PERCENT, LR, TANK]), st.randoms())
def test_the_order_of_rows_changes_nothing_and_shares_stay_shares(places, by, shuffle):
    known = joints(6, 9_000.0, crossings_mm="0;3000;3100")
    made = deposits(B_1="K1", B_2="K2 K1", B_3="K1", B_4="K3")
    films = pd.concat(
        [NOTHING] + [seen((f"B-{n}", low, low + long), verdict=v) for n, low, long, v in places],
        ignore_index=True,
    )
    films = typed(films, STORED["examinations"])
    found = extent_table(known, made, films, rules=by)
    order = list(range(len(films)))
    shuffle.shuffle(order)
    again = extent_table(known.iloc[::-1], made.iloc[::-1], films.iloc[order], rules=by)
    numbers = ["required", "achieved", "missing", "examined_mm"]
    np.testing.assert_allclose(found[numbers], again[numbers], atol=1e-6)
    assert found["state"].tolist() == again["state"].tolist()
    assert found["share_examined"].between(0, 1 + 1e-12).all()
    assert (found["missing"] >= found["required"] - found["achieved"] - 1e-6).all()


def test_a_register_as_of_a_day(register, now):
    for name, rows in {
        "jobs": [{"job": "P1"}],
        "joints": joints(3, category="NORMAL").assign(job="P1"),
        "examinations": whole("B-1", job="P1", report="R1", date="2026-03-01"),
    }.items():
        with register.batch(kind="load", subject=name, now=now) as batch:
            batch.merge(name, pd.DataFrame(rows))
        if name == "joints":
            adopt(register, "P1", load_rules("process-piping"), agreed_by=None, by=None, now=now)
            before = register.latest_time()
    row = only(extent(register))
    assert (row["job"], row["state"], row["achieved"]) == ("P1", "met", 1)
    assert list(extent(register).columns) == list(COLUMNS)
    assert only(extent(register, job="P1", as_of=before))["achieved"] == 0


@pytest.mark.parametrize(
    ("examined", "told"),
    [
        ([], "1 of 1 extent is short: girth welds, normal service (RT), 1 joint missing."),
        (["B-1"], "The only extent is met."),
    ],
)
def test_the_extents_in_one_line(examined, told):
    known = joints(3, category="NORMAL")
    by = load_rules("process-piping")
    assert sentence(extent_table(known, NOBODY, whole(*examined), rules=by)) == told


def test_joints_that_meet_no_condition_of_their_category_are_named():
    only = "{ thickness_mm = { at_least = 20 } }"
    thick = rules(rule('family = "percent-of-joints", percent = 5', where=only))
    found = extent_table(joints(8, thickness_mm=10.0), NOBODY, NOTHING, rules=thick)
    assert found.set_index("state")["note"]["no rule"] == (
        "the condition (where) of no rule for this category holds: "
        "B-1, B-2, B-3, B-4, B-5 and 3 more"
    )


def test_the_line_names_what_is_in_no_rule():
    found = extent_table(joints(3, category="Z"), NOBODY, NOTHING, rules=FIVE_PERCENT)
    assert sentence(found) == "No rule asks for anything here. In no rule: category Z."
