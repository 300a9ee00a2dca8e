import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.places import filled_places
from ndtstats.request import match_examinations

SPOT = {
    "spot": "P1-0001", "batch": 5, "part": "random", "job": "H1", "joint": "B-1", "method": "RT",
    "round": 0, "from_mm": 300.0, "to_mm": 600.0,
}  # fmt: skip
DONE = {
    "id": 7, "batch": 6, "request": None, "job": "H1", "joint": "B-1", "method": "RT", "round": 0,
    "from_mm": 300.0, "to_mm": 600.0,
}  # fmt: skip


def match(done, spots=({},)):
    examinations = pd.DataFrame([{**DONE, "id": 7 + n, **row} for n, row in enumerate(done)])
    asked = pd.DataFrame([SPOT | row for row in spots])
    found = match_examinations(examinations, asked)
    return list(found.itertuples(index=False, name=None))


def test_a_request_id_is_enough_wherever_the_place_is():
    assert match([{"request": "P1-0001", "from_mm": 0.0, "to_mm": 10.0}]) == [
        (7, "P1-0001", "request")
    ]


@pytest.mark.parametrize(
    "other", [{"joint": "B-2"}, {"method": "UT"}, {"round": 1}, {"job": "H2"}], ids=str
)
def test_a_request_id_holds_only_for_what_was_asked(other):
    assert match([{"request": "P1-0001", **other}]) == []


@pytest.mark.parametrize(
    ("bounds", "answers"),
    [
        ((300, 600), True), ((450, 750), True), ((451, 751), False),
        ((0, 3000), True), ((0, 449), False),
    ],
)  # fmt: skip
def test_half_of_a_spot_is_enough_without_a_request_id(bounds, answers):
    found = match([{"from_mm": float(bounds[0]), "to_mm": float(bounds[1])}])
    assert found == ([(7, "P1-0001", "place")] if answers else [])


def test_what_was_there_before_the_draw_answers_only_a_spot_that_it_shows_all_of():
    half = {"batch": 4, "from_mm": 450.0, "to_mm": 750.0}
    assert match([half]) == []
    assert match([half | {"from_mm": 200.0}]) == [(7, "P1-0001", "place")]


def test_an_extra_is_never_answered_by_what_was_there_before():
    assert match([{"batch": 4}], [{"part": "extra"}]) == []
    assert match([{"batch": 6}], [{"part": "extra"}]) == [(7, "P1-0001", "place")]


def test_an_unknown_request_id_falls_back_on_the_place():
    assert match([{"request": "X-99"}]) == [(7, "P1-0001", "place")]


def test_the_spot_that_is_shown_most_is_answered_and_no_other():
    spots = [{}, {"spot": "P1-0002", "from_mm": 600.0, "to_mm": 900.0}]
    assert match([{"from_mm": 420.0, "to_mm": 800.0}], spots) == [(7, "P1-0002", "place")]


def test_a_re_shoot_and_what_replaced_it_answer_the_same_spot():
    assert match([{"request": "P1-0001"}, {"request": "P1-0001"}]) == [
        (7, "P1-0001", "request"),
        (8, "P1-0001", "request"),
    ]


def test_nothing_matches_nothing():
    none = pd.DataFrame([DONE]).iloc[:0]
    assert match_examinations(none, pd.DataFrame([SPOT])).empty
    assert match_examinations(pd.DataFrame([DONE]), pd.DataFrame([SPOT]).iloc[:0]).empty


PLACE = st.tuples(st.sampled_from("AB"), st.integers(0, 20), st.integers(1, 10))
PLACES = st.lists(PLACE, min_size=1, max_size=12)


@settings(max_examples=60, deadline=None)
@given(PLACES, PLACES, st.randoms(use_true_random=False))
def test_matching_is_once_each_and_independent_of_the_order_of_rows(done, asked, chance):
    examinations = pd.DataFrame(
        [
            {**DONE, "id": n, "joint": j, "from_mm": a * 50.0, "to_mm": (a + w) * 50.0}
            for n, (j, a, w) in enumerate(done)
        ]
    )
    spots = pd.DataFrame(
        [
            SPOT | {"spot": f"S{n}", "joint": j, "from_mm": a * 50.0, "to_mm": (a + w) * 50.0}
            for n, (j, a, w) in enumerate(asked)
        ]
    )
    found = match_examinations(examinations, spots)
    assert found["examination"].is_unique
    shuffled = match_examinations(
        examinations.sample(frac=1.0, random_state=chance.randrange(2**31)),
        spots.sample(frac=1.0, random_state=chance.randrange(2**31)),
    )
    pairs = [dict(zip(f["examination"], f["spot"], strict=True)) for f in (found, shuffled)]
    assert pairs[0] == pairs[1]


def test_blank_places_are_the_whole_joint():
    joints = pd.DataFrame({"job": ["H1"], "joint": ["B-1"], "length_mm": [1200.0]})
    rows = pd.DataFrame(
        {"job": "H1", "joint": ["B-1", "B-1"], "from_mm": [None, 300.0], "to_mm": [600.0, None]},
        index=[4, 2],
    ).astype({"from_mm": float, "to_mm": float})
    filled = filled_places(rows, joints)
    assert filled[["from_mm", "to_mm"]].to_numpy().tolist() == [[0, 600], [300, 1200]]
