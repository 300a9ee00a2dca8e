"""Which spot an examination answers: by its request id, else by its place."""

import numpy as np
import pandas as pd

from ndtstats.numbers import numbered
from ndtstats.units import SLACK_MM

#: What an examination must agree in with the spot that it answers.
_WHERE = ["job", "joint", "method", "round"]

#: An examination that names no request answers a spot of which it shows at least this share; or all
#: of it, but for what a tape misses, if it was there before the spot was drawn.
LEAST_SHARE = 0.5


def match_examinations(examinations: pd.DataFrame, spots: pd.DataFrame) -> pd.DataFrame:
    """Return the spot that each examination answers.

    Parameters
    ----------
    examinations : DataFrame
        Columns ``id``, ``batch``, ``request``, ``job``, ``joint``, ``method``, ``round``,
        ``from_mm``, ``to_mm`` (both filled in: :func:`~ndtstats.places.filled_places`).
    spots : DataFrame
        Columns ``spot``, ``batch``, ``part``, ``job``, ``joint``, ``method``, ``round``,
        ``from_mm``, ``to_mm``.

    Returns
    -------
    DataFrame
        Columns ``examination`` (id), ``spot``, ``how`` ("request" or "place"). No examination
        stands twice, and one that answers none is left out. Several may answer one spot: a re-shoot
        and what replaced it, or two exposures side by side.

    Notes
    -----
    A request id counts where job, joint, method and round are those of its spot: a repair examined
    again under the old id does not answer the first examination, nor does another joint.

    Without one, an examination answers the spot of its joint, method and round with which it shares
    most, if that is at least half of the spot: common practice, no source. An examination that was
    in the register before the spot was drawn answers it only if it shows all of it, for what it
    does not show would never be asked for; an extra that a reject calls for it never answers.

    Examples
    --------
    >>> spots = pd.DataFrame({"spot": ["P1-0001"], "batch": [2], "part": ["random"],
    ...     "job": ["H1"], "joint": ["B-1"], "method": ["RT"], "round": [0], "from_mm": [0.0],
    ...     "to_mm": [300.0]})
    >>> done = pd.DataFrame({"id": [7], "batch": [3], "request": [None], "job": ["H1"],
    ...     "joint": ["B-1"], "method": ["RT"], "round": [0], "from_mm": [20.0], "to_mm": [320.0]})
    >>> match_examinations(done, spots)
       examination     spot    how
    0            7  P1-0001  place
    """
    named = examinations[["id", "request", *_WHERE]].astype({"request": "str"})
    named = named[named["request"].isin(spots["spot"])]
    by_request = named.merge(
        spots[["spot", *_WHERE]], left_on=["request", *_WHERE], right_on=["spot", *_WHERE]
    )
    by_place = _by_place(examinations[~examinations["id"].isin(by_request["id"])], spots)
    return pd.concat(
        [
            pd.DataFrame(
                {"examination": found["id"], "spot": found["spot"], "how": how}
            ).astype({"spot": "str", "how": "str"})
            for found, how in ((by_request, "request"), (by_place, "place"))
        ],
        ignore_index=True,
    )  # fmt: skip


def _by_place(examinations: pd.DataFrame, spots: pd.DataFrame) -> pd.DataFrame:
    """Return the examinations that share enough with a spot, each with the one it shares most."""
    pairs = shared_places(examinations, spots)
    length = pairs["to_mm_asked"] - pairs["from_mm_asked"]
    before = pairs["batch"] < pairs["batch_asked"]
    least = np.where(before, length - SLACK_MM, LEAST_SHARE * length)
    enough = (pairs["shared_mm"] >= least) & ~(before & (pairs["part"] == "extra"))
    best = pairs[enough].sort_values(["id", "shared_mm", "spot"], ascending=[True, False, True])
    return best.drop_duplicates("id")


def shared_places(examinations: pd.DataFrame, spots: pd.DataFrame) -> pd.DataFrame:
    """Return each examination beside each spot of its joint, method and round that it touches.

    Parameters as in :func:`match_examinations`.

    Returns
    -------
    DataFrame
        Columns ``id``, ``spot``, ``part``, ``from_mm``, ``to_mm``, ``batch``, the last three of the
        spot with ``_asked`` behind, and ``shared_mm``, the length that both have in common.
    """
    # Plans reach few of the joints, and names are slow to pair.
    needed = ["id", *_WHERE, "from_mm", "to_mm", "batch"]
    near = examinations[needed]
    near = near[near["joint"].isin(spots["joint"])]
    place, planned = numbered(near, spots, by=_WHERE)
    columns = ["spot", "part", "from_mm", "to_mm", "batch"]
    pairs = near.assign(place=place).merge(
        spots[columns].assign(place=planned), on="place", suffixes=("", "_asked")
    )
    low = np.maximum(pairs["from_mm"], pairs["from_mm_asked"])
    high = np.minimum(pairs["to_mm"], pairs["to_mm_asked"])
    return pairs.assign(shared_mm=high - low)[high > low]
