"""T11: arithmetic of intermittent fillets, worked by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.rules.intermittent import beads_specified, throat_mm


@pytest.mark.parametrize(
    ("pitch_mm", "beads", "welded_mm", "share"), [(225, 11, 825, 0.344), (150, 16, 1200, 0.5)]
)
def test_beads_on_one_side_of_a_member_of_2400_mm(pitch_mm, beads, welded_mm, share):
    # n = floor((member - bead) / pitch) + 1: common practice, no source.
    weld = beads_specified(2400, 75, pitch_mm)
    assert weld.beads == beads
    assert weld.length_mm == welded_mm
    assert weld.share == pytest.approx(share, abs=5e-4)


def test_the_throat_of_an_intermittent_fillet_has_a_least_value():
    # Weld table of a hull rule (seen): t 6, factor 0.15, pitch 225, bead 75 give 2.7; least 3.0.
    assert throat_mm(6, 0.15, 225, 75, least_mm=0.0) == pytest.approx(2.7)
    assert throat_mm(6, 0.15, 225, 75) == 3.0


def test_a_member_shorter_than_a_bead_has_none():
    assert beads_specified([50, 75], 75, 225).beads.tolist() == [0, 1]


@given(st.integers(1, 50_000), st.integers(20, 200), st.integers(0, 400))
def test_the_beads_fit_and_one_more_would_not(member_mm, bead_mm, gap_mm):
    pitch_mm = bead_mm + gap_mm
    beads = float(beads_specified(member_mm, bead_mm, pitch_mm).beads)
    if beads:
        assert (beads - 1) * pitch_mm + bead_mm <= member_mm
    assert beads * pitch_mm + bead_mm > member_mm
