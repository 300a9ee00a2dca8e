import pandas as pd
import pytest

from ndtstats.demo.truth import seen

TRUTH = pd.DataFrame(
    {
        "job": "J", "joint": ["B-1", "B-1", "B-1", "B-2"], "welder": "K7",
        "date": pd.Timestamp("2026-03-02"), "pass": pd.NA, "side": "first",
        "imperfection": ["401", "2013", "5011", "401"], "at_mm": [100.0, 290.0, 120.0, 50.0],
        "long_mm": [20.0, 30.0, 10.0, 10.0], "rejectable": [True, False, True, True],
        "surface": [False, False, True, False], "shows": [True, True, True, False],
    }
)  # fmt: skip


def place(joint="B-1", method="RT", from_mm=0.0, to_mm=300.0):
    row = {"job": "J", "joint": joint, "method": method, "from_mm": from_mm, "to_mm": to_mm}
    return pd.DataFrame([row])


@pytest.mark.parametrize(
    ("where", "numbers"),
    [
        (place(), ["401", "2013"]),
        (place(method="UT"), ["401", "2013"]),
        (place(method="VT"), ["5011"]),
        (place(method="PT"), ["5011"]),
        (place(from_mm=130.0, to_mm=280.0), []),
        (place(from_mm=320.0, to_mm=600.0), []),
        # What the image does not show is not found, whatever is there.
        (place(joint="B-2"), []),
    ],
)
def test_an_examination_shows_what_lies_in_its_place(where, numbers):
    assert seen(TRUTH, where)["imperfection"].tolist() == numbers


def test_what_reaches_out_of_the_place_is_cut_off():
    found = seen(TRUTH, place(from_mm=110.0))
    assert found[["imp_from_mm", "imp_length_mm"]].to_numpy().tolist() == [[110, 10], [290, 10]]


def test_a_film_tells_no_side():
    assert seen(TRUTH, place())["imp_side"].isna().all()
    assert seen(TRUTH, place(method="VT"))["imp_side"].tolist() == ["first"]
