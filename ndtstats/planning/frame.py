"""The frame: each joint cut into cells that cover it exactly, so that all of it can be drawn.

Cells are half open, [from, to) in mm from the joint's datum; cuts lie on whole millimetres, as a
tape can find them.
"""

import hashlib
from collections.abc import Collection
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.rules import ExtentRule
from ndtstats.statistics import union_intervals

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
End = Literal["datum", "far"]

#: Weld on each side of a crossing that an exposure of it shows: API 650, 8.1.2 (edition not noted;
#: from memory).
MARGIN_MM = 50.0


def cut_frame(
    joints: pd.DataFrame,
    *,
    spot_length_mm: npt.ArrayLike,
    crossing_length_mm: float | None = None,
    ends: Collection[End] = (),
) -> pd.DataFrame:
    """Return the cells of joints.

    Parameters
    ----------
    joints : DataFrame
        Columns ``joint``, ``length_mm``, ``whole`` (examined whole or not at all) and
        ``crossings_mm`` (positions parted by semicolons, or missing).
    spot_length_mm : float or array_like
        Least length of a cell where it can be had, of all joints or of each; a joint shorter than
        that is one cell.
    crossing_length_mm : float, optional
        Length of the cell about a crossing; the spot length if left out.
    ends : collection of {"datum", "far"}
        Which ends of a joint are cells of their own.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, ``mandatory`` ("", "crossing" or "end"), in the
        order of the joints, then along each. Cells about crossings are centred on them and clipped
        to the joint; where two overlap they are one cell, or several where together they are longer
        than two spots. A joint examined whole that has crossings is one cell of that kind. What
        lies between two such places and is shorter than a spot stays a cell of its own: part of
        what rates are inferred to, but no full spot to whoever counts them.

    Examples
    --------
    >>> joints = pd.DataFrame({"joint": ["B-1"], "length_mm": [1000.0], "whole": [False],
    ...                        "crossings_mm": ["400"]})
    >>> cut_frame(joints, spot_length_mm=300)
      joint  from_mm   to_mm mandatory
    0   B-1      0.0   250.0
    1   B-1    250.0   550.0  crossing
    2   B-1    550.0  1000.0
    """
    number = np.arange(len(joints))
    length = joints["length_mm"].to_numpy(dtype=float)
    whole = joints["whole"].astype("boolean").fillna(value=False).to_numpy(dtype=bool)
    cut = ~whole
    spot = np.broadcast_to(np.asarray(spot_length_mm, dtype=float), length.shape)
    around = spot if crossing_length_mm is None else np.full_like(spot, crossing_length_mm)
    at, owner = crossing_points(joints)
    points = pd.concat(
        [
            _about(at[cut[owner]], owner[cut[owner]], length, around),
            _whole(np.unique(owner[whole[owner]]), length),
            *(_ends(number[cut], length, spot, end) for end in ends),
        ],
        ignore_index=True,
    )
    marked = _parted(_merged(points), around, cut)
    plain = _gaps(marked, number, length, cut, spot)
    cells = pd.concat([marked, plain], ignore_index=True)
    order = np.argsort(_walk(cells["number"], cells["start"], length.max(initial=0)), kind="stable")
    row = cells["number"].to_numpy(dtype=np.int64)[order]
    return pd.DataFrame(
        {
            "joint": pd.Series(joints["joint"].astype("str").array.take(row)),
            "from_mm": cells["start"].to_numpy(float)[order],
            "to_mm": cells["end"].to_numpy(float)[order],
            "mandatory": pd.Series(cells["kind"].array.take(order)),
        }
    )


def ends_named(rule: ExtentRule) -> tuple[End, ...]:
    """Return which ends of its joints a rule names: they are cells of their own.

    Examples
    --------
    >>> ends_named(ExtentRule(name="uprights", categories=("A",), method="RT",
    ...                       always=("datum-ends",),
    ...                       amount={"family": "share-of-length", "percent": 10.0}))
    ('datum',)
    """
    named = {*rule.always, *rule.first}
    both: tuple[End, End] = ("datum", "far")
    return tuple(end for end in both if named & {"ends", f"{end}-ends"})


def _marked(number: Any, start: Any, end: Any, kind: Any) -> pd.DataFrame:
    table = pd.DataFrame({"number": number, "start": start, "end": end})
    return table.assign(kind=pd.Series(kind, index=table.index, dtype="str"))


def crossing_points(joints: pd.DataFrame) -> tuple[Floats, Ints]:
    """Return the positions of all crossings in mm, and which row of ``joints`` each belongs to.

    Parameters
    ----------
    joints : DataFrame
        Column ``crossings_mm``: positions parted by semicolons, or missing.

    Examples
    --------
    >>> at, row = crossing_points(pd.DataFrame({"crossings_mm": ["400; 900", None, "20"]}))
    >>> at.tolist(), row.tolist()
    ([400.0, 900.0, 20.0], [0, 0, 2])
    """
    listed = joints["crossings_mm"].reset_index(drop=True).astype("str").dropna()
    number = listed.str.count(";").to_numpy(dtype=np.int64) + 1
    owner = np.repeat(listed.index.to_numpy(dtype=np.int64), number)
    # One text is parted faster than many.
    texts = pd.Series(";".join(listed).split(";") if len(listed) else [], dtype="str").str.strip()
    given = (texts != "").to_numpy()
    return texts[given].to_numpy(dtype=float), owner[given]


def _about(at: Floats, owner: Ints, length: Floats, around: Floats) -> pd.DataFrame:
    half = around[owner] / 2
    low = np.maximum(np.round(at - half), 0.0)
    high = np.minimum(np.round(at + half), length[owner])
    return _marked(owner, low, high, "crossing")


def _whole(owner: Ints, length: Floats) -> pd.DataFrame:
    """Return the joints that are examined whole, where they have crossings."""
    return _marked(owner, np.zeros(len(owner)), length[owner], "crossing")


def _ends(owner: Ints, length: Floats, spot: Floats, end: End) -> pd.DataFrame:
    of, long = length[owner], spot[owner]
    if end == "datum":
        return _marked(owner, np.zeros(len(owner)), np.minimum(np.round(long), of), "end")
    return _marked(owner, np.maximum(np.round(of - long), 0.0), of, "end")


def _parted(marked: pd.DataFrame, around: Floats, cut: npt.NDArray[np.bool_]) -> pd.DataFrame:
    """Return marked places with those parted that close crossings have made too long.

    Parts are long enough that each shows a crossing with weld on both sides of it.
    """
    owner = marked["number"].to_numpy(dtype=np.int64)
    low, high = marked["start"].to_numpy(float), marked["end"].to_numpy(float)
    size = high - low
    enough = np.maximum(1.5 * around[owner], around[owner] + 2 * MARGIN_MM)
    long = (size > 2 * around[owner]) & (marked["kind"] == "crossing").to_numpy() & cut[owner]
    parts = np.where(long, np.maximum(size // enough, 2), 1).astype(np.int64)
    left, right = _cut_evenly(low, high, parts)
    row = np.repeat(np.arange(len(marked)), parts)
    return _marked(owner[row], left, right, marked["kind"].array.take(row))


def _cut_evenly(low: Floats, high: Floats, parts: Ints) -> tuple[Floats, Floats]:
    """Return bounds of each stretch cut into so many parts, on whole mm inside of it."""
    first = np.repeat(np.cumsum(parts) - parts, parts)
    step = np.arange(parts.sum()) - first
    wide, base = np.repeat((high - low) / parts, parts), np.repeat(low, parts)
    left = np.where(step == 0, base, np.round(base + step * wide))
    last = step + 1 == np.repeat(parts, parts)
    right = np.where(last, np.repeat(high, parts), np.round(base + (step + 1) * wide))
    return left, right


def _merged(points: pd.DataFrame) -> pd.DataFrame:
    """Return the marked places with those that overlap made one; a crossing outranks an end."""
    union = union_intervals(points["number"], points["start"], points["end"])
    union = union.rename(columns={"group": "number"})
    walk = _walk(union["number"], union["start"], points["end"].max())
    order = np.argsort(walk, kind="stable")
    crossings = points[points["kind"] == "crossing"]
    at = _walk(crossings["number"], crossings["start"], points["end"].max())
    crossed = np.zeros(len(union), dtype=bool)
    crossed[order[np.searchsorted(walk[order], at, side="right") - 1]] = True
    kind = pd.Series("end", index=union.index, dtype="str").mask(crossed, "crossing")
    return union.assign(kind=kind).iloc[order]


def _walk(number: Any, start: Any, longest: float) -> Floats:
    """Return how far along all joints laid end to end a place lies: one key instead of two."""
    step = 1.0 if np.isnan(longest) else longest + 1.0
    along: Floats = np.asarray(number, dtype=float) * step + np.asarray(start, dtype=float)
    return along


def _gaps(
    marked: pd.DataFrame, number: Ints, length: Floats, cut: npt.NDArray[np.bool_], spot: Floats
) -> pd.DataFrame:
    """Return what lies between the marked places, cut evenly at about the spot length."""
    of = np.concatenate([marked["number"].to_numpy(dtype=np.int64), number, number])
    start = np.concatenate([marked["start"].to_numpy(float), np.zeros(len(number)), length])
    end = np.concatenate([marked["end"].to_numpy(float), np.zeros(len(number)), length])
    order = np.lexsort((end, start, of))
    of, start, end = of[order], start[order], end[order]
    wide = (of[1:] == of[:-1]) & (start[1:] > end[:-1])
    low, high, owner = end[:-1][wide], start[1:][wide], of[1:][wide]
    parts = np.where(cut[owner], np.maximum((high - low) // spot[owner], 1), 1).astype(np.int64)
    left, right = _cut_evenly(low, high, parts)
    return _marked(np.repeat(owner, parts), left, right, "")


def frame_sha256(cells: pd.DataFrame, columns: list[str]) -> str:
    """Return a digest of the cells: the same cells in the same order, the same digest."""
    digest = hashlib.sha256(f"{len(cells)}\n".encode())
    for name in columns:
        column = cells[name]
        if pd.api.types.is_numeric_dtype(column):
            # To a millionth: the last bits of a product differ from one machine to another.
            digest.update(np.round(column.to_numpy(float), 6).astype("<f8").tobytes())
        else:
            # A separator that no name holds; missing is not the same as blank.
            digest.update("\x1f".join(column.astype("str").fillna("\x1e")).encode())
        digest.update(b"\n")
    return digest.hexdigest()
