"""Places along welds that share some of their length with others."""

from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd


def touched(cells: pd.DataFrame, taken: pd.DataFrame, *, by: str = "method") -> Any:
    """Return which cells share some length with a place that is taken.

    Parameters
    ----------
    cells, taken : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm`` and the one named by ``by``.
    by : str
        Places are compared only where they agree in this, such as the method.

    Examples
    --------
    >>> cells = pd.DataFrame({"joint": "B-1", "method": "RT", "from_mm": [0.0, 300.0],
    ...                       "to_mm": [300.0, 600.0]})
    >>> touched(cells, cells.assign(from_mm=250.0, to_mm=300.0).head(1)).tolist()
    [True, False]
    """
    keys = ["joint", by]
    taken = taken.dropna(subset=["from_mm", "to_mm"])
    both = pd.concat([cells[keys], taken[keys]], ignore_index=True)
    group = both.groupby(keys, sort=False, dropna=False).ngroup().to_numpy()
    mine, theirs = group[: len(cells)], group[len(cells) :]
    # Of the places that begin before a cell ends, all but those that end before it begins. That is
    # counted over the joints before as well, where both are all there is.
    begun = _before(theirs, taken["from_mm"], mine, cells["to_mm"], side="left")
    ended = _before(theirs, taken["to_mm"], mine, cells["from_mm"], side="right")
    return begun > ended


def _before(group: Any, at: Any, mine: Any, place: Any, *, side: Literal["left", "right"]) -> Any:
    """Return how many points lie before each place; those of lower groups all do."""
    points = np.sort(_ordered(group, at))
    return np.searchsorted(points, _ordered(mine, place), side=side)


def _ordered(group: Any, at: Any) -> npt.NDArray[np.complex128]:
    """Return points as numbers that sort by group, then by place: numpy sorts complex ones so."""
    points = np.empty(len(group), dtype=np.complex128)
    points.real, points.imag = group, at
    return points
