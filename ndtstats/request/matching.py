"""Which spot an examination answers: by its request id, else by its place."""

import numpy as np
import pandas as pd


def match_examinations(examinations: pd.DataFrame, spots: pd.DataFrame) -> pd.DataFrame:
    """Return the spot that each examination answers.

    Parameters
    ----------
    examinations : DataFrame
        Columns ``id``, ``request``, ``job``, ``joint``, ``method``, ``round``, ``from_mm``,
        ``to_mm`` (both filled in).
    spots : DataFrame
        Columns ``spot``, ``job``, ``joint``, ``method``, ``round``, ``from_mm``, ``to_mm``.

    Returns
    -------
    DataFrame
        Columns ``examination`` (id), ``spot``, ``how`` ("request" or "place"); an examination that
        answers none is left out. Several may answer one spot: a re-shoot and what replaced it.

    Notes
    -----
    Without a request id an examination answers the spot of its joint, method and round with which
    it shares most, if that is at least half of the spot: common practice, no source.

    Examples
    --------
    >>> spots = pd.DataFrame({"spot": ["P1-0001"], "job": ["H1"], "joint": ["B-1"],
    ...     "method": ["RT"], "round": [0], "from_mm": [0.0], "to_mm": [300.0]})
    >>> done = pd.DataFrame({"id": [7], "request": [None], "job": ["H1"], "joint": ["B-1"],
    ...     "method": ["RT"], "round": [0], "from_mm": [20.0], "to_mm": [320.0]})
    >>> match_examinations(done, spots)
       examination     spot    how
    0            7  P1-0001  place
    """
    asked = examinations["request"].isin(spots["spot"])
    by_request = pd.DataFrame(
        {
            "examination": examinations.loc[asked, "id"],
            "spot": examinations.loc[asked, "request"],
            "how": "request",
        }
    )
    by_place = _by_place(examinations[~asked], spots)
    return pd.concat([by_request, by_place], ignore_index=True)


def _by_place(examinations: pd.DataFrame, spots: pd.DataFrame) -> pd.DataFrame:
    where = ["job", "joint", "method", "round"]
    mine = examinations[["id", *where, "from_mm", "to_mm"]]
    pairs = mine.merge(
        spots[["spot", *where, "from_mm", "to_mm"]], on=where, suffixes=("", "_asked")
    )
    low = np.maximum(pairs["from_mm"], pairs["from_mm_asked"])
    high = np.minimum(pairs["to_mm"], pairs["to_mm_asked"])
    shared = high - low
    pairs = pairs.assign(shared=shared)[
        shared >= 0.5 * (pairs["to_mm_asked"] - pairs["from_mm_asked"])
    ]
    best = pairs.sort_values(["id", "shared", "spot"], ascending=[True, False, True])
    best = best.drop_duplicates("id")
    return pd.DataFrame({"examination": best["id"], "spot": best["spot"], "how": "place"})


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
