"""Places along welds: blank bounds filled in, and who welded them."""

import numpy as np
import pandas as pd


def filled_places(examinations: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    """Return examinations with blank places filled in: from the datum, to the joint's end.

    Parameters
    ----------
    examinations : DataFrame
        Columns ``job``, ``joint``, ``from_mm``, ``to_mm``.
    joints : DataFrame
        Columns ``job``, ``joint``, ``length_mm``.
    """
    # Only those are looked up that need it: names of joints are slow to compare.
    blank = examinations["to_mm"].isna().to_numpy()
    length = (
        examinations.loc[blank, ["job", "joint"]]
        .merge(joints[["job", "joint", "length_mm"]], on=["job", "joint"], how="left")["length_mm"]
        .to_numpy(np.float64)
    )
    end = examinations["to_mm"].to_numpy(np.float64, copy=True)
    end[blank] = length
    return examinations.assign(from_mm=examinations["from_mm"].fillna(0.0), to_mm=end)


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
        Columns ``cell``, ``welder``, ``length_mm``, and ``shown``: whether the cell shows his work,
        because he welded half of it, or all of a deposit of his lies within it. A cell nobody is
        known to have welded has no row.
    """
    made = deposits[["joint", "welder", "from_mm", "to_mm"]].drop_duplicates()
    pairs = (
        cells[["joint", "from_mm", "to_mm"]]
        .reset_index(names="cell")
        .merge(made, on="joint", suffixes=("", "_deposit"))
    )
    low = np.maximum(pairs["from_mm"], pairs["from_mm_deposit"].fillna(0.0))
    high = np.minimum(pairs["to_mm"], pairs["to_mm_deposit"].fillna(np.inf))
    deposit = pairs["to_mm_deposit"].fillna(np.inf) - pairs["from_mm_deposit"].fillna(0.0)
    enough = np.minimum((pairs["to_mm"] - pairs["from_mm"]) / 2, deposit)
    shared = pairs.assign(length_mm=high - low, shown=high - low >= enough)
    shared = shared[shared["length_mm"] > 0]
    # Root and cap by one welder are one piece of his work.
    return shared.groupby(["cell", "welder"], as_index=False).agg(
        length_mm=("length_mm", "max"), shown=("shown", "any")
    )
