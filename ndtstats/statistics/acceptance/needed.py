"""How many to examine to show that a rate is below a limit."""

from typing import Any

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance.arguments import TIE, CountArray, FloatArray, counts, shares
from ndtstats.statistics.acceptance.chance import accept_probability, bad_in_lot
from ndtstats.statistics.acceptance.search import Short, least_enough

#: More than any yard will ever examine, and still exact as a whole number in floating point.
MOST = 2**52


def examinations_needed(
    rate: Any,
    confidence: Any = 0.95,
    *,
    allowed: Any = 0,
    lot: Any = None,
    detection: Any = 1.0,
) -> CountArray:
    """Return the least number to examine so that passing shows the rate to be below ``rate``.

    If no more than ``allowed`` of them are rejected, then with the confidence asked for the true
    rate is below ``rate``: work as bad as that would have passed with a chance of at most
    1 - confidence.

    Parameters
    ----------
    rate : array_like
        The rate to be excluded, 0 < rate < 1. In a finite lot: the least whole number of bad
        places that is at least this share, see :func:`bad_in_lot`.
    confidence : array_like
        Confidence, 0 < confidence < 1.
    allowed : array_like
        Rejects with which the work still passes.
    lot : array_like, optional
        Places in the lot; None: a stream without end.
    detection : array_like
        Probability that a bad place is found when examined, 0 < detection <= 1.

    Returns
    -------
    ndarray of int64
        Numbers of the broadcast shape.

    Raises
    ------
    UseError
        If an argument is impossible, or not even the whole lot would be enough: because as many
        bad places are allowed as are to be excluded, or because the method misses too many.

    Notes
    -----
    Without allowed rejects and with a method that finds all: the success-run rule
    n = ln(1 - confidence) / ln(1 - rate); in a finite lot the exact number that Cannon & Roe 1982
    approximate. With misses the exact probability of Cameron & Baldock 1998 is used, not the
    division by the detection probability that is common practice and comes out too small.

    Checked against the success-run rule, the 29 of 29 and 45 of 46 demonstrations of a probability
    of detection, Cannon & Roe's table, and an enumeration for misses.

    Examples
    --------
    >>> examinations_needed(0.05, allowed=[0, 1]).tolist()
    [59, 93]
    >>> int(examinations_needed(0.05, lot=200)), int(examinations_needed(0.05, detection=0.8))
    (51, 74)
    """
    p = shares(rate, "rate", zero=False, one=False)
    risk = 1 - shares(confidence, "confidence", zero=False, one=False)
    c = counts(allowed, "allowed")
    found = shares(detection, "detection", zero=False)
    size = None if lot is None else counts(lot, "lot", least=1)

    def passes_too_often(n: CountArray) -> npt.NDArray[np.bool_]:
        chance = accept_probability(p, n, c, lot=size, detection=found)
        return np.asarray(chance > risk * (1 + TIE))

    shape = np.broadcast_shapes(*(a.shape for a in (p, risk, c, found, np.asarray(size))))
    least = np.broadcast_to(c + 1, shape)
    if size is None:
        return least_enough(passes_too_often, least, _far_enough(passes_too_often, least))
    _refuse_impossible(p, c, found, size, passes_too_often)
    return least_enough(passes_too_often, np.minimum(least, size), np.broadcast_to(size, shape))


def _refuse_impossible(
    p: FloatArray,
    c: CountArray,
    found: FloatArray,
    size: CountArray,
    passes_too_often: Short,
) -> None:
    hopeless = passes_too_often(size)
    if not np.any(hopeless):
        return
    chance = accept_probability(p, size, c, lot=size, detection=found)
    arrays = np.broadcast_arrays(bad_in_lot(p, size), c, size, chance, hopeless)
    bad, allowed, lot, passed = (a[arrays[-1]].flat[0] for a in arrays[:-1])
    if allowed >= bad:
        raise UseError(
            f"{allowed} allowed cannot exclude {bad} bad in a lot of {lot}; "
            "allow fewer, or exclude a higher rate"
        )
    raise UseError(
        f"even with the whole lot of {lot} examined, {bad} bad would pass with a chance of "
        f"{100 * passed:.3g} %; ask for less confidence, or exclude a higher rate"
    )


def _far_enough(passes_too_often: Short, least: CountArray) -> CountArray:
    """Return numbers that are enough, by doubling."""
    high = least.copy()
    while np.any(short := passes_too_often(high)):
        if np.any(high[short] >= MOST):
            raise UseError("so small a rate needs more examinations than can be counted")
        high = np.where(short, 2 * high, high)
    return high
