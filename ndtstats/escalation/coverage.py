"""Which examinations cover a place, how much of it, and what of it they leave."""

import numpy as np
import pandas as pd

from ndtstats.statistics import union_intervals, union_length


def overlaps(places: pd.DataFrame, looked: pd.DataFrame) -> pd.DataFrame:
    """Return what each place shares with each examination of its joint.

    Parameters
    ----------
    places : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``; the index names the place. Of other columns, none
        may be named as one of ``looked`` is.
    looked : DataFrame
        Columns ``joint``, ``low_mm``, ``high_mm``, and what else is to come along.

    Returns
    -------
    DataFrame
        ``place`` (the index), ``start_mm`` and ``end_mm`` of what is shared, and the columns of
        both; only where something is.
    """
    pairs = places.rename_axis("place").reset_index().merge(looked, on="joint")
    start = np.maximum(pairs["from_mm"], pairs["low_mm"])
    end = np.minimum(pairs["to_mm"], pairs["high_mm"])
    pairs = pairs.assign(start_mm=start, end_mm=end)
    return pairs[end > start]


def covered_mm(places: pd.DataFrame, shared: pd.DataFrame) -> "pd.Series[float]":
    """Return the length of each place that is covered, from what :func:`overlaps` gave."""
    length = union_length(shared["place"], shared["start_mm"], shared["end_mm"])
    return length.reindex(places.index, fill_value=0.0)


def named_in_order(shared: pd.DataFrame, places: pd.DataFrame) -> "pd.Series[str]":
    """Return the examinations that share something with each place, by ``order``, "" if none."""
    ordered = shared.sort_values("order").drop_duplicates(["place", "ref"])
    several = ordered["place"].duplicated(keep=False)
    names: pd.Series[str] = pd.concat(
        [
            ordered[~several].set_index("place")["ref"],
            ordered[several].groupby("place")["ref"].agg("; ".join),
        ]
    )
    return names.astype(object).reindex(places.index).fillna("").astype("str")


def gaps(places: pd.DataFrame, looked: pd.DataFrame, *, least_mm: float) -> pd.DataFrame:
    """Return what examinations leave of places that do not overlap.

    Parameters
    ----------
    places : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``; those that touch are taken together.
    looked : DataFrame
        Columns ``joint``, ``low_mm``, ``high_mm``.
    least_mm : float
        Anything shorter is not worth telling.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``.

    Examples
    --------
    >>> weld = pd.DataFrame({"joint": ["B-1"], "from_mm": [0.0], "to_mm": [1000.0]})
    >>> films = pd.DataFrame({"joint": ["B-1", "B-1"], "low_mm": [0.0, 600.0],
    ...                       "high_mm": [300.0, 900.0]})
    >>> gaps(weld, films, least_mm=25.0)
      joint  from_mm   to_mm
    0   B-1    300.0   600.0
    1   B-1    900.0  1000.0
    """
    whole = union_intervals(places["joint"], places["from_mm"], places["to_mm"])
    whole = whole.set_axis(["joint", "from_mm", "to_mm"], axis=1)
    shared = overlaps(whole, looked)
    seen = union_intervals(shared["place"], shared["start_mm"], shared["end_mm"])
    # A stretch with k covered pieces has k + 1 gaps: from its start or the end of a piece to the
    # start of the next piece or its own end. Both rows in order, they pair off.
    starts = pd.concat(
        [
            pd.DataFrame({"place": whole.index, "at": whole["from_mm"]}),
            pd.DataFrame({"place": seen["group"], "at": seen["end"]}),
        ]
    ).sort_values(["place", "at"])
    ends = pd.concat(
        [
            pd.DataFrame({"place": seen["group"], "at": seen["start"]}),
            pd.DataFrame({"place": whole.index, "at": whole["to_mm"]}),
        ]
    ).sort_values(["place", "at"])
    place = starts["place"].to_numpy(dtype=np.int64)
    left = pd.DataFrame(
        {
            "joint": whole["joint"].to_numpy()[place],
            "from_mm": starts["at"].to_numpy(float),
            "to_mm": ends["at"].to_numpy(float),
        }
    )
    return left[left["to_mm"] - left["from_mm"] >= least_mm].reset_index(drop=True)
