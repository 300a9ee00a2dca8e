"""Strip pictures as text: a joint, or all joints of a zone, to one scale, in plain characters."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.report.formatting import plain
from ndtstats.report.marks import MARKS, row_label

#: How each mark is written; what nobody looked at is a dot.
CHARACTERS: dict[str, str] = {
    "not done": "-",
    "re-shoot": "~",
    "owed": "+",
    "planned": "o",
    "accepted": "=",
    "repaired": "r",
    "rejected": "X",
    "found": "!",
}
_MEANINGS = {
    "repaired": "repaired and accepted",
    "found": "rejectable indication",
}
_NOTHING = "."

#: Longest name that stands beside a strip in full, and the least room that a strip has.
_LONGEST, _NARROWEST = 20, 20
#: Characters between two figures on the scale.
_APART = 10
#: A character is so many mm, times a power of ten: one can count along the strip.
_ROUND = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)

Grid = npt.NDArray[np.int64]


def joint_text(length_mm: float, marks: pd.DataFrame, *, width: int) -> str:
    """Return the picture of one joint: a row for each method and round.

    Parameters
    ----------
    length_mm : float
        Length of the joint.
    marks : DataFrame
        As :func:`ndtstats.report.marks.marks_of` gives them, of that joint.
    width : int
        Characters in a line.

    Returns
    -------
    str
        Lines parted by line ends: the scale, the rows, the legend. A character shows what fills
        most of its stretch; a mark shorter than that still gets one.

    Examples
    --------
    >>> marks = pd.DataFrame({"method": ["RT", "RT", "UT"], "round": 0,
    ...     "from_mm": [0.0, 250.0, 600.0], "to_mm": [200.0, 350.0, 1000.0],
    ...     "mark": ["accepted", "found", "planned"]})
    >>> print(joint_text(1000.0, marks, width=24))
    mm  0         500
        |         |
    RT  ====.!!.............
    UT  ............oooooooo
    One character is 50 mm: o planned; = accepted; ! rejectable indication; . not examined.
    """
    labels = row_label(marks)
    order = marks.assign(label=labels).sort_values(["method", "round"], kind="stable")
    # What is owed has no method; it stands below the others.
    names = [name for name in order["label"].unique() if name != "owed"]
    names += ["owed"] * ("owed" in set(labels))
    names = names or [""]
    rows = pd.Series(range(len(names)), index=names, dtype="int64")
    lengths = pd.Series(length_mm, index=names, dtype="float64")
    return _picture(lengths, marks, labels.map(rows), width)


def zone_text(lengths_mm: "pd.Series[float]", marks: pd.DataFrame, *, width: int) -> str:
    """Return the picture of several joints to one scale: a row for each.

    Parameters
    ----------
    lengths_mm : Series
        Length of each joint by its name, in the order in which they are shown.
    marks : DataFrame
        As :func:`ndtstats.report.marks.marks_of` gives them, of those joints.
    width : int
        Characters in a line.

    Returns
    -------
    str
        As :func:`joint_text`. Methods and rounds share a row: where a reject was repaired and
        accepted in a later round the row says so, else the mark that matters most is seen.

    Examples
    --------
    >>> lengths = pd.Series({"B-1": 1000.0, "B-2": 600.0})
    >>> marks = pd.DataFrame({"joint": ["B-1", "B-1", "B-2"], "method": "RT", "round": [0, 1, 0],
    ...     "from_mm": [0.0, 0.0, 300.0], "to_mm": [200.0, 200.0, 600.0],
    ...     "mark": ["rejected", "accepted", "accepted"]})
    >>> print(zone_text(lengths, marks, width=25))
    mm   0         500
         |         |
    B-1  rrrr................
    B-2  ......======
    One character is 50 mm: = accepted; r repaired and accepted; . not examined.
    """
    rows = pd.Series(range(len(lengths_mm)), index=lengths_mm.index, dtype="int64")
    return _picture(lengths_mm, marks, marks["joint"].map(rows), width)


def _picture(
    lengths_mm: "pd.Series[float]", marks: pd.DataFrame, rows: "pd.Series[int]", width: int
) -> str:
    names = [_short(str(name)) for name in lengths_mm.index]
    label = max([len(name) for name in [*names, "mm"]]) + 2
    longest = float(lengths_mm.max()) if len(lengths_mm) else 1.0
    each_mm = _at_least(longest / max(width - label, _NARROWEST), _ROUND)
    wide = np.maximum(np.rint(lengths_mm.to_numpy(float) / each_mm), 1).astype(int)
    columns = int(wide.max(initial=1))
    grid = _painted(marks, rows.to_numpy(), (len(names), columns), each_mm)
    letters = np.array([_NOTHING, *(CHARACTERS[mark] for mark in MARKS)])
    lines = [
        name.ljust(label) + "".join(letters[row[:end]])
        for name, row, end in zip(names, grid, wide, strict=True)
    ]
    return "\n".join([*_scale(columns, each_mm, label), *lines, _legend(grid, each_mm)])


def _painted(marks: pd.DataFrame, rows: Any, shape: tuple[int, int], each_mm: float) -> Grid:
    """Return by row and column which mark is seen: 0 for none, else its place in MARKS plus 1."""
    keys = pd.DataFrame({"row": rows, "method": marks["method"].to_numpy()})
    layer, of = pd.factorize(pd.MultiIndex.from_frame(keys))
    low = marks["from_mm"].to_numpy(float) / each_mm
    high = marks["to_mm"].to_numpy(float) / each_mm
    # A character belongs to what covers its middle; so neighbours never share one.
    first = np.clip(np.ceil(low - 0.5), 0, shape[1]).astype(int)
    end = np.clip(np.ceil(high - 0.5), 0, shape[1]).astype(int)
    small = first >= end
    first[small] = np.clip((low + high)[small] / 2, 0, shape[1] - 1).astype(int)
    end[small] = first[small] + 1
    seen = np.zeros((len(of), shape[1]), dtype=np.int64)
    for number in np.unique(marks["round"]):
        before = seen.copy()
        for code, mark in enumerate(MARKS, 1):
            mine = ((marks["round"] == number) & (marks["mark"] == mark)).to_numpy()
            if mine.any():
                there = _covered(layer[mine], first[mine], end[mine], seen.shape)
                seen = np.where(there, _met(seen, before, code), seen)
    grid = np.zeros(shape, dtype=np.int64)
    np.maximum.at(grid, of.get_level_values(0).to_numpy(dtype=int), seen)
    return grid


def _met(seen: Grid, before: Grid, code: int) -> Grid:
    """Return what is seen where a mark meets what stands there from this round and ``before``."""
    rejected = MARKS.index("rejected") + 1
    met = np.maximum(seen, code)
    if MARKS[code - 1] != "accepted":
        return met
    return np.where(before >= rejected, MARKS.index("repaired") + 1, met)


def _covered(layer: Any, first: Any, end: Any, shape: tuple[int, int]) -> npt.NDArray[np.bool_]:
    edges = np.zeros((shape[0], shape[1] + 1), dtype=np.int64)
    np.add.at(edges, (layer, first), 1)
    np.add.at(edges, (layer, end), -1)
    covered: npt.NDArray[np.bool_] = np.cumsum(edges[:, :-1], axis=1) > 0
    return covered


def _scale(columns: int, each_mm: float, label: int) -> tuple[str, str]:
    """Return the two lines of the scale: figures, and where exactly they stand."""
    step = _at_least(_APART * each_mm, (1.0, 2.0, 5.0, 10.0))
    ticks = np.arange(0, columns * each_mm, step)
    at = np.rint(ticks / each_mm).astype(int)
    figures, strokes = [" "] * columns, [" "] * columns
    for column, tick in zip(at, ticks, strict=True):
        text = f"{tick:,.0f}"
        if column + len(text) <= columns:
            figures[column : column + len(text)] = text
            strokes[column] = "|"
    return "mm".ljust(label) + "".join(figures).rstrip(), (" " * label + "".join(strokes)).rstrip()


def _at_least(value: float, factors: tuple[float, ...]) -> float:
    """Return the least of some factors times a power of ten that is not below a value."""
    power = float(10.0 ** np.floor(np.log10(value)))
    return power * next(factor for factor in factors if factor * power >= value * (1 - 1e-9))


def _legend(grid: Grid, each_mm: float) -> str:
    used = [mark for code, mark in enumerate(MARKS, 1) if (grid == code).any()]
    order = sorted(used, key=list(CHARACTERS).index)
    told = [f"{CHARACTERS[mark]} {_MEANINGS.get(mark, mark)}" for mark in order]
    told.append(f"{_NOTHING} not examined")
    return f"One character is {each_mm:,.3g} mm: " + "; ".join(told) + "."


def _short(name: str) -> str:
    """Return a name that fits beside a strip, and cannot steer the terminal."""
    safe = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in plain(name))
    return safe if len(safe) <= _LONGEST else safe[: _LONGEST - 1] + "…"
