import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from ndtstats.errors import UseError
from ndtstats.visual.lengths_of_beads import beads_of, beads_sentence


@pytest.fixture
def measure(register, now):
    """Load one joint of 6 m with beads of 50 mm at a pitch of 150 mm, and beads as measured."""

    def call(lengths, *, start=0.0, joint=None, side="first"):
        frame = pd.DataFrame({"length_mm": np.asarray(lengths, float)})
        frame["from_mm"] = start + 150.0 * np.arange(len(frame))
        more = {"bead_length_mm": 50.0, "bead_pitch_mm": 150.0} if joint is None else joint
        with register.batch(kind="load", subject="all", now=now) as batch:
            batch.merge("joints", pd.DataFrame([{
                "job": "H1", "joint": "F-1", "zone": "Z", "category": "A", "joint_type": "tee",
                "length_mm": 6000.0, **more,
            }]))  # fmt: skip
            batch.merge("beads", frame.assign(job="H1", joint="F-1", side=side))

    return call


def test_share_below_has_exact_bounds(register, measure):
    # A bead as long as specified is long enough.
    measure([50.0] * 17 + [49.0, 48.0, 40.0])
    row = beads_of(register, job="H1").table.iloc[0]
    known = binomtest(3, 20).proportion_ci(0.95, method="exact")
    assert (row["below"], row["measured"], row["joints"]) == (3, 20, 1)
    assert (row["lower"], row["upper"]) == pytest.approx((known.low, known.high), rel=1e-9)
    assert row["shortest_mm"] == 40.0


@pytest.mark.parametrize(("number", "limit"), [(19, np.nan), (29, 51.0)])
def test_a_limit_whatever_the_distribution_needs_enough_beads(register, measure, number, limit):
    # The shortest of 29 is a limit for 90 % with 95 % confidence, that of fewer is not (success-run
    # rule; Wilks 1941).
    measure(range(51, 51 + number))
    result = beads_of(register, job="H1", share=0.9)
    assert result.table["limit_mm"].tolist() == pytest.approx([limit], nan_ok=True)
    assert ("Too few" in beads_sentence(result)) == np.isnan(limit)


def test_a_normal_limit_has_the_published_factor(register, measure):
    # NIST/SEMATECH e-Handbook 7.2.6.3: 43 measured, 90 %, 99 % sure: k = 1.8740 (exact factor).
    lengths = np.random.default_rng(3).normal(55, 3, 43)
    measure(lengths)
    row = beads_of(register, job="H1", share=0.9, confidence=0.99).table.iloc[0]
    factor = (lengths.mean() - row["normal_limit_mm"]) / lengths.std(ddof=1)
    assert round(factor, 4) == 1.874


def test_end_beads_have_a_length_of_their_own(register, measure):
    joint = {"bead_length_mm": 50.0, "bead_pitch_mm": 150.0, "bead_end_mm": 100.0}
    # The last one leaves less than a bead free at the end of the joint.
    measure([100.0, *[55.0] * 38, 105.0], joint=joint)
    table = beads_of(register, job="H1").table.set_index("specified_mm")
    assert table["measured"].to_dict() == {100.0: 2, 50.0: 38}
    assert table["below"].to_dict() == {100.0: 0, 50.0: 0}
    measure([90.0, *[55.0] * 38, 105.0], joint=joint)
    table = beads_of(register, job="H1").table.set_index("specified_mm")
    assert table["below"].to_dict() == {100.0: 1, 50.0: 0}


def test_a_missing_end_bead_makes_no_other_one_short(register, measure):
    joint = {"bead_length_mm": 50.0, "bead_pitch_mm": 150.0, "bead_end_mm": 100.0}
    measure([55.0] * 10, start=150.0, joint=joint)
    result = beads_of(register, job="H1")
    assert result.table["specified_mm"].tolist() == [50.0]
    assert result.total["below"] == 0


def test_the_sentence_says_how_far_short_all_but_a_few_fall(register, measure):
    measure([40.0] + [52.0] * 28)
    told = beads_sentence(beads_of(register, job="H1", share=0.9))
    assert told.startswith("1 of 29 beads measured on 1 joint are shorter than specified, 3.4 %")
    assert told.endswith("With 95 % confidence, 90 % of such beads are no more than 10 mm short.")


def test_beads_of_a_joint_without_a_length_are_left_out_and_told(register, measure, now):
    measure([50.0] * 5)
    with register.batch(kind="load", subject="all", now=now) as batch:
        other = pd.DataFrame({"job": ["H1"], "joint": ["F-2"], "length_mm": [900.0]})
        batch.merge("joints", other.assign(zone="Z", category="A"))
        batch.merge("beads", other.assign(side="first", from_mm=0.0, length_mm=20.0))
    result = beads_of(register, job="H1")
    assert result.total["measured"] == 5
    assert "1 bead is left out because the joint has no bead_length_mm." in result.remarks


def test_stubs_are_remarked(register, measure):
    # Shorter than 8 t carries no load: EN 1999 (seen). 8 x 6.5 mm is 52 mm.
    measure([50.0] * 3 + [52.0] * 17,
            joint={"bead_length_mm": 50.0, "thickness_mm": 6.5})  # fmt: skip
    told = [remark for remark in beads_of(register, job="H1").remarks if "EN 1999" in remark]
    assert len(told) == 1
    assert told[0].startswith("3 beads are shorter than 8 times the thickness")


def test_nothing_measured_is_told(register, measure):
    with pytest.raises(UseError, match="no measured bead"):
        beads_of(register, job="H1")
    measure([50.0] * 5)
    with pytest.raises(UseError, match="between 0 and 1"):
        beads_of(register, job="H1", share=95)
