"""Beads laid by the specification have no fault, and each fault put into them is found once."""

from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest

from ndtstats.visual import bead_sides, check_beads
from ndtstats.visual.faults import GAP_MM, KINDS


class Spec(NamedTuple):
    """What a drawing says of one joint."""

    joint: float
    bead: float
    gap: float
    pattern: str | None = None
    end: float | None = None
    wrapped: bool | None = None

    @property
    def pitch(self):
        return self.bead + self.gap

    @property
    def both(self):
        return self.pattern in {"chain", "staggered"}


def drawn(spec):
    return pd.DataFrame(
        {
            "joint": ["F-1"], "length_mm": [spec.joint], "bead_length_mm": [spec.bead],
            "bead_pitch_mm": [spec.pitch], "bead_pattern": [spec.pattern],
            "bead_end_mm": [spec.end], "ends_wrapped": [spec.wrapped],
        }
    )  # fmt: skip


def laid(spec):
    """Beads as a careful welder lays them, by plain loops that share nothing with the check."""
    sides = {"first": along(spec, later=False)}
    if spec.both:
        sides["second"] = along(spec, later=spec.pattern == "staggered")
    rows = [
        {"joint": "F-1", "side": side, "from_mm": start, "length_mm": length, "wrapped": None}
        for side, beads in sides.items()
        for start, length in beads
    ]
    frame = pd.DataFrame(rows)
    if spec.wrapped:
        ends = (frame["from_mm"] == 0) | (frame["from_mm"] + frame["length_mm"] == spec.joint)
        frame["wrapped"] = ends.where(ends, None)
    return frame


def along(spec, *, later):
    if spec.end is None and not spec.wrapped:
        beads, start = [], spec.pitch / 2 if later else 0.0
        while start + spec.bead <= spec.joint:
            beads.append((start, spec.bead))
            start += spec.pitch
        return beads
    # Both ends are welded, and the others lie evenly between, with no gap longer than asked.
    end = spec.end or spec.bead
    between, number = spec.joint - 2 * end, 0
    while (between - number * spec.bead) / (number + 1) > spec.gap:
        number += 1
    gap = (between - number * spec.bead) / (number + 1)
    inner = [end + gap + n * (spec.bead + gap) for n in range(number)]
    if later:
        # In the middle of each gap of the other side.
        ahead = [end, *(start + spec.bead for start in inner)]
        inner = [start + (gap - spec.bead) / 2 for start in ahead]
    return [(0.0, end), *((start, spec.bead) for start in inner), (spec.joint - end, end)]


def specs(number=120, patterns=(None, "chain", "staggered"), ends=(0, 1, 2, 3), seed=7):
    """Random specifications with room for some beads; whole millimetres, as drawings have them."""
    random = np.random.default_rng(seed)
    made = []
    while len(made) < number:
        bead, gap = int(random.integers(40, 151)), int(random.integers(60, 301))
        kind, pattern = random.choice(ends), random.choice(np.array(patterns, dtype=object))
        end = float(random.integers(bead, 2 * bead)) if kind in {1, 3} else None
        least = 6 * (bead + gap) + 2 * int(end or 0)
        spec = Spec(
            float(random.integers(least, least + 3000)), float(bead), float(gap), pattern, end,
            True if kind in {2, 3} else None,
        )  # fmt: skip
        starts = [start for start, _ in along(spec, later=False)]
        # Else the beads of one side of staggered ones meet between those of the other.
        if pattern != "staggered" or kind == 0 or starts[2] - starts[1] > 2 * spec.bead:
            made.append(spec)
    return made


class Case(NamedTuple):
    """Beads of one joint, and what is to be found of them."""

    spec: Spec
    beads: pd.DataFrame
    known: list[tuple[str, str]]


def check(cases):
    """Check all cases at once, each a joint of its own."""
    assert len(cases) > 20
    names = [f"F-{number}" for number in range(len(cases))]
    joints = [drawn(case.spec).assign(joint=name) for case, name in zip(cases, names, strict=True)]
    beads = [case.beads.assign(joint=name) for case, name in zip(cases, names, strict=True)]
    table = check_beads(pd.concat(joints, ignore_index=True), pd.concat(beads, ignore_index=True))
    assert set(table["kind"]) <= set(KINDS)
    for case, name in zip(cases, names, strict=True):
        mine = table[table["joint"] == name]
        assert list(zip(mine["side"], mine["kind"], strict=True)) == case.known, case
    return [table[table["joint"] == name] for name in names]


def found(spec, beads):
    table = check_beads(drawn(spec), beads)
    return list(zip(table["side"], table["kind"], strict=True))


def spoiled(spoil, seed=11, **of):
    """Cases in each of which ``spoil`` put one fault; None where it could not."""
    random = np.random.default_rng(seed)
    cases = [spoil(spec, laid(spec), random) for spec in specs(**of)]
    return [case for case in cases if case is not None]


def test_beads_laid_by_the_specification_have_no_fault():
    check([Case(spec, laid(spec), []) for spec in specs()])


def test_no_fewer_than_the_formula_asks_and_all_that_is_specified():
    for spec in specs(10):
        table = bead_sides(drawn(spec), laid(spec))
        number = laid(spec).groupby("side").size()
        assert table.set_index("side")["measured"].to_dict() == number.to_dict()
        assert (table["measured"] >= table["expected"]).all()
        assert (table["share"] >= 1 - 1e-12).all()


def test_a_short_bead_is_found_once():
    def cut(spec, beads, random):
        label, much = random.choice(beads.index), random.integers(1, int(spec.bead / 2))
        at_end = beads.loc[label, "from_mm"] + beads.loc[label, "length_mm"] == spec.joint
        beads.loc[label, "length_mm"] -= much
        # The last one is cut at its inner side, so that the end of the joint stays welded.
        beads.loc[label, "from_mm"] += much if at_end else 0
        return Case(spec, beads, [(beads.loc[label, "side"], "short")])

    check(spoiled(cut))


def test_a_missing_bead_is_found_once_and_where_it_was():
    removed = []

    def drop(spec, beads, random):
        label = random.choice(beads.index)
        side = beads.loc[label, "side"]
        gaps = beads["from_mm"].diff() - beads["length_mm"].shift()
        ends = beads.index[beads["side"] == side][[0, -1]]
        left, right = gaps.get(label), gaps.get(label + 1)
        # Where beads lie closer than they may, what is left by one is a long gap, or none.
        wide = left + beads.loc[label, "length_mm"] + right if label not in ends else np.inf
        if wide - spec.gap + GAP_MM < spec.pitch:
            return None
        removed.append(beads.loc[label])
        return Case(spec, beads.drop(label), [(side, "missing")])

    for told, gone in zip(check(spoiled(drop, number=200)), removed, strict=True):
        assert told["from_mm"].iloc[0] <= gone["from_mm"] + 1e-6
        assert told["to_mm"].iloc[0] >= gone["from_mm"] + gone["length_mm"] - 1e-6
        assert told["beads"].iloc[0] == 1


def test_a_long_gap_is_found_once():
    def move(spec, beads, random):
        label = random.choice(beads.index[beads["side"] == "first"][2:-2])
        gap = beads.loc[label, "from_mm"] - beads.loc[label - 1, ["from_mm", "length_mm"]].sum()
        # Far enough to be told, not so far that the bead has another one opposite.
        shift = spec.gap - gap + GAP_MM + 1
        if shift >= spec.pitch / 5:
            return None
        beads.loc[label, "from_mm"] += shift
        return Case(spec, beads, [("first", "gap")])

    check(spoiled(move))


def test_an_open_end_is_found_once():
    def open_(spec, beads, random):
        side = random.choice(beads["side"].unique())
        label = beads.index[beads["side"] == side][0]
        if spec.wrapped and random.random() < 0.5:
            beads.loc[label, "wrapped"] = None if random.random() < 0.5 else False
        else:
            beads.loc[label, "from_mm"] += 8.0
        return Case(spec, beads, [(side, "open end")])

    check(spoiled(open_, ends=(1, 2, 3)))


def test_a_side_that_was_not_measured_is_found_once():
    def forget(spec, beads, random):
        return Case(spec, beads[beads["side"] == "first"], [("second", "unmatched")])

    check(spoiled(forget, patterns=("chain", "staggered"), number=40))


def test_beads_out_of_step_are_found_bead_by_bead():
    for spec in specs(5, patterns=("chain",), ends=(0,)):
        beads = laid(spec)
        second = beads["side"] == "second"
        shifted = beads.assign(from_mm=beads["from_mm"] + second * spec.pitch / 2)
        shifted = shifted[shifted["from_mm"] + shifted["length_mm"] <= spec.joint]
        told = found(spec, shifted)
        assert told.count(("second", "unmatched")) == (shifted["side"] == "second").sum()
        assert ("first", "unmatched") not in told
        # And the other way about: staggered ones that lie opposite.
        opposite = found(spec._replace(pattern="staggered"), beads)
        assert opposite.count(("second", "unmatched")) == second.sum()


def test_t11_a_member_of_2400_mm():
    # l = 75, p = 225: 11 beads a side, 825 mm, 34.4 %; p = 150: 16, 1200 mm, 50 %. The formula
    # n = floor((L - l) / p) + 1 is common practice, no source.
    for gap, number, weld, share in ((150, 11, 825, 0.344), (75, 16, 1200, 0.5)):
        spec = Spec(2400.0, 75.0, gap)
        table = bead_sides(drawn(spec), laid(spec)).iloc[0]
        assert (table["expected"], table["measured"]) == (number, number)
        assert (table["specified_mm"], table["effective_mm"]) == (weld, weld)
        assert table["share_of_joint"] == pytest.approx(share, abs=5e-4)


def test_a_short_bead_is_no_effective_weld_and_an_overlap_counts_once():
    spec = Spec(2400.0, 75.0, 150.0)
    beads = laid(spec)
    beads.loc[3, "length_mm"] = 74.0
    assert bead_sides(drawn(spec), beads)["effective_mm"].tolist() == [750.0]
    beads.loc[5, "length_mm"] = 300.0
    # 300 mm from 1125 on reach 75 mm past the start of the next bead, at 1350: 10 beads are good.
    assert bead_sides(drawn(spec), beads)["effective_mm"].tolist() == [750.0 + 225.0 - 75.0]
    kinds = found(spec, beads)
    assert kinds == [("first", "short"), ("first", "overlap")]


def test_a_continuous_weld_has_no_gap_at_all():
    spec = Spec(1000.0, 75.0, 150.0, "continuous")
    beads = pd.DataFrame({"joint": "F-1", "side": "first", "from_mm": [0.0, 405.0],
                          "length_mm": [400.0, 595.0], "wrapped": None})  # fmt: skip
    assert found(spec, beads) == []
    assert found(spec, beads.assign(from_mm=[0.0, 430.0], length_mm=[400.0, 570.0])) == [
        ("first", "gap")
    ]
    assert found(spec, beads.assign(length_mm=[405.0, 580.0])) == [("first", "open end")]
    assert bead_sides(drawn(spec), beads)["share"].tolist() == [0.995]


def test_a_continuous_weld_need_not_be_measured():
    spec = Spec(1000.0, 75.0, 150.0, "continuous")
    assert bead_sides(drawn(spec), laid(spec).head(0)).empty


def test_several_missing_in_a_row_are_one_fault_with_their_number():
    spec = Spec(2400.0, 75.0, 150.0)
    table = check_beads(drawn(spec), laid(spec).drop([4, 5, 6]))
    assert table[["kind", "beads", "from_mm", "to_mm"]].to_numpy().tolist() == [
        ["missing", 3.0, 3 * 225.0 + 75.0, 7 * 225.0]
    ]
    assert table["words"].tolist() == ["3 beads missing"]


def test_joints_without_beads_or_without_measurements_have_no_fault():
    spec = Spec(2400.0, 75.0, 150.0)
    none = laid(spec).head(0)
    assert check_beads(drawn(spec), none).empty
    assert bead_sides(drawn(spec), none)[["expected", "measured"]].to_numpy().tolist() == [[11, 0]]
    plain = drawn(spec).assign(bead_length_mm=np.nan, bead_pitch_mm=np.nan)
    assert check_beads(plain, laid(spec)).empty
    assert bead_sides(plain, laid(spec)).empty


def test_many_joints_are_checked_as_each_by_itself():
    one, other = Spec(2400.0, 75.0, 150.0, "chain"), Spec(3000.0, 60.0, 140.0, "staggered", 120.0)
    joints = pd.concat([drawn(one), drawn(other).assign(joint="F-2")], ignore_index=True)
    spoiled = [laid(one).drop([2]), laid(other).drop([4]).assign(joint="F-2")]
    table = check_beads(joints, pd.concat(spoiled, ignore_index=True))
    apart = [check_beads(joints[joints["joint"] == name], rows)
             for name, rows in zip(["F-1", "F-2"], spoiled, strict=True)]  # fmt: skip
    pd.testing.assert_frame_equal(table, pd.concat(apart, ignore_index=True))
    assert len(table) == 2
