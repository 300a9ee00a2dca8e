"""Joints cut where anything on them begins or ends, so that each stretch has one history."""

from typing import Any, NamedTuple

import numpy as np
import pandas as pd


class Cut(NamedTuple):
    """Stretches of joints, and which marks cover each.

    Attributes
    ----------
    stretches : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``: together they are each joint from 0 to its end,
        and no mark begins or ends within one.
    pairs : DataFrame
        Columns ``stretch`` and ``mark``, labels of a stretch and of a mark that covers it.
    """

    stretches: pd.DataFrame
    pairs: pd.DataFrame


def cut_at(joints: pd.DataFrame, marks: pd.DataFrame) -> Cut:
    """Cut joints at both ends of every mark.

    Parameters
    ----------
    joints : DataFrame
        Columns ``joint`` (each once) and ``length_mm``.
    marks : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, a unique index; a blank place reaches to the end
        of its joint, and what lies beyond is left out, as are marks on other joints.

    Examples
    --------
    >>> joints = pd.DataFrame({"joint": ["F-1"], "length_mm": [900.0]})
    >>> marks = pd.DataFrame({"joint": ["F-1"], "from_mm": [300.0], "to_mm": [None]})
    >>> cut = cut_at(joints, marks)
    >>> cut.stretches["to_mm"].tolist(), cut.pairs.to_numpy().tolist()
    ([300.0, 900.0], [[1, 0]])
    """
    placed = _placed(joints, marks)
    ends = [
        joints.assign(place=0.0),
        joints.assign(place=joints["length_mm"]),
        placed.assign(place=placed["from_mm"]),
        placed.assign(place=placed["to_mm"]),
    ]
    points = pd.concat([part[["joint", "place"]] for part in ends], ignore_index=True)
    order = pd.Series(range(len(joints)), joints["joint"])
    points = points.drop_duplicates().assign(order=lambda rows: rows["joint"].map(order))
    points = points.sort_values(["order", "place"], ignore_index=True)
    to_mm = points["place"].shift(-1).where(points["joint"] == points["joint"].shift(-1))
    stretches = pd.DataFrame(
        {"joint": points["joint"], "from_mm": points["place"], "to_mm": to_mm}
    ).dropna(subset="to_mm")
    return Cut(stretches, _covered(points, placed))


def _placed(joints: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """Return the marks that lie on a joint, with their blank places filled in."""
    length = marks["joint"].map(joints.set_index("joint")["length_mm"])
    low = marks["from_mm"].astype("float64").fillna(0.0).clip(lower=0.0)
    high = marks["to_mm"].astype("float64").fillna(length).clip(upper=length)
    placed = pd.DataFrame({"joint": marks["joint"], "from_mm": low, "to_mm": high})
    return placed[high > low]


def _covered(points: pd.DataFrame, placed: pd.DataFrame) -> pd.DataFrame:
    """Return each pair of a mark and a stretch that it covers; a stretch has its start's number."""
    # The places are the very numbers that were put in, so that they can be found again.
    at = pd.MultiIndex.from_frame(points[["joint", "place"]])
    first = at.get_indexer(pd.MultiIndex.from_frame(placed[["joint", "from_mm"]]))
    behind = at.get_indexer(pd.MultiIndex.from_frame(placed[["joint", "to_mm"]]))
    count = behind - first
    start = np.repeat(first - np.concatenate([[0], np.cumsum(count)[:-1]]), count)
    stretch: Any = start + np.arange(count.sum())
    return pd.DataFrame({"stretch": stretch, "mark": np.repeat(placed.index.to_numpy(), count)})
