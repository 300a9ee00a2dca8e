"""Both sides of a reject: API 650, 8.1.6 (seen), and extend until sound (common practice)."""

import pandas as pd
import pytest

from ndtstats.escalation import decide
from ndtstats.rules.procedures import PRESETS

HULL = PRESETS["until-sound-hull"]
TANK = PRESETS["tank-shell"]


@pytest.fixture
def joint(make):
    return make.weld(3000, 300)


def open_places(items):
    return sorted(
        (place["from_mm"], place["to_mm"])
        for places in items.loc[items["state"] == "open", "places"]
        for place in places
    )


def test_both_neighbours_are_owed_until_one_is_sound(make, joint):
    rows = [(900, 1200, "reject", 1)]
    assert open_places(decide(make.spots(*rows), joint, HULL)) == [(600, 900), (1200, 1500)]
    rows += [(600, 900, "accept", 2), (1200, 1500, "reject", 2)]
    items = decide(make.spots(*rows), joint, HULL)
    assert open_places(items) == [(1500, 1800)]
    assert items.loc[items["state"] == "open", "round"].tolist() == [2]
    rows += [(1500, 1800, "accept", 3)]
    items = decide(make.spots(*rows), joint, HULL)
    assert set(items["state"]) == {"done"}
    assert items["answered_by"].ne("").all()


def test_the_end_of_the_joint_needs_no_neighbour(make, joint):
    assert open_places(decide(make.spots((0, 300, "reject", 1)), joint, HULL)) == [(300, 600)]
    assert open_places(decide(make.spots((2700, 3000, "reject", 1)), joint, HULL)) == [(2400, 2700)]
    nearly = decide(make.spots((2690, 2990, "reject", 1)), joint, HULL)
    assert open_places(nearly) == [(2390, 2690)]


@pytest.mark.parametrize(
    ("bad", "owed"),
    [
        ((1080, 1140), [(1150, 1300)]),  # 80 mm of good weld on the left
        ((1075, 1140), [(1150, 1300)]),  # 75 mm: just enough
        ((1074, 1140), [(850, 1000), (1150, 1300)]),
        ((None, None), [(850, 1000), (1150, 1300)]),  # nobody knows where
    ],
)
def test_a_sound_margin_on_the_film_spares_that_side(make, joint, bad, owed):
    # API 650, 8.1.6: no spot on a side whose film shows 75 mm of good weld; seen.
    assert open_places(decide(make.spots((1000, 1150, "reject", 1, *bad)), joint, TANK)) == owed


def test_a_long_run_of_rejects_asks_for_the_whole_joint(make, joint):
    rows = [(300 * n, 300 * n + 300, "reject", n) for n in range(1, 6)]
    items = decide(make.spots(*rows), joint, HULL)
    whole = items[items["what"] == "whole lot"]
    # What is left of the joint, and nothing that was examined already.
    assert open_places(whole) == [(0, 300), (1800, 3000)]
    taken = items[items["state"] == "whole lot"]
    assert taken["count"].sum() == 0
    rows += [(0, 300, "accept", 6), (1800, 3000, "accept", 6)]
    items = decide(make.spots(*rows), joint, HULL)
    assert open_places(items) == []
    assert items.loc[items["what"] == "whole lot", "state"].tolist() == ["done"]


def test_a_gap_in_the_middle_leaves_the_joint_open(make, joint):
    rows = [(300 * n, 300 * n + 300, "reject", n) for n in range(1, 6)]
    rows += [(0, 300, "accept", 6), (2100, 3000, "accept", 6)]
    assert open_places(decide(make.spots(*rows), joint, HULL)) == [(1800, 2100)]


def test_rejects_far_apart_are_no_run(make):
    rows = [(1500 * n, 1500 * n + 300, "reject", 1) for n in range(6)]
    items = decide(make.spots(*rows), make.weld(9000, 300), HULL)
    assert set(items["what"]) == {"extra"}
    assert len(open_places(items)) == 11


def test_steps_count_from_the_first_reject_to_either_side(make, joint):
    # Two to the left and two to the right are five rejects, but never four in a row.
    order = {1200: 1, 900: 2, 1500: 2, 600: 3, 1800: 3}
    rows = [(low, low + 300, "reject", report) for low, report in order.items()]
    items = decide(make.spots(*rows), joint, HULL)
    assert set(items["what"]) == {"extra"}
    assert open_places(items) == [(300, 600), (2100, 2400)]


def test_two_rejects_close_together_ask_for_the_place_between_them(make, joint):
    rows = [(300, 600, "reject", 1), (800, 1100, "reject", 1)]
    items = decide(make.spots(*rows), joint, HULL)
    assert open_places(items) == [(0, 300), (600, 800), (600, 800), (1100, 1400)]
    rows += [(600, 800, "accept", 2)]
    assert open_places(decide(make.spots(*rows), joint, HULL)) == [(0, 300), (1100, 1400)]


def test_a_neighbour_by_another_welder_answers_too(make, joint):
    # Lots by welder: the film beside the reject shows the other welder's part of the joint.
    by_a = make.spots((900, 1200, "reject", 1))
    by_b = make.spots((1200, 1500, "accept", 2)).assign(lot="B")
    population = pd.concat([joint, joint.assign(lot="B")])
    items = decide(pd.concat([by_a, by_b]), population, HULL)
    assert open_places(items) == [(600, 900)]
