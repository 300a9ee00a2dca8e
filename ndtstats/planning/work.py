"""Who welded a cell, and whether it is somebody's first work: from the deposits of the register."""

from typing import Any

import numpy as np
import pandas as pd


def welders_of(cells: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return who welded each cell: one row for each cell and welder, with the length they share.

    Parameters
    ----------
    cells : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``; the index names the cell.
    deposits : DataFrame
        Columns ``joint``, ``welder``, ``from_mm``, ``to_mm``; blank bounds mean the whole joint.

    Returns
    -------
    DataFrame
        Columns ``cell``, ``welder``, ``length_mm``. A cell nobody is known to have welded has none.
    """
    made = deposits[["joint", "welder", "from_mm", "to_mm"]].drop_duplicates()
    pairs = (
        cells[["joint", "from_mm", "to_mm"]]
        .reset_index(names="cell")
        .merge(made, on="joint", suffixes=("", "_deposit"))
    )
    low = np.maximum(pairs["from_mm"], pairs["from_mm_deposit"].fillna(0.0))
    high = np.minimum(pairs["to_mm"], pairs["to_mm_deposit"].fillna(np.inf))
    shared = pairs.assign(length_mm=high - low)
    shared = shared[shared["length_mm"] > 0]
    # Root and cap by one welder are one piece of his work.
    return shared.groupby(["cell", "welder"], as_index=False).agg(length_mm=("length_mm", "max"))


def leading_welder(cells: pd.DataFrame, deposits: pd.DataFrame) -> Any:
    """Return under whose name each cell is drawn, "" where nobody is known.

    Of several welders of a cell it is the one with the least work in all: so that his work, which
    is hard to find elsewhere, has cells of its own to be drawn from.
    """
    parts = welders_of(cells, deposits)
    in_all = parts.groupby("welder")["length_mm"].transform("sum")
    ranked = parts.assign(in_all=in_all).sort_values(["cell", "in_all", "welder"])
    first = ranked.drop_duplicates("cell").set_index("cell")["welder"]
    return first.reindex(cells.index).astype("str").fillna("")


def first_joints(deposits: pd.DataFrame, of: str, number: int) -> pd.DataFrame:
    """Return the first joints of each welder or procedure, in the order in which they were welded.

    Parameters
    ----------
    deposits : DataFrame
        Columns ``joint``, ``date`` and the one named by ``of``.
    of : {"welder", "procedure"}
        Whose first joints.
    number : int
        How many of them.

    Returns
    -------
    DataFrame
        Columns ``joint`` and ``of``.
    """
    known = deposits[deposits[of].notna()]
    begun = known.groupby([of, "joint"], as_index=False).agg(date=("date", "min"))
    begun = begun.sort_values([of, "date", "joint"])
    return begun[begun.groupby(of).cumcount() < number][["joint", of]]
