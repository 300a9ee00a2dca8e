"""The chance that an examination finds no more than so many: the model behind every plan.

A lot is a *stream* (``lot=None``: each place is bad with the rate, independently of the others;
binomial) or *finite* (so many of so many are bad, drawn without replacement; hypergeometric).
An examination may miss what is there and call what is not.
"""

from typing import Any

import numpy as np

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance.arguments import CountArray, FloatArray, counts, shares


def bad_in_lot(rate: Any, lot: Any) -> CountArray:
    """Return the smallest whole number of bad places that is at least ``rate`` of the lot.

    Parameters
    ----------
    rate : array_like
        Share that is bad, 0 to 1.
    lot : array_like
        Places in the lot, whole, 1 or more.

    Examples
    --------
    >>> bad_in_lot([0.0, 0.05, 0.1], [100, 90, 30]).tolist()
    [0, 5, 3]
    """
    product = shares(rate, "rate") * counts(lot, "lot", least=1)
    # 0.1 x 30 is 3.0000000000000004 in floating point, and means 3.
    return np.asarray(np.ceil(product * (1 - 1e-12)), np.int64)


def accept_probability(
    rate: Any,
    examined: Any,
    allowed: Any = 0,
    *,
    lot: Any = None,
    detection: Any = 1.0,
    false_call: Any = 0.0,
) -> FloatArray:
    """Return the chance that an examination rejects no more than allowed: the OC curve.

    Parameters
    ----------
    rate : array_like
        True share that is bad, 0 to 1. In a finite lot it stands for :func:`bad_in_lot` places.
    examined, allowed : array_like
        Places examined, chosen by chance, and the rejects among them with which the work passes.
    lot : array_like, optional
        Places in the lot, at least those examined; None: a stream without end.
    detection : array_like
        Probability that a bad place is found when it is examined, 0 to 1.
    false_call : array_like
        Probability that a sound place is rejected when it is examined, 0 to 1.

    Returns
    -------
    ndarray of float
        Probabilities of the broadcast shape. With ``allowed=0``: the chance of seeing nothing.

    Raises
    ------
    UseError
        If a share or a number is impossible, or more is examined than the lot has.

    Notes
    -----
    The stream is the type B curve and the finite lot the type A curve of acceptance sampling
    (Dodge & Romig 1929; Schilling & Neubauer 2017). With misses and false calls the rejects are
    the sum of Bin(x, detection) and Bin(examined - x, false_call), x bad places being among those
    examined (Cameron & Baldock 1998, Prev. Vet. Med. 34:1, eq. for a finite herd); x is summed
    over, so the result is exact.

    Checked against the NIST/SEMATECH e-Handbook 6.2.3.2, Montgomery ch. 15, Kiermeier 2008, and
    for misses and false calls the examples of Cameron & Baldock 1998.

    Examples
    --------
    Five of 100 welds are bad; five or ten are examined. Mostly, nothing is seen.

    >>> accept_probability(0.05, [5, 10], lot=100).round(2).tolist()
    [0.77, 0.58]
    """
    p, found = shares(rate, "rate"), shares(detection, "detection")
    n, c = counts(examined, "examined"), counts(allowed, "allowed")
    false = shares(false_call, "false calls")
    if lot is None:
        from scipy import special  # noqa: PLC0415  (slow to import)

        called = p * found + (1 - p) * false
        fewer = special.betaincc(c + 1.0, np.maximum(n - c, 1.0), called)
        return np.asarray(np.where(c < n, fewer, 1.0), float)
    size = counts(lot, "lot", least=1)
    if np.any(n > size):
        many, few = (int(a[n > size].flat[0]) for a in np.broadcast_arrays(n, size))
        raise UseError(f"{many} cannot be examined in a lot of {few}")
    bad = bad_in_lot(p, size)
    if np.all(found == 1) and np.all(false == 0):
        from scipy import stats  # noqa: PLC0415  (slow to import, and only finite lots need it)

        return np.asarray(stats.hypergeom.cdf(c, size, bad, n), float)
    c, n, size, bad, found, false = np.broadcast_arrays(c, n, size, bad, found, false)
    return _with_misses(c, n, size, bad, found, false)


def _with_misses(
    c: CountArray,
    n: CountArray,
    size: CountArray,
    bad: CountArray,
    found: FloatArray,
    false: FloatArray,
) -> FloatArray:
    """Sum over x, the bad places among those examined, along a last axis of its own."""
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    x = _bad_examined(n, size, bad)
    c, n, size, bad = (a[..., None] for a in (c, n, size, bad))
    found, false = found[..., None], false[..., None]
    weight = stats.hypergeom.pmf(x, size, bad, n)
    if np.all(false == 0):
        return np.asarray(np.sum(weight * stats.binom.cdf(c, x, found), axis=-1), float)
    sound = np.maximum(n - x, 0)  # beyond the support the weight is 0; any number will do
    at_most = np.zeros(x.shape)
    for true_calls in range(int(c.max(initial=0)) + 1):
        at_most += stats.binom.pmf(true_calls, x, found) * stats.binom.cdf(
            c - true_calls, sound, false
        )
    return np.asarray(np.sum(weight * at_most, axis=-1), float)


def _bad_examined(n: CountArray, size: CountArray, bad: CountArray) -> CountArray:
    """Return, on a last axis, every number of bad places among those examined that matters.

    Numbers further than 12 standard deviations and 40 from the mean have a probability below
    1e-25 together (Bernstein's inequality, valid without replacement: Hoeffding 1963, sect. 6).
    """
    mean = n * bad / size
    spread = np.sqrt(mean * (1 - bad / size))
    reach = 12 * spread + 40
    first = np.maximum(0, np.floor(mean - reach)).astype(np.int64)
    last = np.minimum(np.minimum(n, bad), np.ceil(mean + reach)).astype(np.int64)
    width = int(np.max(last - first, initial=0)) + 1
    return np.asarray(first[..., None] + np.arange(width), np.int64)
