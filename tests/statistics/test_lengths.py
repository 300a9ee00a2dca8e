import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.statistics import intersect_length, union_intervals, union_length

INTERVALS = st.lists(
    st.tuples(st.sampled_from("abc"), st.integers(0, 60), st.integers(0, 60)), max_size=30
)


def columns(rows):
    return [list(column) for column in zip(*rows, strict=True)] if rows else [[], [], []]


def covered(rows):
    """Millimetres covered, counted one by one: slow and plainly right."""
    return {(group, mm) for group, low, high in rows for mm in range(low, high)}


@given(INTERVALS)
def test_a_union_covers_each_millimetre_once(rows):
    lengths = union_length(*columns(rows))
    by_group = pd.Series([group for group, _ in covered(rows)], dtype="str").value_counts()
    assert lengths.to_dict() == by_group.to_dict()


@given(INTERVALS, st.randoms())
def test_order_does_not_matter(rows, random):
    shuffled = rows.copy()
    random.shuffle(shuffled)
    assert union_length(*columns(rows)).to_dict() == union_length(*columns(shuffled)).to_dict()


@given(INTERVALS)
def test_a_union_is_its_own_union_and_does_not_touch(rows):
    once = union_intervals(*columns(rows))
    twice = union_intervals(once["group"], once["start"], once["end"])
    pd.testing.assert_frame_equal(once, twice)
    same = once["group"].to_numpy()[1:] == once["group"].to_numpy()[:-1]
    assert np.all(once["start"].to_numpy()[1:][same] > once["end"].to_numpy()[:-1][same])


def test_a_union_goes_on_from_one_block_of_intervals_to_the_next():
    # Groups far longer than a block, and one interval that reaches over several: each millimetre
    # counted by numpy's running sum of what opens and closes there.
    rng = np.random.default_rng(4)
    group, start = rng.integers(0, 3, 200_000), rng.integers(0, 5_000_000, 200_000)
    end = start + rng.integers(1, 40, 200_000)
    start[0], end[0] = 1_000_000, 3_000_000
    found = union_length(group, start, end)
    for number, length in found.items():
        mine = group == number
        size = 6_000_000
        opened = np.bincount(start[mine], minlength=size) - np.bincount(end[mine], minlength=size)
        assert length == np.count_nonzero(np.cumsum(opened))
    assert (
        found.to_dict()
        == union_intervals(group, start, end)
        .assign(length=lambda union: union["end"] - union["start"])
        .groupby("group")["length"]
        .sum()
        .to_dict()
    )


@given(INTERVALS, INTERVALS)
def test_an_intersection_is_what_both_cover(rows, others):
    shared = intersect_length(*columns(rows), *columns(others))
    both = covered(rows) & covered(others)
    by_group = {g: float(sum(1 for group, _ in both if group == g)) for g in shared.index}
    assert shared.to_dict() == by_group


def test_fractions_of_a_millimetre_far_along_stay_exact():
    group = np.repeat(np.arange(50_000), 2)
    start = np.tile([0.1, 0.3], 50_000)
    end = np.tile([0.2, 0.4], 50_000)
    assert np.allclose(union_length(group, start, end), 0.2, rtol=1e-12)


@given(
    st.lists(
        st.tuples(
            st.sampled_from("ab"),
            st.floats(-5e6, 5e6, allow_subnormal=False),
            st.floats(-5e6, 5e6, allow_subnormal=False),
        ),
        max_size=20,
    )
)
def test_a_union_never_exceeds_the_span_nor_the_sum(rows):
    group, start, end = columns(rows)
    kept = [(g, low, high) for g, low, high in rows if high > low]
    lengths = union_length(group, start, end)
    assert set(lengths.index) == {g for g, _, _ in kept}
    for name, length in lengths.items():
        mine = [(low, high) for g, low, high in kept if g == name]
        span = max(high for _, high in mine) - min(low for low, _ in mine)
        longest, total = max(b - a for a, b in mine), sum(b - a for a, b in mine)
        assert longest <= length * (1 + 1e-12)
        assert length <= min(span, total) * (1 + 1e-12)


def test_places_that_do_not_fit_into_one_number_are_sorted_all_the_same():
    # Two million groups of places millions of millimetres along do not fit into 63 bits together.
    group = np.arange(2_000_000)[::-1]
    start = np.where(group % 2, 4e6, 0.0)
    lengths = union_length(group, start, start + 3.0)
    assert len(lengths) == 2_000_000
    assert lengths.eq(3.0).all()
    assert lengths.index[-1] == 1_999_999


@given(INTERVALS)
def test_labels_that_are_numbers_do_as_others_do(rows):
    names = {2: "a", 0: "b", 9: "c"}
    group, start, end = columns(rows)
    numbers = [next(n for n, name in names.items() if name == label) for label in group]
    lengths = union_length(numbers, start, end)
    assert lengths.rename(names).to_dict() == union_length(group, start, end).to_dict()
    intervals = union_intervals(numbers, start, end)
    named = intervals.assign(group=intervals["group"].map(names).astype("str"))
    pd.testing.assert_frame_equal(named, union_intervals(group, start, end), check_dtype=bool(rows))
