"""Places along welds that share some of their length with others."""

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
