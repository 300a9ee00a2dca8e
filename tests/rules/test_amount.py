"""Amounts against worked examples. T1 to T11 are worked by hand from the rule named at each."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.rules.amount import (
    check_points,
    crossing_spots,
    first_off_mm,
    joints_required,
    length_required_mm,
    required,
    round_up,
    spots_by_increment,
    spots_for_length,
    spots_required,
)
from ndtstats.rules.families import CheckPoints, PercentOfJoints, ShareOfLength, SpotPerIncrement
from ndtstats.rules.model import ExtentRule, Structure

METRES_PER_FOOT = 0.3048  # exact: international foot, 1959


def points(**keys: object) -> CheckPoints:
    return CheckPoints.model_validate({"family": "check-points", **keys})


def increments(**keys: object) -> SpotPerIncrement:
    return SpotPerIncrement.model_validate({"family": "spot-per-increment", **keys})


def joints(**keys: object) -> PercentOfJoints:
    return PercentOfJoints.model_validate({"family": "percent-of-joints", **keys})


def length(**keys: object) -> ShareOfLength:
    return ShareOfLength.model_validate({"family": "share-of-length", **keys})


def rule(amount: dict[str, object], **keys: object) -> ExtentRule:
    named = {"name": "r", "categories": ["A"], "method": "RT"}
    return ExtentRule.model_validate({**named, "amount": amount, **keys})


# T1. ABS Guide for Nondestructive Inspection of Hull Welds: n = L (B + D) / 46.5 (seen).
HULLS = [
    ((150.0, 25.0, 15.0), 130),
    ((100.0, 16.0, 9.0), 54),
    ((40.0, 9.0, 4.0), 12),
    ((24.0, 6.5, 3.2), 6),
    ((180.0, 28.0, 16.0), 171),
]


def hull(dimensions: tuple[float, float, float]) -> Structure:
    return Structure(**dict(zip(("length_m", "breadth_m", "depth_m"), dimensions, strict=True)))


@pytest.mark.parametrize(("dimensions", "number"), HULLS)
def test_check_points_from_dimensions(dimensions, number):
    assert check_points(points(divisor=46.5), hull(dimensions)) == number


@pytest.mark.parametrize(("dimensions", "number"), HULLS)
def test_the_form_in_feet_gives_the_same_number(dimensions, number):
    # The divisor in feet is 500 (from memory): the same rule within 0.2 %.
    feet = tuple(metres / METRES_PER_FOOT for metres in dimensions)
    assert check_points(points(divisor=500.0), hull(feet)) == number


# T2. LR Special Service Craft, Pt 7 Ch 2, 3.6 (seen), for a ship of 40 m.
@pytest.mark.parametrize(("spot_mm", "number"), [(300, 134), (400, 100), (500, 80)])
def test_check_points_at_intersections_add_up_to_the_length_of_the_ship(spot_mm, number):
    total_mm = check_points(points(lengths=1.0), Structure(length_m=40.0))
    assert total_mm == 40_000.0
    assert spots_for_length(total_mm, spot_mm) == number


@pytest.mark.parametrize(
    ("one_in", "welded_mm", "examined_mm", "spot_mm", "number"),
    [
        (25.0, 600_000, 24_000, 300, 80),  # butts in plating, 1 m in 25 m
        (25.0, 600_000, 24_000, 500, 48),
        (100.0, 1_200_000, 12_000, 300, 40),  # seams in plating, 1 m in 100 m
        (100.0, 1_200_000, 12_000, 500, 24),
    ],
)
def test_check_points_in_plating(one_in, welded_mm, examined_mm, spot_mm, number):
    found = length_required_mm(length(one_in=one_in), welded_mm)
    assert found == examined_mm
    assert spots_for_length(found, spot_mm) == number


def test_butts_in_longitudinals():
    # T2. 1 in 10 within 0.4 L, 1 in 20 outside: 37 and 25 welds.
    assert joints_required(joints(one_in=10.0), 37) + joints_required(joints(one_in=20.0), 25) == 6


# T3. ASME VIII-1, UW-52: a spot for each 50 ft (15.2 m) or fraction of it (opinion, seen).
def test_spots_in_a_vessel():
    feet = increments(increment_m=50.0)  # the arithmetic does not know the unit
    welded = np.array([49, 50, 51, 120, 300]) * 1000
    assert spots_by_increment(feet, welded).tolist() == [1, 1, 2, 3, 6]
    metres = np.array([15.2, 15.3, 45.6, 45.7, 100.0]) * 1000
    assert spots_by_increment(increments(increment_m=15.2), metres).tolist() == [1, 2, 3, 4, 7]


def test_spots_in_a_vessel_show_the_work_of_each_welder():
    # T3. 100 m and 9 welders with stretches of their own.
    amount = {"family": "spot-per-increment", "increment_m": 15.2}
    vessel = rule(amount, spots_per_welder=1)
    asked = {"length_mm": 100_000.0, "joints": 1, "structure": Structure()}
    assert spots_required(vessel, welders=9, **asked) == 9
    assert spots_required(vessel, welders=2, **asked) == 7


TANK = {"increment_m": 30.0, "remainder": "major-fraction", "first_m": 3.0}


# T5. API 650, 8.1.2, vertical joints up to 10 mm (seen). What is taken off before the rest is cut
# is left open there: both readings.
@pytest.mark.parametrize(
    ("welders", "welded_m", "all_firsts", "one_first"),
    [(2, 90, 5, 5), (3, 120, 7, 7), (1, 17.9, 1, 1), (1, 18.1, 2, 2), (6, 63, 7, 8)],
)
def test_spots_in_vertical_joints_of_a_tank(welders, welded_m, all_firsts, one_first):
    for rest_after, number in {"all-firsts": all_firsts, "one-first": one_first}.items():
        amount = increments(**TANK, first_for="each-welder", rest_after=rest_after)
        assert spots_by_increment(amount, welded_m * 1000, welders) == number


def test_spots_of_a_tank_at_junctions():
    # T5. At least 25 % of five, and two in a tank: API 650, 8.1.2 (seen).
    amount = increments(**TANK, crossing_percent=25.0, crossing_least=2)
    assert crossing_spots(amount, [0, 5, 9]).tolist() == [0, 2, 3]


def test_one_spot_in_each_vertical_of_the_lowest_course():
    # T5. API 650, 8.1.2 (seen): counted joint by joint, an increment as long as any joint.
    lowest = increments(increment_m=30.0)
    assert spots_by_increment(lowest, [2_400, 2_400]).tolist() == [1, 1]


# T6. API 650, 8.1.2, horizontal joints: one spot in the first 3 m, whoever welds, then one in 60 m
# and in a remaining major fraction (seen).
def test_spots_in_horizontal_joints_of_a_tank():
    amount = increments(increment_m=60.0, remainder="major-fraction", first_m=3.0)
    found = spots_by_increment(amount, np.array([62, 93, 94, 250]) * 1000, welders=4)
    assert found.tolist() == [2, 2, 3, 5]


# T7. ASME B31.3, 341.4.1: 5 % of the girth welds, each whole (seen), the work of each welder among
# them (opinion, seen).
@pytest.mark.parametrize(
    ("welds", "welders", "number"), [(900, 10, 45), (3, 1, 1), (30, 4, 4), (0, 0, 0), (2, 5, 2)]
)
def test_percent_of_girth_welds(welds, welders, number):
    amount = {"family": "percent-of-joints", "percent": 5.0}
    found = required(
        rule(amount, spots_per_welder=1), Structure(), joints=welds, length_mm=0, welders=welders
    )
    assert found == number


# EN 13480-5: 5 % of the first 100 welds; without a reject 2 % of all, at least 5 (seen).
@pytest.mark.parametrize(
    ("welds", "clean", "number"),
    [(100, False, 5), (100, True, 5), (101, True, 5), (101, False, 6), (500, True, 10)],
)
def test_a_clean_record_reduces_the_percentage(welds, clean, number):
    less = {"after_joints": 100, "percent": 2.0, "least": 5}
    assert joints_required(joints(percent=5.0, reduction=less), welds, clean=clean) == number


def test_a_fraction_of_a_joint_by_the_named_convention():
    welds = [10, 30, 31]
    assert joints_required(joints(percent=5.0), welds).tolist() == [1, 2, 2]
    nearest = joints(percent=5.0, rounding="major-fraction", least=0)
    assert joints_required(nearest, welds).tolist() == [0, 1, 2]


def test_first_joints_to_a_new_procedure():
    # EN 1090-2:2008, 12.4.2.2 (from memory): twice the share, from 5 to 100 %, at least 900 mm.
    first = {"of": "procedure", "joints": 5, "factor": 2.0, "percent": 5.0, "least_mm": 900.0}
    lengths = [30_000, 3_000, 500]
    for percent, expected in {
        20.0: [12_000, 1_200, 500],
        2.0: [1_500, 900, 500],
        60.0: [30_000, 3_000, 500],
    }.items():
        held = rule({"family": "share-of-length", "percent": percent}, first_off=first)
        assert first_off_mm(held, lengths).tolist() == pytest.approx(expected)


def test_first_joints_examined_whole_are_whole():
    assert first_off_mm(rule({"family": "percent-of-joints", "percent": 5.0}), 700) == 700


def test_an_agreed_number_needs_no_dimensions():
    assert check_points(points(points=12), Structure()) == 12


def test_a_missing_dimension_is_said():
    with pytest.raises(UseError, match="breadth_m"):
        check_points(points(divisor=46.5), Structure(length_m=40.0))


def test_welders_not_shown_raise_a_length_too():
    held = rule(
        {"family": "share-of-length", "percent": 1.0}, spots_per_welder=2, spot_length_mm=300.0
    )
    found = required(held, Structure(), joints=[9, 9], length_mm=[100_000, 500], welders=4)
    assert found.tolist() == [2_400, 500]


@pytest.mark.parametrize("amount", [10.0, 12.0])
def test_a_product_that_is_whole_is_not_rounded_further(amount):
    # 0.07 x 100 is 7.000000000000001 in binary.
    assert round_up([0.07 * 100, amount / 100 * 100]).tolist() == [7, amount]


AMOUNTS = st.one_of(
    st.builds(
        lambda percent: {"family": "percent-of-joints", "percent": percent},
        st.floats(0.1, 100.0),
    ),
    st.builds(
        lambda increment, remainder, first, each, after: {
            "family": "spot-per-increment",
            "increment_m": increment,
            "remainder": remainder,
            "first_m": first,
            "first_for": each,
            "rest_after": after,
        },
        st.floats(0.5, 100.0),
        st.sampled_from(["fraction", "major-fraction"]),
        st.floats(0.0, 10.0),
        st.sampled_from(["each-welder", "once"]),
        st.sampled_from(["all-firsts", "one-first"]),
    ),
    st.builds(
        lambda one_in, least: {"family": "share-of-length", "one_in": one_in, "least_mm": least},
        st.floats(1.0, 200.0),
        st.floats(0.0, 2_000.0),
    ),
)


@given(AMOUNTS, st.lists(st.integers(0, 10**6), min_size=2, max_size=8), st.integers(0, 12))
def test_more_weld_never_asks_for_less(amount, sizes, welders):
    sizes = sorted(sizes)
    held = rule(amount, spots_per_welder=1)
    lengths, numbers = np.array(sizes) * 7.0, np.array(sizes) // 100
    found = required(held, Structure(), joints=numbers, length_mm=lengths, welders=welders)
    assert (np.diff(found) >= 0).all()


@given(AMOUNTS, st.integers(0, 10**6), st.integers(0, 10**4), st.integers(0, 12))
def test_no_more_is_asked_than_there_is(amount, length_mm, number, welders):
    held = rule(amount, spots_per_welder=1)
    found = required(held, Structure(), joints=number, length_mm=length_mm, welders=welders)
    if held.unit == "joints":
        assert found <= number
    if held.unit == "mm":
        assert found <= length_mm


@given(st.floats(0.01, 100.0), st.integers(1, 10**5))
def test_the_joints_asked_for_are_at_least_their_share_and_less_than_one_more(percent, number):
    found = joints_required(joints(percent=percent, least=0), number)
    share = percent / 100 * number
    assert share - 1e-6 <= found < share + 1 + 1e-6
