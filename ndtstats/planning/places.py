"""Places along welds: blank bounds filled in, and which share some of their length with others."""

from typing import Any

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
    pairs = cells.reset_index(names="cell").merge(
        taken[[*keys, "from_mm", "to_mm"]], on=keys, suffixes=("", "_taken")
    )
    shared = (pairs["from_mm"] < pairs["to_mm_taken"]) & (pairs["to_mm"] > pairs["from_mm_taken"])
    return cells.index.isin(pairs.loc[shared, "cell"])


def filled_places(examinations: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    """Return examinations with blank places filled in: from the datum, to the joint's end.

    Parameters
    ----------
    examinations : DataFrame
        Columns ``job``, ``joint``, ``from_mm``, ``to_mm``.
    joints : DataFrame
        Columns ``job``, ``joint``, ``length_mm``.
    """
    length = examinations[["job", "joint"]].merge(
        joints[["job", "joint", "length_mm"]], on=["job", "joint"], how="left"
    )["length_mm"]
    return examinations.assign(
        from_mm=examinations["from_mm"].fillna(0.0),
        to_mm=examinations["to_mm"].fillna(length.set_axis(examinations.index)),
    )
