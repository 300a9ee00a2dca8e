"""Which places share some of their length with others, against a look at each pair."""

import numpy as np
import pandas as pd
import pytest

from ndtstats.planning.places import touched


def places(rng: np.random.Generator, number: int, joints: int, least: int) -> pd.DataFrame:
    start = rng.integers(0, 12, number) * 50.0
    return pd.DataFrame(
        {
            "joint": pd.Series(rng.integers(0, joints, number), dtype="str"),
            "method": pd.Series(rng.choice(["RT", "UT"], number), dtype="str"),
            "from_mm": start,
            "to_mm": start + rng.integers(least, 5, number) * 50.0,
        }
    )


@pytest.mark.parametrize("seed", range(20))
def test_touched_is_what_a_look_at_each_pair_gives(seed):
    rng = np.random.default_rng(seed)
    cells, taken = places(rng, 40, 5, 1), places(rng, int(rng.integers(0, 30)), 7, 0)
    pairs = cells.reset_index(names="cell").merge(
        taken, on=["joint", "method"], suffixes=("", "_taken")
    )
    shared = (pairs["from_mm"] < pairs["to_mm_taken"]) & (pairs["to_mm"] > pairs["from_mm_taken"])
    assert touched(cells, taken).tolist() == cells.index.isin(pairs.loc[shared, "cell"]).tolist()


def test_a_place_that_ends_where_another_begins_touches_it_not():
    one = pd.DataFrame({"joint": ["J"], "method": ["RT"], "from_mm": [0.0], "to_mm": [300.0]})
    for start, end, expected in ((300.0, 600.0, False), (299.0, 600.0, True), (100.0, 200.0, True)):
        other = one.assign(from_mm=start, to_mm=end)
        assert touched(one, other).tolist() == [expected]


def test_a_place_not_known_touches_nothing():
    one = pd.DataFrame({"joint": ["J"], "method": ["RT"], "from_mm": [0.0], "to_mm": [300.0]})
    assert touched(one, one.assign(to_mm=np.nan)).tolist() == [False]
    assert touched(one, one.assign(from_mm=np.nan, to_mm=np.nan)).tolist() == [False]
