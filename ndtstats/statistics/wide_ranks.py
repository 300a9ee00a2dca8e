"""How sure a rank is, with the prior as uncertain as the groups leave it."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.statistics.proportions import tail_probability
from ndtstats.statistics.wide_shrinkage import LikelyShares, likely_shares


def ranks_widely(
    count: Any,
    number: Any,
    *,
    seed: int,
    priors: LikelyShares | None = None,
    level: float = 0.95,
    replicates: int = 10_000,
) -> pd.DataFrame:
    """Return how sure the rank of the proportion of each group is: 1 is the highest.

    Parameters
    ----------
    count, number : array_like of shape (k,)
        Rejects of each group, and how many were examined.
    seed : int
        Of the simulation.
    priors : LikelyShares, optional
        How likely each beta prior is; left out, what these groups say.
    level : float
        Of the interval.
    replicates : int
        Draws of all groups at once.

    Returns
    -------
    DataFrame
        ``rank`` (expected), ``lower``, ``upper``, ``worst`` (probability of the highest rate).

    Raises
    ------
    UseError
        If nothing was examined in any group, or the level makes no sense.

    Notes
    -----
    Ranks of joint posterior draws (Laird & Louis 1989, from memory); each draws its prior first, as
    :func:`ndtstats.statistics.wide_shrinkage.shrunk_shares_widely` weighs them. Checked for two
    groups against the integral of one beta over the other.

    Examples
    --------
    >>> ranks_widely([0, 12], [40, 40], seed=1)["worst"].round(1).tolist()
    [0.0, 1.0]
    """
    tail = tail_probability(level, "two")
    k, n = np.asarray(count, float), np.asarray(number, float)
    known = likely_shares(k, n) if priors is None else priors
    rng = np.random.default_rng(seed)
    prior = rng.choice(len(known.weight), replicates, p=known.weight)
    share = rng.beta(known.a[prior][:, None] + k, known.b[prior][:, None] + n - k)
    rank = 1 + np.argsort(np.argsort(-share, axis=1), axis=1)
    lower, upper = np.quantile(rank, [tail, 1 - tail], axis=0, method="inverted_cdf")
    return pd.DataFrame(
        {
            "rank": rank.mean(axis=0),
            "lower": lower.astype(np.int64),
            "upper": upper.astype(np.int64),
            "worst": (rank == 1).mean(axis=0),
        }
    )
