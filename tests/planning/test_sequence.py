"""Weld in the order in which it was made; all figures counted by hand."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.planning.sequence import cut_at_increments, increment_of, with_sequence
from ndtstats.rules import read_rules

#: Ten metres each. Q is welded before P, R is not welded yet: P begins at 10 m, R at 20 m.
JOINTS = pd.DataFrame({"joint": ["P", "Q", "R"], "length_mm": 10_000.0, "group": "all"})
DEPOSITS = pd.DataFrame(
    {
        "joint": ["P", "Q", "Q"],
        "welder": ["A", "B", "A"],
        "date": pd.to_datetime(["2026-03-02", "2026-03-01", "2026-03-03"]),
        "from_mm": [np.nan, np.nan, 6_000.0],
        "to_mm": [np.nan, 6_000.0, np.nan],
    }
)
RULES = """
title = "increments"
follows = "nothing: rules for a test"
edition = "none"

[[extent]]
name = "seams"
categories = ["A"]
method = "RT"
amount = { family = "spot-per-increment", increment_m = 10.0, SHOWN }
"""


def places(*spans):
    return pd.DataFrame(spans, columns=["joint", "from_mm", "to_mm"])


def test_increments_are_counted_as_the_welding_went_on():
    asked = places(
        ("Q", 0, 100), ("P", 0, 100), ("P", 4_900, 5_000), ("P", 5_000, 5_100), ("R", 9_900, 1e4)
    )
    assert increment_of(asked, JOINTS, DEPOSITS, 15.0).tolist() == [1, 1, 1, 2, 2]


def test_groups_are_counted_apart():
    apart = JOINTS.assign(group=["x", "y", "x"])
    asked = places(("Q", 9_900, 1e4), ("P", 9_900, 1e4), ("R", 4_900, 5_000), ("R", 5_000, 5_100))
    assert increment_of(asked, apart, DEPOSITS, 15.0).tolist() == [1, 1, 1, 2]


def test_a_place_is_cut_where_an_increment_ends():
    made = places(("P", 4_000, 6_000), ("P", 0, 5_000), ("R", 5_000, 1e4)).assign(report=[1, 2, 3])
    cut = cut_at_increments(made, JOINTS, DEPOSITS, 15.0)
    assert list(cut[["report", "from_mm", "to_mm", "increment"]].itertuples(index=False)) == [
        (1, 4_000, 5_000, 1), (1, 5_000, 6_000, 2), (2, 0, 5_000, 1), (3, 5_000, 10_000, 2),
    ]  # fmt: skip


@given(st.floats(0, 9_000), st.floats(1, 1_000), st.sampled_from([0.4, 1.0, 7.0, 15.0]))
def test_pieces_make_up_the_place_and_lie_in_their_increment(start, length, increment_m):
    made = places(("P", start, start + length))
    cut = cut_at_increments(made, JOINTS, DEPOSITS, increment_m)
    assert cut["from_mm"].iloc[0] == pytest.approx(start)
    assert cut["to_mm"].iloc[-1] == pytest.approx(start + length)
    assert cut["from_mm"].iloc[1:].to_numpy() == pytest.approx(cut["to_mm"].iloc[:-1].to_numpy())
    longer = cut[cut["to_mm"] - cut["from_mm"] > 1e-6]
    assert (
        increment_of(longer, JOINTS, DEPOSITS, increment_m).tolist() == longer["increment"].tolist()
    )


@pytest.mark.parametrize(
    ("asked", "stretch", "increment", "crew"),
    [
        ('shown_in = "each-increment", first_m = 0.0', ["", "", ""], [1, 1, 2], ["B", "A; B", "A"]),
        ('first_m = 3.0, first_for = "each-welder"', ["B", "", "A"], [0, 0, 0], ["B", "B", "A"]),
        ('first_m = 3.0, first_for = "once"', ["all", "", ""], [0, 0, 0], ["B", "B", "A"]),
    ],
)
def test_cells_know_their_stretch_increment_and_crew(asked, stretch, increment, crew):
    (rule,) = read_rules(RULES.replace("SHOWN", asked), source="r.toml").extent
    cells = places(("Q", 0, 400), ("Q", 5_800, 6_200), ("P", 0, 400)).assign(welder=["B", "B", "A"])
    found = with_sequence(cells, JOINTS.drop(columns="group"), DEPOSITS, rule)
    assert found["stretch"].tolist() == stretch
    assert found["increment"].tolist() == increment
    assert found["crew"].tolist() == crew
