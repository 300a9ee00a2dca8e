"""Who welded what: the deposits of the invented yard, with their true quality beside them."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.demo.frames import later, shaped
from ndtstats.demo.people import choose

#: Seams longer than this are welded by two welders, each from his end.
_SPLIT_MM = 4000.0

#: Share of joints of which one welder makes both sides.
_BOTH_SIDES = 0.8

#: What places a deposit within its joint, and sets it apart from the rest of it.
_PLACED = ("pass", "side", "from_mm", "to_mm", "own_process")


def deposits_of_hull(joints: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the deposits of the hull: butts from both sides, long seams in two halves."""
    made = joints[joints["welded"].notna()].reset_index(drop=True)
    sides = np.where(made["bead_pattern"].notna() & (made["bead_pattern"] != "continuous"), 2, 1)
    sides = np.where(made["joint_type"] == "butt", 2, sides)
    halves = np.where((made["category"] == "SHELL-SEAM") & (made["length_mm"] > _SPLIT_MM), 2, 1)
    parts = made.loc[made.index.repeat(sides * halves)].copy()
    number = parts.groupby(level=0).cumcount().to_numpy()
    of = np.repeat(halves, sides * halves)
    both = np.repeat(sides, sides * halves) == 2
    side, half = number // of, number % of
    parts["side"] = pd.Series(np.where(side == 0, "first", "second"), parts.index).where(both)
    middle = np.round(parts["length_mm"] / 2, -1)
    parts["from_mm"] = np.where(of == 2, half * middle, np.nan)
    parts["to_mm"] = np.where(of == 2, np.where(half == 0, middle, parts["length_mm"]), np.nan)
    parts["date"] = parts["welded"]
    parts = _welded_by("hull", parts.assign(half=half), rng)
    # Mostly the one who welded the first side back-gouges and welds the second.
    first = parts.groupby(["joint", "half"])["welder"].transform("first")
    same = rng.random(len(parts)) < _BOTH_SIDES
    return parts.assign(welder=parts["welder"].mask(same, first)).reset_index(drop=True)


def deposits_of_piping(joints: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the deposits of the piping: a root in TIG, and fill and cap, often by another."""
    made = joints[joints["welded"].notna()].reset_index(drop=True)
    passes = np.where(made["penetration"] == "full", 2, 1)
    parts = made.loc[made.index.repeat(passes)].copy()
    root = parts.groupby(level=0).cumcount().to_numpy() == 0
    butt = (parts["penetration"] == "full").to_numpy()
    parts["pass"] = pd.Series(np.where(root, "root", "cap"), parts.index).where(butt)
    parts["own_process"] = pd.Series("141", parts.index).where(root & (parts["process"] != "141"))
    parts["date"] = parts["welded"]
    parts = _welded_by("pipe", parts, rng)
    # Thin pipe is welded out by one welder; on the others root and cap are often parted.
    own = parts.groupby("joint")["welder"].transform("first")
    alone = (parts["process"] == "141") | (rng.random(len(parts)) < 0.4)
    parts["welder"] = parts["welder"].mask(alone, own)
    return parts.reset_index(drop=True)


def _welded_by(trade: str, parts: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the parts with a welder for each, and missing what that trade does not note."""
    blank = {name: None for name in _PLACED if name not in parts}
    welder = choose(np.full(len(parts), trade), parts["date"], rng)
    return parts.assign(welder=welder, **blank).astype({"pass": "str", "side": "str"})


def deposits_table(parts: pd.DataFrame) -> pd.DataFrame:
    """Return deposits as the yard writes them: only what differs from the joint is said again."""
    own = parts["own_process"]
    return shaped("deposits", parts.assign(process=own, position=None, procedure=None))


def beads_table(joints: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return measured beads of the intermittent fillets: a few short, missing, or with open ends.

    Both sides are measured. Each has a bead at both ends and others evenly between; the second side
    of a staggered pattern has its own in the middle of the gaps of the first.
    """
    stitched = joints["bead_pitch_mm"].notna() & joints["welded"].notna()
    made = joints[stitched].reset_index(drop=True)
    bead, end = made["bead_length_mm"], made["bead_end_mm"]
    between = made["length_mm"] - 2 * end
    gap = made["bead_pitch_mm"] - bead
    inner = np.maximum(np.ceil((between - gap) / made["bead_pitch_mm"]), 0.0)
    made = made.assign(inner=inner, gap=(between - inner * bead) / (inner + 1))
    sides = made.merge(pd.DataFrame({"side": ["first", "second"]}), how="cross")
    sides["later"] = (sides["side"] == "second") & (sides["bead_pattern"] == "staggered")
    count = (sides["inner"] + 2 + sides["later"]).astype(int)
    beads = sides.loc[sides.index.repeat(count)].reset_index(drop=True)
    at = beads.groupby(["joint", "side"], sort=False).cumcount()
    last = at == np.repeat(count.to_numpy(), count) - 1
    outer = (at == 0) | last
    beads["from_mm"] = np.round(
        _starts(beads, at).mask(last, beads["length_mm"] - beads["bead_end_mm"])
    )
    beads["length_mm"] = _bead_lengths(beads, outer, rng)
    wrapped = pd.Series(rng.random(len(beads)) > 0.02, beads.index, dtype="boolean")
    beads["wrapped"] = wrapped.where(outer)
    beads["date"] = later(beads["welded"], np.ones(len(beads)))
    beads["inspector"] = "Inspector Lea"
    there = rng.random(len(beads)) > 0.01
    return shaped("beads", beads[there])


def _starts(beads: pd.DataFrame, at: Any) -> Any:
    """Return where each bead begins, but for the last of a side."""
    step = beads["gap"] + beads["bead_length_mm"]
    plain = beads["bead_end_mm"] + beads["gap"] + (at - 1) * step
    ahead = beads["bead_end_mm"] + (at - 1) * step
    shifted = ahead + (beads["gap"] - beads["bead_length_mm"]) / 2
    return plain.where(~beads["later"], shifted).mask(at == 0, 0.0)


def _bead_lengths(beads: pd.DataFrame, outer: Any, rng: np.random.Generator) -> Any:
    asked = np.where(outer, beads["bead_end_mm"], beads["bead_length_mm"])
    measured = np.round(asked + rng.normal(7.0, 2.5, len(beads)))
    short = rng.random(len(beads)) < 0.02
    measured = np.where(short, np.round(asked * 0.75), measured)
    # Until it is replaced by what this returns, the column holds the length of the joint.
    return np.minimum(measured, beads["length_mm"] - beads["from_mm"])
