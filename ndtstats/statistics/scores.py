"""Counts as standard scores, so that months of unlike size can stand in one series."""

from typing import Any

import numpy as np
import numpy.typing as npt


def binomial_scores(count: Any, number: Any, rate: float) -> npt.NDArray[np.float64]:
    """Return how far out each count is, as the normal score of its exact probability.

    Parameters
    ----------
    count, number : array_like of shape (n,)
        Rejected of examined; with nothing examined the score is 0, for nothing is known.
    rate : float
        What is usual, above 0 and below 1.

    Notes
    -----
    Quesenberry 1991, J. Qual. Technol. 23:239 (from memory), with half the probability of the
    count itself (mid-P, Lancaster 1961, JASA 56:223), so that the mean stays near 0 where counts
    are few. A reject among two spots weighs what chance makes of it, and no more. Checked against
    :data:`scipy.stats.binom`.

    Examples
    --------
    >>> binomial_scores([1, 1, 0], [2, 20, 0], 0.05).round(2).tolist()
    [1.64, 0.12, 0.0]
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    k, n = np.asarray(count, float), np.asarray(number, np.int64)
    before = np.maximum(k - 1, 0)
    fewer = np.where(k > 0, special.bdtr(before, n, rate), 0.0)
    no_less = np.where(k > 0, special.bdtrc(before, n, rate), 1.0)
    low = (fewer + special.bdtr(k, n, rate)) / 2
    high = (no_less + special.bdtrc(k, n, rate)) / 2
    # The smaller tail is the exact one; it stays above 0, so that the score stays a number.
    far = -special.ndtri(np.maximum(np.minimum(low, high), np.finfo(float).tiny))
    return np.asarray(np.where(n > 0, np.where(low < high, -far, far), 0.0), float)
