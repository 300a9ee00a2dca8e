import numpy as np
import pandas as pd
import pytest

from ndtstats.planning.draw import draw_systematic, inclusion_probabilities
from ndtstats.rates.charge import Charges
from ndtstats.rates.measures import Settings, described, unbiased, whole_joints

USUAL = Settings(0.95, "clopper-pearson", "two")


def examined(seen, **more):
    """Charges of spots of 300 mm with no more known of them than whether they were rejected."""
    blank = {"shared": False, "whole": False, "group": 0, "times": 1, "joints": 1}
    seen = pd.DataFrame(blank | seen | more)
    seen = seen.assign(drawn_in=more.get("drawn_in", seen["group"]))
    pieces = pd.DataFrame({"of": seen.index, "low": 0.0, "high": 300.0})
    bad = np.flatnonzero(seen["rejected"])
    found = pd.DataFrame(
        {"of": bad, "indication": range(len(bad)), "low": 0.0, "high": 30.0, "loose_mm": 0.0,
         "counts": True}
    )  # fmt: skip
    return Charges(seen, pieces, found)


@pytest.fixture(scope="module")
def draws():
    """Yards of known rates, each drawn from once: risky cells are bad and drawn more often."""
    rng = np.random.default_rng(20260304)
    cells, times, number = 400, 1500, 60
    joint = np.repeat(np.arange(100), 4)
    risk = np.repeat(rng.choice([1.0, 2.0, 6.0], 100), 4)
    bad = rng.random((times, cells)) < 0.04 * risk
    one_stratum = np.zeros(cells, dtype=int)
    pi = inclusion_probabilities(risk, one_stratum, [number])
    drawn = np.array([np.flatnonzero(draw_systematic(pi, one_stratum, rng)) for _ in range(times)])
    chosen, yard = drawn.ravel(), np.repeat(np.arange(times), number)
    charges = examined(
        {"rejected": bad[yard, chosen], "unit": joint[chosen], "weight": 1 / pi[chosen],
         "group": yard}
    )  # fmt: skip
    return charges, bad.mean(axis=1), 0.04 * risk.mean()


def test_the_weighted_rate_meets_the_truth_and_the_plain_one_does_not(draws):
    charges, of_yard, _ = draws
    off = unbiased(charges, "spots", USUAL)["rate"] - of_yard
    plain = described(charges, "spots", USUAL)["rate"]
    # Three standard errors of the mean of all yards, and 0.2 % for the bias of a ratio.
    assert abs(off.mean()) < 3 * off.sem() + 0.002
    assert plain.mean() > 1.4 * of_yard.mean()


@pytest.mark.parametrize("measure", ["spots", "length", "per-metre"])
def test_unbiased_bounds_cover_the_rate_of_the_welding_as_often_as_they_say(draws, measure):
    charges, _, rate = draws
    # 30 of 300 mm of each bad cell are rejectable; one indication in 0.3 m.
    true = {"spots": rate, "length": rate / 10, "per-metre": rate / 0.3}[measure]
    table = unbiased(charges, measure, USUAL)
    held = (table["lower"] <= true) & (true <= table["upper"])
    assert held.mean() >= 0.95


def test_described_lengths_rest_on_spots_not_on_millimetres():
    charges = examined({"rejected": [True] * 3 + [False] * 27, "unit": range(30)})
    row = described(charges, "length", USUAL).iloc[0]
    assert (row["rejected"], row["examined"]) == (90.0, 9000.0)
    assert row["rate"] == pytest.approx(0.01)
    assert row["effective"] == pytest.approx(30)


def test_no_more_is_rejected_than_was_examined():
    charges = examined({"rejected": [True], "unit": [0]})
    charges = charges._replace(found=charges.found.assign(high=900.0, loose_mm=500.0))
    assert described(charges, "length", USUAL).iloc[0]["rate"] == 1.0


@pytest.mark.parametrize(
    ("rows", "whole"),
    [
        ([(0, 900, "S1", 4.0)], [True]),
        ([(0, 899.5, "S1", 4.0)], [True]),  # as a tape measures
        ([(0, 600, "S1", 4.0)], [False]),
        ([(0, 450, "S1", 4.0), (450, 900, "S1", 4.0)], [True, True]),
        ([(0, 450, "S1", 1.0), (450, 900, "S2", 1.0)], [True, True]),
        ([(0, 450, "S1", 4.0), (450, 900, "S2", 4.0)], [False, False]),
    ],
)
def test_which_joints_are_seen_whole(rows, whole):
    frame = pd.DataFrame(rows, columns=["from_mm", "to_mm", "spot", "weight"])
    assert whole_joints(frame.assign(unit=0, joint_mm=900.0)).tolist() == whole


def test_joints_weigh_what_their_spot_weighs():
    charges = examined(
        {"rejected": [True, False, False], "unit": [0, 1, 2], "weight": [10.0, 2.0, 2.0]},
        whole=True,
    )
    row = unbiased(charges, "joints", USUAL).iloc[0]
    assert (row["rejected"], row["examined"]) == (1, 3)
    assert row["rate"] == pytest.approx(10 / 14)


def test_a_group_with_one_joint_seen_in_part_has_no_rate_of_joints():
    charges = examined(
        {"rejected": [True, False, False, False], "unit": [0, 1, 2, 3], "weight": 2.0,
         "group": [0, 0, 1, 1], "whole": [True, True, True, False]}
    )  # fmt: skip
    assert unbiased(charges, "joints", USUAL).index.tolist() == [0]


def test_a_stratum_is_held_against_its_own_mean_and_a_joint_stays_together():
    # Two strata, all bad and none bad: nothing within them differs, so no variance is left.
    seen = {"rejected": [True] * 6 + [False] * 6, "weight": 3.0, "unit": range(12)}
    without, within = (
        unbiased(examined(seen, drawn_in=drawn_in), "spots", USUAL).iloc[0]
        for drawn_in in (0, np.repeat([0, 1], 6))
    )
    assert within["rate"] == without["rate"] == 0.5
    # Then the number of equal spots is all that bounds it: twelve.
    assert within["effective"] == pytest.approx(12)
    # Spots of a joint that agree across two strata are no two spots.
    agree = {"rejected": [True, False] * 6, "weight": 3.0, "unit": np.tile(np.arange(6), 2)}
    agree["rejected"] = np.tile([True, True, False, False, False, False], 2)
    joined = unbiased(examined(agree, drawn_in=np.repeat([0, 1], 6)), "spots", USUAL).iloc[0]
    assert joined["effective"] < 7
