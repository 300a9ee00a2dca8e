"""Tolerance limits: a length that all but a few beads reach, and the share of them below a length.

For the beads of intermittent welds. Limits by order statistics hold whatever the lengths are
distributed like; those by mean and standard deviation need a normal distribution, and far fewer
beads (ISO 16269-6; Hahn & Meeker 1991, Statistical Intervals, ch. 4 and 5, from memory).
"""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError
from ndtstats.statistics.proportions import proportion_interval

_Floats = npt.NDArray[np.float64]


class ShareBelow(NamedTuple):
    """How many of some lengths are below what is specified, and bounds on the share of all."""

    below: int
    measured: int
    lower: float
    upper: float


def tolerance_factor(n: Any, share: Any, confidence: Any) -> _Floats:
    """Return k, such that mean - k s is passed by a share of a normal distribution, surely enough.

    Parameters
    ----------
    n : array_like
        Measured, 2 or more.
    share, confidence : array_like
        Share of all that lies above the limit, and how sure that is; between 0 and 1.

    Notes
    -----
    k = t'(confidence; n - 1, z √n) / √n, of the noncentral t distribution (ISO 16269-6; NIST/
    SEMATECH e-Handbook 7.2.6.3). Checked against the e-Handbook's example (the exact factor,
    not the approximation 1.8752 beside it) and recalled tables.

    Examples
    --------
    >>> round(float(tolerance_factor(43, 0.90, 0.99)), 4)
    1.874
    """
    from scipy import special, stats  # noqa: PLC0415  (slow to import, and few questions need it)

    size, part, sure = (np.asarray(value, float) for value in (n, share, confidence))
    _shares(part, sure)
    if not bool(np.all(size >= 2)):
        raise UseError("a tolerance limit by the standard deviation needs 2 measurements or more")
    root = np.sqrt(size)
    return np.asarray(stats.nct.ppf(sure, size - 1, special.ndtri(part) * root) / root, float)


def normal_lower_limit(lengths: Any, *, share: float, confidence: float) -> float:
    """Return the length that a share of all pass, if lengths are normally distributed.

    Parameters
    ----------
    lengths : array_like of shape (n,)
        Measured, in any unit.
    share, confidence : float
        As in :func:`tolerance_factor`.

    Notes
    -----
    As :func:`tolerance_factor`; checked by how many of simulated normal lengths pass it. With a
    tail of short ones a limit of 95 % confidence held in half of the samples only: look at the
    lengths first.

    Examples
    --------
    >>> round(normal_lower_limit([52.0, 49.0, 51.0, 55.0, 50.0], share=0.9, confidence=0.95), 2)
    43.56
    """
    known = _lengths(lengths)
    factor = float(tolerance_factor(max(len(known), 1), share, confidence))
    return float(known.mean() - factor * known.std(ddof=1))


def order_for_limit(n: Any, share: float, confidence: float) -> npt.NDArray[np.int64]:
    """Return which of n lengths, from the shortest, is a tolerance limit for any distribution.

    Parameters
    ----------
    n : array_like of int
        Measured.
    share, confidence : float
        As in :func:`tolerance_factor`.

    Returns
    -------
    ndarray of int
        1 for the shortest, and so on; 0 where too few were measured for any.

    Notes
    -----
    The r-th shortest is a limit if r or more of n lie below the quantile with the confidence asked
    (Wilks 1941, Ann. Math. Stat. 12:91; ISO 16269-6). Checked against the known sample sizes 59,
    93, 124, 153 and 181 for 95 % with 95 % confidence.

    Examples
    --------
    >>> order_for_limit([58, 59, 93], 0.95, 0.95).tolist()
    [0, 1, 2]
    """
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    size = np.asarray(n, np.int64)
    _shares(np.asarray(share, float), np.asarray(confidence, float))
    # P(r or more below) >= confidence: r - 1 is the last count of no more than 1 - confidence.
    first_over = np.asarray(stats.binom.ppf(1 - confidence, size, 1 - share)).astype(np.int64)
    exactly = stats.binom.cdf(first_over, size, 1 - share) <= (1 - confidence) * (1 + 1e-12)
    return np.asarray(np.where(exactly, first_over + 1, first_over), np.int64)


def lower_limit(lengths: Any, *, share: float, confidence: float) -> float:
    """Return the length that a share of all pass, whatever their distribution.

    Parameters
    ----------
    lengths : array_like of shape (n,)
        Measured, in any unit.
    share, confidence : float
        As in :func:`tolerance_factor`.

    Raises
    ------
    UseError
        If too few were measured for any limit.

    Notes
    -----
    As :func:`order_for_limit`; the confidence reached is checked by scipy's beta distribution.

    Examples
    --------
    >>> lower_limit(range(41, 141), share=0.95, confidence=0.95)
    42.0
    """
    known = np.sort(_lengths(lengths))
    order = int(order_for_limit(len(known), share, confidence))
    if order < 1:
        needed = int(np.ceil(np.log1p(-confidence) / np.log(share) - 1e-9))
        raise UseError(
            f"{len(known)} measured are too few for {100 * share:g} % with {100 * confidence:g} % "
            f"confidence whatever the distribution; measure {needed} or more"
        )
    return float(known[order - 1])


def share_below(lengths: Any, specified: float, *, level: float = 0.95) -> ShareBelow:
    """Return how many lengths are below the one specified, with exact bounds on the share of all.

    Parameters
    ----------
    lengths : array_like of shape (n,)
        Measured, in the unit of ``specified``.
    specified : float
        A length equal to it is long enough.
    level : float
        Confidence level of the two-sided bounds (Clopper & Pearson 1934).

    Notes
    -----
    Checked against scipy's exact interval.

    Examples
    --------
    >>> share_below([50.0, 48.0, 51.0, 50.0], 50.0)[:2]
    (1, 4)
    """
    known = _lengths(lengths)
    below = int((known < specified).sum())
    lower, upper = proportion_interval(below, len(known), level=level)
    return ShareBelow(below, len(known), float(lower), float(upper))


def normal_share_below(
    lengths: Any, specified: float, *, confidence: float = 0.95
) -> tuple[float, float]:
    """Return the estimated share below a length, and its upper bound, for a normal distribution.

    Parameters
    ----------
    lengths : array_like of shape (n,)
        Measured; 2 or more, not all equal.
    specified : float
        The length specified.
    confidence : float
        One-sided.

    Notes
    -----
    The bound is the share whose tolerance limit is the length itself: the noncentrality of t at
    which (mean - specified) √n / s is so large no oftener than 1 - confidence (Hahn & Meeker 1991,
    4.5, from memory). Checked by solving the tolerance factor for the share.

    Examples
    --------
    >>> estimate, upper = normal_share_below([52.0, 49.0, 51.0, 55.0, 50.0], 45.0)
    >>> round(estimate, 4), round(upper, 3)
    (0.0027, 0.162)
    """
    from scipy import special, stats  # noqa: PLC0415  (slow to import, and few questions need it)

    known = _lengths(lengths)
    if len(known) < 2 or known.std() == 0:
        raise UseError("a share by the standard deviation needs 2 measurements that differ")
    _shares(np.asarray(0.5), np.asarray(confidence))
    n, score = len(known), (known.mean() - specified) / known.std(ddof=1)

    def excess(z: float) -> float:
        # The lower the true score, the likelier is one no larger than that seen.
        return float(stats.nct.cdf(score * np.sqrt(n), n - 1, z * np.sqrt(n))) - confidence

    low, high = _bracket(excess, score)
    from scipy.optimize import brentq  # noqa: PLC0415  (slow to import)

    return float(special.ndtr(-score)), float(special.ndtr(-brentq(excess, low, high, xtol=1e-13)))


def _bracket(excess: Any, start: float) -> tuple[float, float]:
    low, high, step = start, start, 1.0
    while excess(low) < 0:
        low, step = low - step, 2 * step
    while excess(high) > 0:
        high, step = high + step, 2 * step
    return low, high


def _lengths(lengths: Any) -> _Floats:
    known = np.asarray(lengths, float)
    known = np.asarray(known[~np.isnan(known)], float)
    if len(known) == 0:
        raise UseError("no length was measured; there is nothing to say of them")
    return known


def _shares(share: _Floats, confidence: _Floats) -> None:
    for name, part in (("share", share), ("confidence", confidence)):
        if not bool(np.all((part > 0) & (part < 1))):
            raise UseError(f"{name} must lie between 0 and 1, such as 0.95 for 95 %")
