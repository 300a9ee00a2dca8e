"""Faults of intermittent welds: short beads, long gaps, missing beads, open ends, unmatched sides.

Each function looks for one kind of fault and says where it lies; none tells what another one told.
"""

from typing import Any, Final

import numpy as np
import pandas as pd

from ndtstats.visual.pattern import in_place, shares, sides_specified
from ndtstats.visual.said import mm

#: What can be wrong, and what each means.
KINDS: Final[dict[str, str]] = {
    "short": "a bead shorter than specified",
    "gap": "a clear gap longer than pitch less bead",
    "missing": "a gap in which one more bead or several would fit",
    "open end": "an end of the joint that is not welded, or not carried round",
    "unmatched": "a bead whose place on the other side is not as the pattern asks",
    "overlap": "two beads of one side in one place: the measurements cannot be right",
}

#: Columns of the faults, and their types.
COLUMNS: Final[dict[str, str]] = {
    "joint": "str",
    "side": "str",
    "kind": "str",
    "from_mm": "float64",
    "to_mm": "float64",
    "measured": "float64",
    "specified": "float64",
    "beads": "float64",
    "words": "str",
}

#: A gap may be this much longer than specified: common practice, no source. A bead has no such
#: tolerance: what is specified is the least length.
GAP_MM = 10.0

#: A weld that begins this near to the end of the joint begins at it: common practice, no source.
END_MM = 5.0

#: Two beads measured one by one may seem to overlap so much: common practice, no source.
OVERLAP_MM = 5.0

#: Beads further apart than this share of the pitch are not opposite one another. It is half of what
#: parts chain from staggered: chosen here, no source.
OPPOSITE = 0.25


def check_beads(joints: pd.DataFrame, beads: pd.DataFrame) -> pd.DataFrame:
    """Return what is wrong with the measured beads of intermittent welds.

    Parameters
    ----------
    joints : DataFrame
        Columns :data:`ndtstats.visual.pattern.SPECIFIED`.
    beads : DataFrame
        Columns ``joint``, ``side``, ``from_mm``, ``length_mm``, ``wrapped``.

    Returns
    -------
    DataFrame
        One row a fault, columns :data:`COLUMNS`, joint by joint as they come, along each side:
        ``kind`` is one of :data:`KINDS`; ``from_mm`` to ``to_mm`` where it lies; ``measured`` and
        ``specified`` in mm, missing where nothing was measured; ``beads``, how many are missing;
        ``words`` says what is wrong.
        Joints on which no bead was measured have no fault here.

    Notes
    -----
    A gap that is long because its neighbour is short is no fault of its own. Where both ends must
    be welded (the first and last bead are specified, or wrapped) a bare end is a fault; elsewhere
    beads are missing at an end if fewer were found than fit (:func:`sides_specified`).

    Examples
    --------
    >>> joints = pd.DataFrame({"joint": ["F-1"], "length_mm": [975.0], "bead_length_mm": [75.0],
    ...     "bead_pitch_mm": [225.0], "bead_pattern": [None], "bead_end_mm": [None],
    ...     "ends_wrapped": [None]})
    >>> beads = pd.DataFrame({"joint": "F-1", "side": "first", "from_mm": [0.0, 225.0, 900.0],
    ...                       "length_mm": [75.0, 60.0, 75.0], "wrapped": [None] * 3})
    >>> for words in check_beads(joints, beads)["words"]: print(words)
    60 mm long, 75 mm are specified
    2 beads missing
    """
    sides = sides_specified(joints, beads)
    placed = in_place(sides, beads)
    within = _joined([_short(placed), _overlaps(placed), *_gaps(placed), *_ends(placed)])
    lacking = _joined([within, *_bare_ends(placed, within)])
    found = _joined([lacking, _not_measured(sides, placed), *_unmatched(placed, lacking)])
    order = pd.Series(range(len(joints)), joints["joint"])
    rank = order.reindex(found["joint"]).to_numpy()
    sorted_: pd.DataFrame = found.assign(rank=rank).sort_values(
        ["rank", "side", "from_mm", "kind"], ignore_index=True
    )
    return sorted_[list(COLUMNS)]


def bead_sides(joints: pd.DataFrame, beads: pd.DataFrame) -> pd.DataFrame:
    """Return for each side of intermittent welds how much of the weld specified is effective.

    Parameters as in :func:`check_beads`; columns as :func:`ndtstats.visual.pattern.shares` gives
    them. A side on which nothing was measured has 0 beads measured.

    Examples
    --------
    >>> joints = pd.DataFrame({"joint": ["F-1"], "length_mm": [2400.0], "bead_length_mm": [75.0],
    ...     "bead_pitch_mm": [225.0], "bead_pattern": [None], "bead_end_mm": [None],
    ...     "ends_wrapped": [None]})
    >>> beads = pd.DataFrame({"joint": "F-1", "side": "first", "from_mm": [0.0, 225.0],
    ...                       "length_mm": [75.0, 60.0], "wrapped": [None, None]})
    >>> table = bead_sides(joints, beads)
    >>> table[["measured", "expected", "specified_mm", "effective_mm"]].to_numpy().tolist()
    [[2.0, 11.0, 825.0, 75.0]]
    """
    sides = sides_specified(joints, beads)
    return shares(sides, in_place(sides, beads))


def _fault(rows: pd.DataFrame, kind: str, words: Any, **more: Any) -> pd.DataFrame:
    """Return faults of one kind on beads or sides, with what differs from the columns they have."""
    made: pd.DataFrame = rows.assign(kind=kind, words=words, **more)
    return made.reindex(columns=list(COLUMNS)).astype(COLUMNS)


def _joined(parts: list[pd.DataFrame]) -> pd.DataFrame:
    return pd.concat([part.astype(COLUMNS) for part in parts], ignore_index=True)


def _short(placed: pd.DataFrame) -> pd.DataFrame:
    rows = placed[placed["lacks_mm"] > 0]
    words = mm(rows["length_mm"]) + " long, " + mm(rows["least_mm"]) + " are specified"
    return _fault(rows, "short", words, measured=rows["length_mm"], specified=rows["least_mm"])


def _overlaps(placed: pd.DataFrame) -> pd.DataFrame:
    rows = placed[placed["reach_mm"] - placed["from_mm"] > OVERLAP_MM]
    over = np.minimum(rows["reach_mm"], rows["to_mm"]) - rows["from_mm"]
    words = mm(over) + " of it lie within the bead before it; check the measurements"
    return _fault(rows, "overlap", words, measured=over, specified=0.0,
                  to_mm=rows["from_mm"] + over)  # fmt: skip


def _gaps(placed: pd.DataFrame) -> list[pd.DataFrame]:
    """Return the gaps between beads that are too long, and those in which beads are missing."""
    by = placed.groupby(["joint", "side"], sort=False)
    gap = placed["from_mm"] - placed["reach_mm"]
    lacking = placed["lacks_mm"] + by["lacks_mm"].shift().fillna(0.0)
    excess = (gap - placed["gap_mm"] - lacking).where(~placed["first"], 0.0)
    # Where the weld is continuous none is missing: it has one long gap.
    number = ((excess + GAP_MM) // placed["bead_pitch_mm"]).fillna(0.0)
    number = number.where(placed["bead_pattern"] != "continuous", 0.0)
    rows = placed.assign(
        to_mm=placed["from_mm"], from_mm=placed["reach_mm"], measured=gap,
        specified=placed["gap_mm"], beads=number,
    )  # fmt: skip
    long = rows[(excess > GAP_MM) & (number < 1)]
    words = mm(long["measured"]) + " not welded, " + mm(long["specified"]) + " are allowed"
    return [_fault(long, "gap", words), _missing(rows[number >= 1])]


def _missing(rows: pd.DataFrame) -> pd.DataFrame:
    number = rows["beads"].map("{:.0f} beads missing".format).astype("str")
    words = number.where(rows["beads"] > 1, "a bead missing")
    return _fault(rows, "missing", words)


def _free_ends(placed: pd.DataFrame) -> pd.DataFrame:
    """Return both ends of each side, with its outermost bead and how much is free beyond it."""
    start = placed[placed["first"]].assign(
        end="start", free=lambda rows: rows["from_mm"], from_mm=0.0,
        to_mm=lambda rows: rows["free"], is_end=lambda rows: rows["at_start"],
    )  # fmt: skip
    stop = placed[placed["last"]].assign(
        end="end", free=lambda rows: rows["free_mm"],
        from_mm=lambda rows: rows["joint_mm"] - rows["free"],
        to_mm=lambda rows: rows["joint_mm"], is_end=lambda rows: rows["at_end"],
    )  # fmt: skip
    both = pd.concat([start, stop], ignore_index=True)
    return both.assign(measured=both["free"])


def _ends(placed: pd.DataFrame) -> list[pd.DataFrame]:
    """Return the faults of ends that must be welded."""
    ends = _free_ends(placed)
    ends = ends[ends["ends"]]
    continuous = ends["bead_pattern"] == "continuous"
    gone = ~continuous & ~ends["is_end"]
    room = np.minimum(ends["end_mm"] + ends["gap_mm"], ends["bead_pitch_mm"])
    more = ((ends["free"] - room + GAP_MM) // ends["bead_pitch_mm"]).clip(lower=0.0)
    lacking = ends[gone].assign(beads=1 + more[gone], specified=0.0)
    bare = ends[~gone & (ends["free"] > END_MM)]
    words = mm(bare["free"]) + " at the " + bare["end"] + " of the joint not welded"
    loose = ends[~gone & (ends["free"] <= END_MM) & ends["wrapped_right"]]
    loose = loose[~loose["wrapped"].astype("boolean").fillna(value=False).astype(bool)]
    unsaid = loose["wrapped"].isna()
    told = pd.Series(np.where(unsaid, "not noted as", "not"), loose.index, dtype="str")
    round_ = "the bead at the " + loose["end"] + " of the joint is " + told + " carried round"
    return [
        _missing(lacking),
        _fault(bare, "open end", words, specified=0.0),
        _fault(loose, "open end", round_, measured=np.nan),
    ]


def _bare_ends(placed: pd.DataFrame, within: pd.DataFrame) -> list[pd.DataFrame]:
    """Return what is missing at ends that need not be welded: fewer beads than fit on the joint."""
    ends = _free_ends(placed)
    ends = ends[~ends["ends"]]
    keys = ["joint", "side"]
    told = within.groupby(keys)["beads"].sum().rename("told")
    count = placed.groupby(keys).size().rename("count")
    ends = ends.join(count, on=keys).join(told, on=keys).fillna({"told": 0.0})
    lacks = (ends["expected"] - ends["count"] - ends["told"]).clip(lower=0.0)
    bare = ends["free"] - ends["lead_mm"].where(ends["end"] == "start", 0.0) - ends["lacks_mm"]
    room = ((bare + GAP_MM) // ends["bead_pitch_mm"]).clip(lower=1.0)
    room = room.where(bare > ends["gap_mm"] + GAP_MM, 0.0)
    # The barer of both ends first; what does not fit there is missing at the other.
    ends = ends.assign(bare=bare, room=room, lacks=lacks, specified=ends["gap_mm"])
    ends = ends.sort_values([*keys, "bare"], ascending=[True, True, False])
    before = ends.groupby(keys)["room"].cumsum() - ends["room"]
    number = np.minimum(ends["room"], (ends["lacks"] - before).clip(lower=0.0))
    ends = ends.assign(beads=number)
    long = ends[(number < 1) & (ends["bare"] > ends["bead_pitch_mm"] + GAP_MM)]
    words = mm(long["free"]) + " at the " + long["end"] + " of the joint not welded"
    return [_missing(ends[number >= 1]), _fault(long, "gap", words)]


def _not_measured(sides: pd.DataFrame, placed: pd.DataFrame) -> pd.DataFrame:
    """Return the sides on which nothing was measured, while something was on the other."""
    keys = ["joint", "side"]
    here = pd.MultiIndex.from_frame(sides[keys]).isin(pd.MultiIndex.from_frame(placed[keys]))
    rows = sides[~here & sides["joint"].isin(placed["joint"])]
    words = "no bead measured on this side, and " + rows["bead_pattern"].astype("str")
    return _fault(rows, "unmatched", words + " beads are specified on both", from_mm=0.0,
                  to_mm=rows["joint_mm"], measured=0.0, specified=rows["specified_mm"])  # fmt: skip


def _unmatched(placed: pd.DataFrame, lacking: pd.DataFrame) -> list[pd.DataFrame]:
    """Return the beads that have none opposite in a chain, or one in staggered beads."""
    chain = _with_nearest(placed[placed["bead_pattern"] == "chain"])
    # A bead that is short on one side has its middle off by half of what it lacks.
    off = chain["away_mm"] - (chain["lacks_mm"] + chain["lacks_mm_other"]) / 2
    limit = OPPOSITE * chain["bead_pitch_mm"]
    # Where both sides are out of step, the second is told and not the first as well.
    alone = off > limit.where(chain["side"] == "second", 3 * limit)
    lonely = _not_told(chain[alone], lacking)
    words = "no bead opposite, the nearest is " + mm(lonely["away_mm"]) + " off"
    inner = placed[~(placed["ends"] & (placed["at_start"] | placed["at_end"]))]
    staggered = _with_nearest(inner[inner["bead_pattern"] == "staggered"])
    near = staggered["away_mm"] + (staggered["lacks_mm"] + staggered["lacks_mm_other"]) / 2
    together = (near < OPPOSITE * staggered["bead_pitch_mm"]) & (staggered["side"] == "second")
    doubled = staggered[together]
    told = "only " + mm(doubled["away_mm"]) + " off the bead opposite, in staggered beads"
    half = doubled["bead_pitch_mm"] / 2
    return [
        _fault(lonely, "unmatched", words, measured=lonely["away_mm"], specified=0.0),
        _fault(doubled, "unmatched", told, measured=doubled["away_mm"], specified=half),
    ]


def _with_nearest(rows: pd.DataFrame) -> pd.DataFrame:
    """Return beads with how far the nearest one of the other side is, from middle to middle."""
    mine = rows.assign(middle=rows["from_mm"] + rows["length_mm"] / 2).sort_values("middle")
    other = {"first": "second", "second": "first"}
    theirs = mine[["joint", "side", "middle", "lacks_mm"]].assign(at=mine["middle"])
    theirs["side"] = theirs["side"].map(other).astype("str")
    pairs = pd.merge_asof(
        mine, theirs, on="middle", by=["joint", "side"], direction="nearest",
        suffixes=("", "_other"),
    )  # fmt: skip
    # A joint with one side only is told by itself.
    pairs = pairs[pairs["at"].notna()]
    return pairs.assign(away_mm=(pairs["middle"] - pairs["at"]).abs())


def _not_told(beads: pd.DataFrame, lacking: pd.DataFrame) -> pd.DataFrame:
    """Return beads without those opposite which beads are missing or far apart: that is told."""
    holes = lacking[lacking["kind"].isin(["missing", "gap"])]
    pairs = beads.reset_index(names="bead").merge(holes, on="joint", suffixes=("", "_hole"))
    within = (pairs["from_mm_hole"] <= pairs["middle"]) & (pairs["middle"] <= pairs["to_mm_hole"])
    told = pairs.loc[within & (pairs["side"] != pairs["side_hole"]), "bead"]
    return beads[~beads.index.isin(told)]
