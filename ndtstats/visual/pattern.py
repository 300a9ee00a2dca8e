"""What is specified for the beads of a joint, and where the measured ones stand in it."""

from typing import Any, Final

import numpy as np
import pandas as pd

from ndtstats.rules import beads_specified

#: Both sides of a joint, as the table of beads names them.
SIDES: Final = ("first", "second")

#: Columns of the joints that say what is specified.
SPECIFIED: Final = (
    "joint", "length_mm", "bead_length_mm", "bead_pitch_mm", "bead_end_mm", "bead_pattern",
    "ends_wrapped",
)  # fmt: skip

#: Patterns that have beads on both sides.
_BOTH = ("chain", "staggered")

#: A quotient nearer to a whole number than this is that number.
_SLACK = 1e-9


def sides_specified(joints: pd.DataFrame, beads: pd.DataFrame) -> pd.DataFrame:
    """Return what is specified for each side of the joints that have beads.

    Parameters
    ----------
    joints : DataFrame
        Columns :data:`SPECIFIED`. A joint has beads if it states length and pitch, or continuous
        as its pattern.
    beads : DataFrame
        Columns ``joint``, ``side``, ``from_mm``.

    Returns
    -------
    DataFrame
        One row a joint and side: both sides of chain and staggered beads, else those that were
        measured, and the first where none was; a continuous weld only where something was measured
        of it, as nobody need measure one. Columns of the joints (``joint_mm`` is the length
        of the joint), ``side``, and

        - ``bead_mm`` and ``end_mm``: least length of a bead, and of the first and last;
        - ``gap_mm``: greatest clear gap, 0 where the weld is continuous;
        - ``ends``: whether both ends must be welded (first and last bead specified, or wrapped),
          ``wrapped_right`` whether the bead must be carried round them;
        - ``lead_mm``: half a pitch on that side of staggered beads that begins later;
        - ``expected``: least number of beads, and ``specified_mm``, how much weld that is.

    Notes
    -----
    The pitch is from the start of a bead to the start of the next (seen in hull weld tables).
    n = floor((length - bead) / pitch) + 1 beads (common practice, no source); where both ends must
    be welded, as many as keep every gap within pitch - bead. Such ends have a bead on each side,
    in staggered beads as well (a matched pair at the ends: ABS 3-2-16/1.3, edition not noted;
    seen).
    """
    lengths = dict.fromkeys(SPECIFIED[1:5], "float64")
    rows = joints[list(SPECIFIED)].astype(lengths).rename(columns={"length_mm": "joint_mm"})
    continuous = rows["bead_pattern"] == "continuous"
    rows = rows[continuous | (rows["bead_length_mm"].notna() & rows["bead_pitch_mm"].notna())]
    rows = rows.merge(pd.DataFrame({"side": SIDES}), how="cross")
    measured = beads[["joint", "side"]].drop_duplicates().assign(measured=True)
    rows = rows.merge(measured, on=["joint", "side"], how="left")
    known = rows["measured"].notna()
    none = ~known.groupby(rows["joint"]).transform("any")
    both = rows["bead_pattern"].isin(_BOTH)
    asked = none & (rows["side"] == "first") & (rows["bead_pattern"] != "continuous")
    rows = rows[both | known | asked].drop(columns="measured")
    return _with_amounts(_with_lead(rows.reset_index(drop=True), beads))


def _with_lead(rows: pd.DataFrame, beads: pd.DataFrame) -> pd.DataFrame:
    """Return sides with their lengths, gaps and ends, and which of two staggered sides leads."""
    start = beads.groupby(["joint", "side"])["from_mm"].min().rename("start_mm")
    rows = rows.join(start, on=["joint", "side"])
    continuous = rows["bead_pattern"] == "continuous"
    bead, pitch = rows["bead_length_mm"], rows["bead_pitch_mm"]
    half = pitch / 2
    # The side whose first bead lies nearer to an odd number of half pitches begins later.
    odd = (rows["start_mm"] / half).round() % 2 == 1
    later = odd.where(rows["start_mm"].notna(), rows["side"] == "second")
    staggered = (rows["bead_pattern"] == "staggered") & later.astype(bool)
    wrapped = rows["ends_wrapped"].astype("boolean").fillna(value=False).astype(bool)
    # A joint shorter than a bead is welded whole.
    usual = bead.clip(upper=rows["joint_mm"])
    end = rows["bead_end_mm"].fillna(bead).clip(upper=rows["joint_mm"])
    return rows.drop(columns="start_mm").assign(
        bead_mm=usual.where(~continuous, 0.0),
        end_mm=end.where(~continuous, 0.0),
        gap_mm=(pitch - bead).clip(lower=0.0).where(~continuous, 0.0),
        ends=continuous | rows["bead_end_mm"].notna() | wrapped,
        wrapped_right=wrapped,
        lead_mm=half.where(staggered, 0.0),
    )


def _with_amounts(rows: pd.DataFrame) -> pd.DataFrame:
    """Return sides with the number of beads and the length of weld that are specified."""
    joint, bead, end = rows["joint_mm"], rows["bead_mm"], rows["end_mm"]
    plain = beads_specified(joint - rows["lead_mm"], bead, rows["bead_pitch_mm"])
    between = joint - 2 * end
    inner = np.ceil((between - rows["gap_mm"]) / rows["bead_pitch_mm"] - _SLACK).clip(lower=0.0)
    number = inner + np.where(between > 0, 2.0, 1.0)
    weld = np.minimum(inner * bead + 2 * end, joint)
    continuous = rows["bead_pattern"] == "continuous"
    return rows.assign(
        expected=number.where(rows["ends"], plain.beads).mask(continuous, 1.0),
        specified_mm=weld.where(rows["ends"], plain.length_mm).mask(continuous, joint),
    )


def in_place(sides: pd.DataFrame, beads: pd.DataFrame) -> pd.DataFrame:
    """Return measured beads along each side, with what is specified for each.

    Parameters
    ----------
    sides : DataFrame
        As :func:`sides_specified` gives them.
    beads : DataFrame
        Columns ``joint``, ``side``, ``from_mm``, ``length_mm``, ``wrapped``.

    Returns
    -------
    DataFrame
        The beads on those sides, in order along each, with the columns of the side and ``to_mm``;
        ``reach_mm``, how far the weld before it reaches (0 before the first); ``first``, ``last``;
        ``free_mm``, from the last bead to the joint's end; ``at_start`` and ``at_end``, whether it
        is the bead of an end; ``least_mm``, its specified length, and ``lacks_mm`` what it is
        short of it.

    Notes
    -----
    The outermost bead is that of the end if no other bead fits beyond it (common practice, no
    source): where the first one is missing, the second is not taken for it.
    """
    rows = beads[["joint", "side", "from_mm", "length_mm", "wrapped"]].merge(
        sides, on=["joint", "side"]
    )
    rows = rows.sort_values(["joint", "side", "from_mm"], kind="stable", ignore_index=True)
    rows = rows.assign(to_mm=rows["from_mm"] + rows["length_mm"])
    by = rows.groupby(["joint", "side"], sort=False)
    reach = by["to_mm"].cummax()
    before = reach.groupby([rows["joint"], rows["side"]], sort=False).shift()
    first, last = before.isna(), by.cumcount(ascending=False) == 0
    free = rows["joint_mm"] - reach
    at_start = first & (rows["from_mm"] <= rows["bead_mm"])
    at_end = last & (free <= rows["bead_mm"])
    least = rows["end_mm"].where(at_start | at_end, rows["bead_mm"])
    return rows.assign(
        reach_mm=before.fillna(0.0), first=first, last=last, free_mm=free, at_start=at_start,
        at_end=at_end, least_mm=least, lacks_mm=(least - rows["length_mm"]).clip(lower=0.0),
    )  # fmt: skip


def shares(sides: pd.DataFrame, placed: pd.DataFrame) -> pd.DataFrame:
    """Return for each side how much weld is effective, of what is specified and of the joint.

    Parameters
    ----------
    sides, placed : DataFrame
        As :func:`sides_specified` and :func:`in_place` give them.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``side``, ``joint_mm``, ``expected`` and ``measured`` (beads),
        ``specified_mm``, ``effective_mm``, ``share`` (of what is specified), ``share_of_joint``.
        A bead that is too short carries nothing here; what two beads cover counts once.
    """
    good = placed[placed["lacks_mm"] <= 0]
    new: Any = np.minimum(good["to_mm"], good["joint_mm"]) - np.maximum(
        good["from_mm"], _reach_of(good)
    )
    keys = [good["joint"], good["side"]]
    effective = new.clip(lower=0.0).groupby(keys).sum().rename("effective_mm")
    measured = placed.groupby(["joint", "side"]).size().rename("measured")
    rows = sides.join(effective, on=["joint", "side"]).join(measured, on=["joint", "side"])
    rows = rows.fillna({"effective_mm": 0.0, "measured": 0})
    return rows.assign(
        measured=rows["measured"].astype("int64"),
        share=rows["effective_mm"] / rows["specified_mm"],
        share_of_joint=rows["effective_mm"] / rows["joint_mm"],
    )[["joint", "side", "joint_mm", "expected", "measured", "specified_mm", "effective_mm",
       "share", "share_of_joint"]]  # fmt: skip


def _reach_of(rows: pd.DataFrame) -> "pd.Series[float]":
    """Return how far the beads before each one of its side reach."""
    reach = rows.groupby(["joint", "side"], sort=False)["to_mm"].cummax()
    before: pd.Series[float] = reach.groupby([rows["joint"], rows["side"]], sort=False).shift()
    return before.fillna(0.0)
