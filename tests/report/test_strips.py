"""Pictures of joints and zones, as text and as SVG: against drawings by hand and by brute force."""

import re
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.escalation import owed
from ndtstats.report.joints import MOST_IN_ZONE, Zone, joint_of, strips_of, within, zone_of
from ndtstats.report.marks import MARKS, marks_of, marks_sentence
from ndtstats.report.strip_text import CHARACTERS, joint_text, zone_text
from ndtstats.report.strips import zone_strip

COLUMNS = ["joint", "method", "round", "from_mm", "to_mm", "mark"]


def marks(*rows):
    frame = pd.DataFrame(rows, columns=COLUMNS)
    return frame.astype({"joint": "str", "method": "str", "mark": "str", "round": "int64"})


DRAWN = marks(
    ("B-1", "RT", 0, 0.0, 300.0, "accepted"),
    ("B-1", "RT", 0, 500.0, 800.0, "rejected"),
    ("B-1", "RT", 0, 600.0, 650.0, "found"),
    ("B-1", "RT", 1, 500.0, 800.0, "accepted"),
    ("B-1", "UT", 0, 1000.0, 1200.0, "planned"),
    ("B-1", "UT", 0, 1400.0, 1500.0, "re-shoot"),
    ("B-1", "UT", 0, 1500.0, 1600.0, "not done"),
    ("B-1", "", 0, 800.0, 1000.0, "owed"),
)


def test_a_joint_is_drawn_as_by_hand():
    # 2,000 mm on the 40 characters left beside labels of seven: 50 mm each.
    assert joint_text(2000.0, DRAWN, width=47).splitlines() == [
        "mm     0         500       1,000     1,500",
        "       |         |         |         |",
        "RT     ======....XX!XXX........................",
        "RT R1  ..........======........................",
        "UT     ....................oooo....~~--........",
        "owed   ................++++....................",
        "One character is 50 mm: - not done; ~ re-shoot; + owed; o planned; = accepted; "
        "X rejected; ! rejectable indication; . not examined.",
    ]


def test_a_joint_nobody_looked_at_has_its_scale():
    assert joint_text(1000.0, DRAWN.iloc[:0], width=24).splitlines() == [
        "mm  0         500",
        "    |         |",
        "    ....................",
        "One character is 50 mm: . not examined.",
    ]


def test_joints_of_a_zone_have_one_scale_and_a_repair_is_seen():
    lengths = pd.Series({"B-1": 2000.0, "B-10": 500.0, "B-11": 10.0})
    rows = zone_text(lengths, DRAWN, width=46).splitlines()[2:-1]
    assert rows == [
        "B-1   ======....rrrrrr++++oooo....~~--........",
        "B-10  ..........",
        "B-11  .",
    ]


@pytest.mark.parametrize(
    ("later", "seen"),
    [
        (("RT", 1, "accepted"), "r"),  # repaired
        (("RT", 0, "accepted"), "X"),  # another exposure of the same round does not outweigh it
        (("UT", 1, "accepted"), "X"),  # nor does another method
        (("RT", 1, "planned"), "X"),  # the repair is not examined yet
        (("RT", 1, "rejected"), "X"),
    ],
)
def test_only_an_accepted_repair_by_the_same_method_clears_a_reject(later, seen):
    method, round_, mark = later
    both = marks(
        ("B-1", "RT", 0, 0.0, 1000.0, "rejected"), ("B-1", method, round_, 0.0, 1000.0, mark)
    )
    row = zone_text(pd.Series({"B-1": 1000.0}), both, width=25).splitlines()[2]
    assert row == "B-1  " + seen * 20


PLACE = st.tuples(st.integers(0, 999), st.integers(1, 400), st.sampled_from(MARKS[:5]))


@given(st.lists(PLACE, min_size=1, max_size=8), st.integers(1, 3000))
def test_each_character_shows_the_strongest_mark_over_its_middle(places, length):
    # Brute force, character by character; a mark over no middle gets the character it lies in.
    length = max([length, *(low + wide for low, wide, _ in places)])
    rows = [("B-1", "RT", 0, float(low), float(low + wide), mark) for low, wide, mark in places]
    text = zone_text(pd.Series({"B-1": float(length)}), marks(*rows), width=85)
    drawn = text.splitlines()[2].removeprefix("B-1  ")
    each = float(re.search(r"One character is ([\d.,]+) mm", text)[1].replace(",", ""))
    assert len(drawn) == max(round(length / each), 1)
    expected = [0] * len(drawn)
    for low, wide, mark in places:
        over = [n for n in range(len(drawn)) if low <= (n + 0.5) * each < low + wide]
        inside = min(int((low + wide / 2) / each), len(drawn) - 1)
        for n in over or [inside]:
            expected[n] = max(expected[n], MARKS.index(mark) + 1)
    letters = "." + "".join(CHARACTERS[mark] for mark in MARKS)
    assert drawn == "".join(letters[code] for code in expected)


@given(st.floats(0.5, 2e6), st.integers(40, 200))
def test_no_line_is_wider_than_asked_for_and_figures_stand_at_their_place(length, width):
    *lines, _ = joint_text(length, DRAWN.iloc[:1].assign(to_mm=length), width=width).splitlines()
    assert max(map(len, lines)) <= width
    each = length / (len(lines[2]) - 4)
    for found in re.finditer(r"[\d,]+", lines[0]):
        at = found.start() - 4
        assert lines[1][found.start()] == "|"
        # Within one character, as its length is rounded and the last one may be cut off.
        assert abs(at * each - float(found[0].replace(",", ""))) <= each * (1 + 0.03 * at) + 1


def test_every_mark_has_a_character_of_its_own_and_is_plain():
    assert set(CHARACTERS) == set(MARKS)
    assert len({*CHARACTERS.values(), "."}) == len(MARKS) + 1
    assert all(character.isascii() for character in CHARACTERS.values())


def test_a_name_cannot_steer_the_terminal_or_push_the_strip_away():
    lengths = pd.Series({"\x1b[2J" + "x" * 90: 100.0, "\u202eB": 50.0})
    text = zone_text(lengths, DRAWN.iloc[:0], width=60)
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert max(map(len, text.splitlines()[:-1])) <= 60


def test_marks_keep_method_round_and_place():
    examined = pd.DataFrame(
        {"joint": "B-1", "method": "RT", "round": [0, 1], "from_mm": 0.0, "to_mm": 300.0,
         "verdict": ["reject", "accept"]}
    )  # fmt: skip
    found = pd.DataFrame(
        {"joint": "B-1", "method": "RT", "round": 0, "start_mm": [10.0, 0.0],
         "end_mm": [20.0, 300.0], "located": [True, False]}
    )  # fmt: skip
    owed_places = pd.DataFrame({"joint": ["B-1"], "from_mm": [300.0], "to_mm": [600.0]})
    of = marks_of(examined, found, examined.iloc[:0], owed_places)
    assert of.to_numpy().tolist() == [
        ["B-1", "RT", 0, 0.0, 300.0, "rejected"],
        ["B-1", "RT", 1, 0.0, 300.0, "accepted"],
        ["B-1", "RT", 0, 10.0, 20.0, "found"],
        ["B-1", "", 0, 300.0, 600.0, "owed"],
    ]
    assert marks_sentence(of) == "2 examined, 1 of them rejected; none planned, 1 owed."
    assert marks_sentence(of.iloc[:0]) == "none examined; none planned, none owed."


def parsed(svg):
    return ET.fromstring(svg)  # noqa: S314  (made by ourselves)


def test_the_picture_of_a_zone_is_to_one_scale():
    svg = parsed(zone_strip(pd.Series({"B-1": 2000.0, "B-2": 500.0}), DRAWN))
    boxes = [mark.attrib for mark in svg.iter("rect")]
    # 2,000 mm are drawn 600 wide from 104 on; each row is 14 high.
    lines = [box for box in boxes if box["class"] == "w"]
    assert [line["width"] for line in lines] == ["600.0", "150.0"]
    by_class = {box["class"]: box for box in boxes}
    for kind, x, width in (
        ("r", "254.0", "90.0"), ("i", "284.0", "15.0"), ("p", "404.0", "60.0"),
        ("d", "344.0", "60.0"),
    ):  # fmt: skip
        assert (by_class[kind]["x"], by_class[kind]["width"]) == (x, width), kind
    assert {int(box["y"]) // 14 for box in boxes if box["class"] != "w"} == {0}


def test_an_accepted_repair_lies_over_its_reject_and_the_indication_over_both():
    svg = parsed(zone_strip(pd.Series({"B-1": 2000.0}), DRAWN))
    kinds = [box.attrib["class"] for box in svg.iter("rect") if box.attrib["class"] != "w"]
    repair = len(kinds) - kinds[::-1].index("a") - 1
    assert kinds.index("r") < repair < kinds.index("i")
    height = {box.attrib["class"]: int(box.attrib["height"]) for box in svg.iter("rect")}
    assert height["r"] > height["a"] > height["g"]


def test_names_in_a_picture_are_escaped_and_short():
    svg = zone_strip(pd.Series({"<b>" + "x" * 90: 10.0, "\u202eB": 10.0}), DRAWN.iloc[:0])
    assert "<b>" not in svg
    assert "\u202e" not in svg
    assert max(len(text.text) for text in parsed(svg).iter("text")) <= 14


def test_a_page_draws_the_zones_with_all_joints_that_have_marks(yard, now):
    items = owed(yard, job="H1")
    strips = strips_of(yard, "H1", items, now.replace(year=2027))
    (tank,) = strips.zones
    assert (tank.name, strips.zones_left) == ("TANK", 0)
    assert len(tank.lengths_mm) == 40
    assert set(tank.marks["joint"]) == set(tank.lengths_mm.index)
    assert (tank.marks["mark"] != "found").sum() >= 40


def test_a_large_zone_keeps_the_joints_with_marks_in_walking_order(yard, now):
    more = pd.DataFrame(
        {"job": "H1", "zone": "TANK", "joint": [f"A-{n}" for n in range(50)],
         "category": "SHELL-BUTT", "joint_type": "butt", "length_mm": 1000.0}
    )  # fmt: skip
    with yard.batch(kind="load", subject="joints", now=now.replace(year=2027)) as batch:
        batch.merge("joints", more)
    (tank,) = strips_of(yard, "H1", owed(yard, job="H1"), now.replace(year=2028)).zones
    assert (len(tank.lengths_mm), tank.left) == (MOST_IN_ZONE, 90 - MOST_IN_ZONE)
    added = [name for name in tank.lengths_mm.index if name.startswith("A-")]
    assert added == [f"A-{n}" for n in range(MOST_IN_ZONE - 40)]
    assert tank.lengths_mm.index.isin(tank.marks["joint"]).sum() == 40
    whole = zone_of(yard, "H1", "TANK", owed(yard, job="H1"), None)
    assert (len(whole.lengths_mm), whole.left) == (90, 0)


def test_one_joint_is_found_by_its_name(yard):
    one = joint_of(yard, "H1", "B-07", owed(yard, job="H1"), None)
    assert (one.name, one.length_mm, one.zone) == ("B-07", 3000.0, "TANK")
    assert np.isin(["accepted", "rejected"], one.marks["mark"]).any()


def test_zones_are_drawn_as_long_as_their_marks_are_not_too_many():
    # DRAWN has 8 marks.
    zones = [Zone(name, pd.Series({"B-1": 2000.0}), DRAWN, 0) for name in "ABC"]
    assert [zone.name for zone in within(iter(zones), 16)] == ["A", "B"]
    assert [zone.name for zone in within(iter(zones), 15)] == ["A"]
    assert [zone.name for zone in within(iter(zones), 1)] == ["A"]
    assert within(iter([]), 1) == ()
