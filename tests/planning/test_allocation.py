import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.planning.allocation import strata_of
from ndtstats.planning.draw import allocate
from ndtstats.rules import Structure, read_rules

TOP = 'title = "t"\nfollows = "f"\nedition = "e"\n[[extent]]\nname = "n"\ncategories = ["A"]\n'


def rule(amount, **keys):
    lines = [f"amount = {{ {amount} }}", 'method = "RT"', *(f"{k} = {v}" for k, v in keys.items())]
    return read_rules(TOP + "\n".join(lines), source="r").extent[0]


def cells(*rows, length_mm=300.0):
    """Cells as (joint, welder, mandatory[, first_off]); those of a joint lie end to end."""
    frame = pd.DataFrame(
        [(row[0], row[1], row[2], len(row) > 3 and row[3]) for row in rows],
        columns=["joint", "welder", "mandatory", "first_off"],
    )
    by = frame.groupby("joint", sort=False)["joint"]
    start = by.cumcount() * length_mm
    return frame.assign(
        from_mm=start, to_mm=start + length_mm, risk=1.0, joint_mm=by.transform("size") * length_mm,
        stretch="", increment=0, crew=frame["welder"], factor=1.0,
    )  # fmt: skip


def strata(frame, of, structure=Structure()):  # noqa: B008
    length = float((frame["to_mm"] - frame["from_mm"]).sum())
    return strata_of(frame, of, structure, length_mm=length)


def numbers(found):
    return found.drop_duplicates("stratum").set_index("stratum")["number"]


def at_least(frame, found):
    """How many cells of each welder are drawn whatever chance does."""
    number = numbers(found)
    sure = dict.fromkeys(frame["welder"], 0)
    for name, group in frame.groupby(found["stratum"]):
        for welder, own in group["welder"].value_counts().items():
            sure[welder] += max(0, int(number[name]) - (len(group) - int(own)))
    return sure


POINTS = 'family = "check-points", points = 3'


def test_a_welder_who_only_has_places_of_the_first_class_is_shown():
    # Three crossings are asked for, and there are ten of W1's; W2 has two, W3 none.
    frame = cells(
        *[(f"J{n}", "W1", "crossing") for n in range(10)],
        *[(f"K{n}", "W2", "crossing") for n in range(2)],
        *[(f"L{n}", "W3", "") for n in range(5)],
    )
    found = strata(frame, rule(POINTS, first='["crossings"]', spots_per_welder=1))
    assert at_least(frame, found) == {"W1": 1, "W2": 1, "W3": 1}
    assert numbers(found).sum() == 3


def test_first_off_work_first_shows_every_welder():
    # As butts in aluminium hulls: the number is spent on first-off joints first.
    frame = cells(
        *[("J1", "W1", "", True)] * 10, *[("J2", "W2", "", True)] * 10, *[("J3", "W1", "")] * 10
    )
    of = rule('family = "share-of-length", percent = 5.0', first='["first-off"]',
              spots_per_welder=1)  # fmt: skip
    found = strata(frame, of)
    assert at_least(frame, found) == {"W1": 1, "W2": 1}
    assert numbers(found).sum() == 2


def test_certain_places_show_a_welder_as_well():
    frame = cells(("J1", "W1", "crossing"), *[("J2", "W1", "")] * 5, *[("J3", "W2", "")] * 5)
    found = strata(frame, rule('family = "check-points", points = 2', always='["crossings"]',
                               spots_per_welder=1))  # fmt: skip
    assert numbers(found).to_dict() == {"certain": 1, "welder W1": 0, "welder W2": 1}


def test_a_first_off_joint_of_two_welders_is_parted_between_them():
    # Two of its three cells are asked for: by length one of each. Nothing more is needed.
    frame = cells(("J1", "W1", "", True), ("J1", "W1", "", True), ("J1", "W2", "", True),
                  *[("J2", "W1", "")] * 4, *[("J3", "W2", "")] * 4)  # fmt: skip
    of = rule('family = "share-of-length", percent = 10.0', always='["first-off"]',
              first_off="{ percent = 60.0 }", spots_per_welder=1)  # fmt: skip
    found = strata(frame, of)
    assert numbers(found).to_dict() == {
        "first-off J1, welder W1": 1, "first-off J1, welder W2": 1, "welder W1": 0, "welder W2": 0,
    }  # fmt: skip


def test_more_first_off_work_is_taken_where_nothing_else_is_left():
    frame = cells(*[("J1", "W1", "", True)] * 6)
    found = strata(frame, rule(POINTS, always='["first-off"]'))
    assert numbers(found).to_dict() == {"first-off J1, welder W1": 3}


def test_without_a_least_the_first_class_is_one_stratum_and_leaves_one_to_the_rest():
    frame = cells(*[(f"J{n}", f"W{n}", "crossing") for n in range(6)], ("K", "W9", ""))
    found = strata(frame, rule(POINTS, first='["crossings"]'))
    assert numbers(found).to_dict() == {"crossings": 2, "welder W9": 1}
    np.testing.assert_allclose(found["pi"], [1 / 3] * 6 + [1.0])


def test_welders_who_would_get_none_share_a_stratum():
    # Two spots are not enough for one of each of six welders: chance reaches them all together.
    frame = cells(*[(f"J{n}", f"W{n}", "") for n in range(6)])
    found = strata(frame, rule('family = "check-points", points = 2'))
    assert numbers(found).to_dict() == {"others": 2}
    np.testing.assert_allclose(found["pi"], 1 / 3)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 9), st.integers(0, 5), st.sampled_from(["", "", "crossing", "end"]),
            st.booleans(),
        ),
        min_size=1, max_size=60,
    ),
    st.lists(st.sampled_from(["crossings", "ends", "first-off"]), unique=True, max_size=3),
    st.lists(st.sampled_from(["crossings", "ends", "first-off"]), unique=True, max_size=2),
    st.integers(0, 3),
    st.integers(1, 40),
)  # fmt: skip
def test_every_welder_is_shown_and_probabilities_add_up(rows, first, always, least, points):
    frame = cells(*[(f"J{j}", f"W{w}", kind, off) for j, w, kind, off in rows])
    of = rule(f'family = "check-points", points = {points}', first=str(first).replace("'", '"'),
              always=str(always).replace("'", '"'), spots_per_welder=least)  # fmt: skip
    found = strata(frame, of)
    if numbers(found).sum() > numbers(found).get("certain", 0):
        unreached = found["pi"] == 0
        # Only what must be shown may leave nothing to chance.
        assert not unreached.any() or not set(found.loc[unreached, "stratum"]) & {"others", "short"}
    total = found.groupby("stratum")["pi"].sum()
    np.testing.assert_allclose(total, numbers(found).reindex(total.index), atol=1e-9)
    assert found["pi"].between(0, 1).all()
    assert (found["why"] != "").all()
    sure, there = at_least(frame, found), frame["welder"].value_counts()
    assert all(sure[welder] >= min(least, there[welder]) for welder in sure)
    assert numbers(found).sum() >= min(points, len(frame))


@pytest.mark.parametrize("least", [[0, 3, 1], [5, 5, 5]])
def test_each_group_may_have_a_least_of_its_own(least):
    given_to = allocate(4, [500, 300, 200], [9, 2, 9], least)
    assert np.all(given_to >= np.minimum([9, 2, 9], least))


def joint_of(name, welder, *lengths, first_off=False):
    """One joint cut into cells of these lengths."""
    ends = np.cumsum(lengths).astype(float)
    return pd.DataFrame(
        {
            "joint": name, "welder": welder, "mandatory": "", "first_off": first_off, "risk": 1.0,
            "from_mm": ends - lengths, "to_mm": ends, "joint_mm": ends[-1],
            "stretch": "", "increment": 0, "crew": welder, "factor": 1.0,
        }
    )  # fmt: skip


def least_drawn(frame, found, worth):
    """What is drawn at least, if chance takes from each stratum the cells that bring least."""
    number = numbers(found)
    return sum(
        float(worth[group.index].sort_values().head(int(number[name])).sum())
        for name, group in frame.groupby(found["stratum"])
    )


def length_of(frame):
    return frame["to_mm"] - frame["from_mm"]


def test_short_gaps_are_no_spots_but_within_reach_of_chance():
    # A spot in every metre of 2.4 m: three, from the five full cells; one of the gaps beside.
    frame = joint_of("J1", "W1", 300, 100, 300, 100, 300, 100, 300, 100, 800)
    found = strata(frame, rule('family = "spot-per-increment", increment_m = 1.0'))
    assert numbers(found).to_dict() == {"welder W1": 3, "short": 1}


def test_joints_shorter_than_a_spot_add_up_to_the_length():
    # 10 % of twenty joints of 150 mm, 300 mm: one spot of full length, but two such joints.
    frame = pd.concat([joint_of(f"J{n}", "W1", 150) for n in range(20)], ignore_index=True)
    found = strata(frame, rule('family = "share-of-length", percent = 10.0'))
    assert numbers(found).to_dict() == {"welder W1, short": 2}


def test_first_off_work_is_long_enough_where_cells_are_short():
    # 900 mm of the first-off joint, of which two cells are full and three are not.
    frame = pd.concat(
        [
            joint_of("J1", "W1", 200, 300, 200, 300, 200, first_off=True),
            joint_of("J2", "W1", *[300] * 10),
        ],
        ignore_index=True,
    )
    of = rule('family = "share-of-length", percent = 1.0', always='["first-off"]',
              first_off="{ least_mm = 900.0 }")  # fmt: skip
    found = strata(frame, of)
    first = (frame["joint"] == "J1").to_numpy()
    assert least_drawn(frame[first], found[first], length_of(frame)) >= 900


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 3), st.booleans(),
            st.lists(st.sampled_from([40, 150, 299, 300, 450, 590]), min_size=1, max_size=8),
        ),
        min_size=1, max_size=10,
    ),
    st.sampled_from([1, 5, 20, 50, 99]),
    st.integers(0, 2),
    st.sampled_from(['["first-off"]', "[]"]),
)  # fmt: skip
def test_a_share_of_length_is_reached_whatever_chance_takes(joints, percent, least, always):
    frame = pd.concat(
        [joint_of(f"J{n}", f"W{w}", *cut, first_off=off) for n, (w, off, cut) in enumerate(joints)],
        ignore_index=True,
    )
    of = rule(f'family = "share-of-length", percent = {float(percent)}', always=always,
              first_off="{ least_mm = 700.0 }", spots_per_welder=least)  # fmt: skip
    found = strata(frame, of)
    length = length_of(frame)
    assert least_drawn(frame, found, length) >= percent / 100 * length.sum() - 1e-3
    if always != "[]":
        for _, mine in frame[frame["first_off"]].groupby("joint"):
            got = least_drawn(mine, found.loc[mine.index], length)
            assert got >= min(700.0, length[mine.index].sum()) - 1e-3
