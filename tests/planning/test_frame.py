import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.planning import cut_frame
from ndtstats.planning.frame import frame_sha256

JOINTS = st.lists(
    st.tuples(
        st.integers(1, 9000),  # length
        st.booleans(),  # whole
        st.lists(st.integers(0, 9000), max_size=5),  # crossings
    ),
    min_size=1,
    max_size=12,
)


def frame_of(rows):
    return pd.DataFrame(
        {
            "joint": [f"J{number}" for number in range(len(rows))],
            "length_mm": [float(length) for length, _, _ in rows],
            "whole": [whole for _, whole, _ in rows],
            "crossings_mm": [
                ";".join(str(min(at, length)) for at in points) if points else None
                for length, _, points in rows
            ],
        }
    )


BOTH = ("datum", "far")


@given(JOINTS, st.sampled_from([150.0, 300.0, 500.0]), st.sampled_from([(), ("far",), BOTH]))
def test_cells_cover_each_joint_exactly(rows, spot, ends):
    joints = frame_of(rows)
    cells = cut_frame(joints, spot_length_mm=spot, ends=ends)
    length = joints.set_index("joint")["length_mm"]
    by_joint = cells.groupby("joint", sort=False)
    assert by_joint["from_mm"].min().eq(0).all()
    assert by_joint["to_mm"].max().to_dict() == length.to_dict()
    assert (cells["to_mm"] > cells["from_mm"]).all()
    same = cells["joint"].to_numpy()[1:] == cells["joint"].to_numpy()[:-1]
    assert np.array_equal(
        cells["from_mm"].to_numpy()[1:][same], cells["to_mm"].to_numpy()[:-1][same]
    )


@given(JOINTS)
def test_joints_examined_whole_are_one_cell(rows):
    joints = frame_of(rows).assign(whole=True)
    assert len(cut_frame(joints, spot_length_mm=300, ends=BOTH)) == len(joints)


@given(JOINTS)
def test_every_crossing_lies_in_a_cell_of_its_own_kind(rows):
    joints = frame_of([(length, False, points) for length, _, points in rows])
    cells = cut_frame(joints, spot_length_mm=300)
    marked = cells[cells["mandatory"] == "crossing"]
    for number, (length, _, points) in enumerate(rows):
        mine = marked[marked["joint"] == f"J{number}"]
        for at in (min(point, length) for point in points):
            assert ((mine["from_mm"] <= at) & (at <= mine["to_mm"])).any()


def test_a_crossing_is_centred_and_clipped():
    joints = frame_of([(1000, False, [100, 600])])
    cells = cut_frame(joints, spot_length_mm=300)
    crossings = cells[cells["mandatory"] == "crossing"]
    assert crossings[["from_mm", "to_mm"]].to_numpy().tolist() == [[0, 250], [450, 750]]


def test_the_rest_is_cut_evenly_and_not_shorter_than_a_spot():
    cells = cut_frame(frame_of([(1000, False, [])]), spot_length_mm=300)
    assert (cells["to_mm"] - cells["from_mm"]).tolist() == [333, 334, 333]


def test_both_ends_can_be_cells_of_their_own():
    cells = cut_frame(frame_of([(2000, False, [])]), spot_length_mm=300, ends=BOTH)
    assert cells["mandatory"].tolist() == ["end", "", "", "", "", "end"]


@pytest.mark.parametrize("whole", [None, False])
def test_a_blank_flag_is_not_whole(whole):
    joints = frame_of([(900, False, [])]).assign(whole=pd.array([whole], dtype="boolean"))
    assert len(cut_frame(joints, spot_length_mm=300)) == 3


def test_one_end_can_be_a_cell_of_its_own():
    cells = cut_frame(frame_of([(2000, False, [])]), spot_length_mm=300, ends=("datum",))
    assert cells["mandatory"].tolist() == ["end", "", "", "", "", ""]


def test_each_joint_may_have_a_spot_length_of_its_own():
    rows = [(900, False, [450]), (900, False, [450])]
    cells = cut_frame(frame_of(rows), spot_length_mm=[300.0, 150.0])
    marked = cells[cells["mandatory"] == "crossing"]
    assert (marked["to_mm"] - marked["from_mm"]).tolist() == [300, 150]
    assert cells["joint"].value_counts().to_dict() == {"J0": 3, "J1": 5}


def test_a_whole_joint_with_crossings_is_of_their_kind():
    joints = frame_of([(900, True, [450]), (900, True, [])])
    assert cut_frame(joints, spot_length_mm=300)["mandatory"].tolist() == ["crossing", ""]


@given(
    st.lists(st.integers(0, 9000), min_size=1, max_size=40),
    st.sampled_from([150.0, 300.0]),
)
def test_close_crossings_are_parted_and_each_part_shows_one(points, spot):
    cells = cut_frame(frame_of([(9000, False, points)]), spot_length_mm=spot)
    marked = cells[cells["mandatory"] == "crossing"]
    size = marked["to_mm"] - marked["from_mm"]
    # A part is less than two spots, or than two of what shows a crossing with both its sides.
    assert (size <= max(2 * spot, 2 * max(1.5 * spot, spot + 100)) + 1).all()
    at = np.array(points, dtype=float)
    for low, high in marked[["from_mm", "to_mm"]].itertuples(index=False):
        left, right = np.maximum(at - 50, 0), np.minimum(at + 50, 9000)
        assert ((left >= low - 1) & (right <= high + 1)).any()


def test_a_chain_of_crossings_up_to_two_spots_long_is_one_cell():
    cells = cut_frame(frame_of([(2000, False, [600, 800, 900])]), spot_length_mm=300)
    marked = cells[cells["mandatory"] == "crossing"]
    assert marked[["from_mm", "to_mm"]].to_numpy().tolist() == [[450, 1050]]
    longer = cut_frame(frame_of([(2000, False, [600, 800, 950])]), spot_length_mm=300)
    marked = longer[longer["mandatory"] == "crossing"]
    assert marked[["from_mm", "to_mm"]].to_numpy().tolist() == [[450, 775], [775, 1100]]


def test_a_digest_tells_frames_apart():
    cells = pd.DataFrame({"joint": ["B-1", "B-2"], "from_mm": [0.0, 0.1 + 0.2], "why": ["", None]})
    cells = cells.astype({"joint": "str", "why": "str"})
    columns = list(cells.columns)
    digest = frame_sha256(cells, columns)
    assert digest == frame_sha256(cells.assign(from_mm=[0.0, 0.3]), columns)
    others = [
        cells.assign(from_mm=[0.0, 0.301]),
        cells.assign(joint=["B-1B", "-2"]),
        cells.assign(why=["", ""]),
        cells.iloc[::-1],
        cells.iloc[:1],
    ]
    digests = {frame_sha256(other, columns) for other in others}
    assert len(digests) == len(others)
    assert digest not in digests
