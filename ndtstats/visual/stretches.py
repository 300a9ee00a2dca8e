"""Joints cut where anything on them begins or ends, so that each stretch has one history."""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

_Floats = npt.NDArray[np.float64]
_Ints = npt.NDArray[np.int64]


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
    length = joints["length_mm"].to_numpy(float)
    of, low, high, kept = _placed(joints["joint"], length, marks)
    every = np.arange(len(joints))
    number, joint, place = _numbered(
        np.concatenate([every, every, of, of]),
        np.concatenate([np.zeros(len(joints)), length, low, high]),
    )
    inner = np.append(joint[1:] == joint[:-1], np.zeros(min(len(joint), 1), dtype=bool))
    stretches = pd.DataFrame(
        {
            "joint": joints["joint"].take(joint[inner]).to_numpy(),
            "from_mm": place[inner],
            "to_mm": np.roll(place, -1)[inner],
        },
        index=np.flatnonzero(inner),
    )
    first, behind = np.split(number[2 * len(joints) :], 2)
    return Cut(stretches, _covered(first, behind, marks.index.to_numpy()[kept]))


def _placed(
    names: "pd.Series[Any]", length: _Floats, marks: pd.DataFrame
) -> tuple[_Ints, _Floats, _Floats, Any]:
    """Return joint, start and end of the marks that lie on a joint, and which those are."""
    joint = pd.Index(names).get_indexer(pd.Index(marks["joint"]))
    low = marks["from_mm"].to_numpy(float, na_value=np.nan)
    high = marks["to_mm"].to_numpy(float, na_value=np.nan)
    end = np.append(length, np.nan)[joint]
    low = np.maximum(np.where(np.isnan(low), 0.0, low), 0.0)
    high = np.minimum(np.where(np.isnan(high), end, high), end)
    kept = (joint >= 0) & (high > low)
    return joint[kept].astype(np.int64), low[kept], high[kept], kept


def _numbered(joint: _Ints, place: _Floats) -> tuple[_Ints, _Ints, _Floats]:
    """Return for each point its number along the joints, and the points by number."""
    order = np.lexsort((place, joint))
    new = np.ones(len(order), dtype=bool)
    along, at = joint[order], place[order]
    new[1:] = (along[1:] != along[:-1]) | (at[1:] != at[:-1])
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.cumsum(new) - 1
    return number, along[new], at[new]


def _covered(first: _Ints, behind: _Ints, labels: Any) -> pd.DataFrame:
    """Return each pair of a mark and a stretch that it covers; a stretch has its start's number."""
    count = behind - first
    start = np.repeat(first - np.cumsum(count) + count, count)
    stretch = start + np.arange(len(start))
    return pd.DataFrame({"stretch": stretch, "mark": np.repeat(labels, count)})
