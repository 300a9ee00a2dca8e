"""The frame: each joint cut into cells that cover it exactly, so that all of it can be drawn.

Cells are half open, [from, to) in mm from the joint's datum; cuts lie on whole millimetres, as a
tape can find them.
"""

import hashlib
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.statistics import union_intervals


def cut_frame(
    joints: pd.DataFrame,
    *,
    spot_length_mm: float,
    crossing_length_mm: float | None = None,
    ends: bool = False,
) -> pd.DataFrame:
    """Return the cells of joints.

    Parameters
    ----------
    joints : DataFrame
        Columns ``joint``, ``length_mm``, ``whole`` (examined whole or not at all) and
        ``crossings_mm`` (positions parted by semicolons, or missing).
    spot_length_mm : float
        Least length of a cell where it can be had; a joint shorter than that is one cell.
    crossing_length_mm : float, optional
        Length of the cell about a crossing; the spot length if left out.
    ends : bool
        Whether both ends of a joint are cells of their own.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, ``mandatory`` ("", "crossing" or "end"), in the
        order of the joints, then along each. Cells about crossings are centred on them and clipped
        to the joint; where two touch they are one cell. What lies between two such places and is
        shorter than a spot stays a cell of its own: part of what rates are inferred to, but no
        full spot to whoever counts them.

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
    around = crossing_length_mm or spot_length_mm
    points = [_crossings(joints, length, cut, around)]
    if ends:
        points.append(_ends(number[cut], length, spot_length_mm))
    marked = _merged(pd.concat(points, ignore_index=True))
    plain = _gaps(marked, number, length, cut, spot_length_mm)
    cells = pd.concat([marked, plain], ignore_index=True)
    cells = cells.sort_values(["number", "start"], kind="stable", ignore_index=True)
    names = joints["joint"].to_numpy()
    return pd.DataFrame(
        {
            "joint": pd.Series(names[cells["number"]], dtype="str"),
            "from_mm": cells["start"].to_numpy(float),
            "to_mm": cells["end"].to_numpy(float),
            "mandatory": cells["kind"].astype("str"),
        }
    )


def _marked(number: Any, start: Any, end: Any, kind: str) -> pd.DataFrame:
    return pd.DataFrame({"number": number, "start": start, "end": end, "kind": kind})


def _crossings(joints: pd.DataFrame, length: Any, cut: Any, around: float) -> pd.DataFrame:
    listed = joints["crossings_mm"].astype("str").reset_index(drop=True)[cut].dropna()
    points = listed.str.split(";").explode()
    points = points[points.str.strip() != ""].astype(float)
    at, number = points.to_numpy(), points.index.to_numpy(dtype=np.int64)
    low = np.maximum(np.round(at - around / 2), 0.0)
    high = np.minimum(np.round(at + around / 2), length[number])
    return _marked(number, low, high, "crossing")


def _ends(number: Any, length: Any, spot_length_mm: float) -> pd.DataFrame:
    of = length[number]
    first = _marked(number, 0.0, np.minimum(spot_length_mm, of), "end")
    last = _marked(number, np.maximum(np.round(of - spot_length_mm), 0.0), of, "end")
    return pd.concat([first, last], ignore_index=True)


def _merged(points: pd.DataFrame) -> pd.DataFrame:
    """Return the marked places with those that overlap made one; a crossing outranks an end."""
    union = union_intervals(points["number"], points["start"], points["end"])
    union = union.rename(columns={"group": "number"}).sort_values(["number", "start"])
    crossings = points[points["kind"] == "crossing"]
    inside = pd.merge_asof(
        crossings.assign(number=crossings["number"].astype("int64")).sort_values("start"),
        union.assign(number=union["number"].astype("int64"), place=union.index).sort_values(
            "start"
        ),
        on="start",
        by="number",
    )
    kind = np.where(union.index.isin(inside["place"]), "crossing", "end")
    return union.assign(kind=kind)


def _gaps(
    marked: pd.DataFrame, number: Any, length: Any, cut: Any, spot_length_mm: float
) -> pd.DataFrame:
    """Return what lies between the marked places, cut evenly at about the spot length."""
    edges = pd.concat(
        [marked, _marked(number, 0.0, 0.0, ""), _marked(number, length, length, "")],
        ignore_index=True,
    ).sort_values(["number", "start", "end"], kind="stable")
    of, start, end = (edges[c].to_numpy() for c in ("number", "start", "end"))
    same = of[1:] == of[:-1]
    low, high = end[:-1][same], start[1:][same]
    owner = of[1:][same].astype(np.int64)
    wide = high > low
    low, high, owner = low[wide], high[wide], owner[wide]
    parts = np.where(cut[owner], np.maximum((high - low) // spot_length_mm, 1), 1).astype(np.int64)
    first = np.repeat(np.cumsum(parts) - parts, parts)
    step = np.arange(parts.sum()) - first
    wide_of = np.repeat((high - low) / parts, parts)
    base = np.repeat(low, parts)
    left = np.where(step == 0, base, np.round(base + step * wide_of))
    right = np.where(
        step + 1 == np.repeat(parts, parts),
        np.repeat(high, parts),
        np.round(base + (step + 1) * wide_of),
    )
    return _marked(np.repeat(owner, parts), left, right, "")


def frame_sha256(cells: pd.DataFrame, columns: list[str]) -> str:
    """Return a digest of the cells: the same cells in the same order, the same digest."""
    text = cells[columns].to_csv(index=False, float_format="%.6f", lineterminator="\n")
    return hashlib.sha256(text.encode()).hexdigest()
