import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.extent.achieved import (
    crossings,
    ends,
    examined_spans,
    examined_whole,
    points_examined,
    spots_on,
    union_on,
    union_within,
    zones_about,
)

JOINTS = pd.DataFrame(
    {
        "joint": ["B-1", "B-2", "B-3"],
        "length_mm": [1000.0, 2000.0, 100.0],
        "crossings_mm": ["100;900", None, "50"],
    }
)


def spans(*rows: tuple[str, float, float]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["joint", "from_mm", "to_mm"])
    return frame.astype({"joint": "str", "from_mm": "float64", "to_mm": "float64"})


def examinations(*rows: tuple[str, float | None, float | None, str]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["joint", "from_mm", "to_mm", "verdict"])
    return frame.astype({"from_mm": "float64", "to_mm": "float64"}).assign(method="RT")


def test_only_a_verdict_on_the_weld_counts():
    found = examined_spans(
        examinations(
            ("B-1", 0, 100, "accept"),
            ("B-1", 200, 300, "reject"),
            ("B-1", 400, 500, "re-shoot"),
            ("B-1", 600, 700, "not done"),
        ),
        JOINTS,
    )
    assert found["from_mm"].tolist() == [0, 200]


def test_a_place_is_clipped_to_its_joint_and_blank_means_all_of_it():
    found = examined_spans(
        examinations(
            ("B-1", None, None, "accept"), ("B-2", 1900, 2100, "accept"), ("B-9", 0, 10, "accept")
        ),
        JOINTS,
    )
    assert found[["joint", "from_mm", "to_mm"]].to_numpy().tolist() == [
        ["B-1", 0, 1000],
        ["B-2", 1900, 2000],
    ]


def test_the_repaired_place_examined_again_counts_once():
    twice = examinations(("B-1", 0, 300, "reject"), ("B-1", 0, 300, "accept"))
    assert union_on(examined_spans(twice, JOINTS), JOINTS).tolist() == [300, 0, 0]


def test_overlaps_count_once():
    found = union_on(spans(("B-1", 0, 300), ("B-1", 200, 500), ("B-2", 0, 10)), JOINTS)
    assert found.tolist() == [500, 10, 0]


def test_whole_to_the_millimetre():
    seen = spans(("B-1", 0, 600), ("B-1", 600, 999.5), ("B-2", 0, 1998))
    assert examined_whole(seen, JOINTS).tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("seen", "number"),
    [
        ([("B-1", 100, 400)], 1),
        ([("B-1", 100, 399.5)], 1),  # taped to the millimetre
        ([("B-1", 100, 390)], 0),
        ([("B-1", 0, 150)], 1),  # cut off by the joint's end
        ([("B-1", 850, 1000)], 1),
        ([("B-1", 0, 140)], 0),
        ([("B-1", 100, 400), ("B-1", 110, 410), ("B-1", 120, 420)], 1),  # no more than they hold
        ([("B-1", 100, 400), ("B-1", 400, 700)], 2),
        ([("B-1", 0, 1000)], 1),  # one exposure is one spot
        ([("B-3", 0, 100)], 1),  # a joint shorter than a spot
        ([("B-3", 0, 90)], 0),
    ],
)
def test_what_counts_as_a_spot(seen, number):
    assert spots_on(spans(*seen), JOINTS, 300.0).sum() == number


def test_crossings_are_read_from_the_joints():
    assert crossings(JOINTS)[["joint", "at_mm"]].to_numpy().tolist() == [
        ["B-1", 100],
        ["B-1", 900],
        ["B-3", 50],
    ]


def test_zones_about_crossings_are_clipped_and_united():
    zones = zones_about(crossings(JOINTS), 300.0)
    assert zones.to_numpy().tolist() == [["B-1", 0, 250], ["B-1", 750, 1000], ["B-3", 0, 100]]
    seen = spans(("B-1", 200, 800))
    assert union_within(seen, zones, JOINTS).tolist() == [100, 0, 0]


@pytest.mark.parametrize(
    ("low", "high", "seen"),
    [(50, 150, True), (49, 151, True), (52, 200, False), (0, 148, False), (0, 149.5, True)],
)
def test_a_crossing_is_examined_with_weld_on_both_sides(low, high, seen):
    # 50 mm on each side: API 650, 8.1.2 (from memory).
    found = points_examined(crossings(JOINTS), spans(("B-1", low, high)))
    assert found.tolist() == [seen, False, False]


def test_a_crossing_near_an_end_needs_only_what_there_is():
    assert points_examined(crossings(JOINTS), spans(("B-3", 0, 100))).tolist() == [False] * 2 + [
        True
    ]
    assert points_examined(ends(JOINTS, "datum"), spans(("B-1", 0, 50))).tolist() == [
        True,
        False,
        False,
    ]


PLACES = st.lists(
    st.tuples(st.sampled_from(["B-1", "B-2", "B-3"]), st.integers(0, 2100), st.integers(0, 2100)),
    max_size=12,
)


@settings(max_examples=40, deadline=None)
@given(PLACES, st.integers(20, 600))
def test_nothing_exceeds_the_joint_whatever_the_order(places, spot):
    rows = [(joint, min(a, b), max(a, b), "accept") for joint, a, b in places]
    seen = examined_spans(examinations(*rows), JOINTS)
    assert (union_on(seen, JOINTS) <= JOINTS["length_mm"]).all()
    turned = examined_spans(examinations(*rows[::-1]), JOINTS)
    for measure in (union_on, lambda s, j: spots_on(s, j, spot)):
        assert measure(seen, JOINTS).tolist() == measure(turned, JOINTS).tolist()


@settings(max_examples=40, deadline=None)
@given(PLACES, st.integers(20, 600))
def test_one_more_exposure_never_takes_away(places, spot):
    rows = [(joint, min(a, b), max(a, b), "accept") for joint, a, b in places]
    fewer = examined_spans(examinations(*rows[:-1]), JOINTS)
    more = examined_spans(examinations(*rows), JOINTS)
    assert (union_on(more, JOINTS) >= union_on(fewer, JOINTS) - 1e-9).all()
    assert (spots_on(more, JOINTS, spot) >= spots_on(fewer, JOINTS, spot)).all()
