"""The funnel: how far rates of large and small groups may lie from the centre by chance alone."""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError
from ndtstats.statistics.proportions import Interval, tail_probability

_Floats = npt.NDArray[np.float64]

#: Share of the scores drawn in at either end (Spiegelhalter 2005).
WINSORISED = 0.10


class Overdispersion(NamedTuple):
    """How much wider groups spread than chance lets them.

    Parameters
    ----------
    plain, winsorised : float
        Mean squared score; 1 is chance alone. The second is not led by a few that stand out.
    between : float
        Variance between the groups that would explain it (of rates), 0 or more.
    """

    plain: float
    winsorised: float
    between: float


def interpolated_limit(examined: Any, centre: Any, probability: float) -> _Floats:
    """Return the rate below which a group lies with some probability, if chance alone spreads it.

    Parameters
    ----------
    examined : array_like
        Examined in each group, 1 or more.
    centre : array_like
        Rate expected, between 0 and 1.
    probability : float
        Between 0 and 1, such as 0.975.

    Notes
    -----
    The binomial quantile, drawn in between whole counts (Spiegelhalter 2005, Stat. Med. 24:1185,
    A.1.1). A limit below 0 or above 1 says that no count is so unlikely; it is not cut off here.
    Checked against the published formula in R.

    Examples
    --------
    >>> round(float(interpolated_limit(100, 0.1, 0.975)), 6)
    0.157719
    """
    n, theta = np.broadcast_arrays(np.asarray(examined, float), np.asarray(centre, float))
    if not bool(np.all((n >= 1) & (theta >= 0) & (theta <= 1))):
        raise UseError("a funnel needs 1 or more examined in each group, and a centre in [0, 1]")
    inside = (theta > 0) & (theta < 1)
    rate = np.where(inside, theta, 0.5)
    r = _binomial_quantile(probability, n, rate)
    at, before = _no_more(r, n, rate), _no_more(r - 1, n, rate)
    limit = (r - (at - probability) / (at - before)) / n
    return np.asarray(np.where(inside, limit, theta), float)


def _binomial_quantile(probability: float, n: _Floats, rate: _Floats) -> _Floats:
    """Return the least count that is not exceeded with at least some probability."""
    from scipy import special  # noqa: PLC0415  (slow to import)

    # The inverse lies between whole counts; where rounding lifts it over one, that one is enough.
    # Of the smallest rates it knows nothing, and 0 is enough.
    above = np.maximum(np.nan_to_num(np.ceil(special.bdtrik(probability, n, rate))), 0.0)
    below = np.maximum(above - 1, 0.0)
    enough = _no_more(below, n, rate) >= probability
    return np.asarray(np.where(enough, below, above), float)


def _no_more(k: _Floats, n: _Floats, rate: _Floats) -> _Floats:
    """Return the probability of at most k of n, certain at the ends."""
    from scipy import special  # noqa: PLC0415  (slow to import)

    # The incomplete beta function needs its parameters above 0.
    inside = special.betainc(np.where(k < n, n - k, 1.0), np.maximum(k, 0) + 1, 1 - rate)
    return np.asarray(np.where(k < 0, 0.0, np.where(k < n, inside, 1.0)), float)


def funnel_limits(examined: Any, centre: Any, *, level: float = 0.95) -> Interval:
    """Return the limits of a funnel, within [0, 1].

    Parameters
    ----------
    examined, centre
        As in :func:`interpolated_limit`.
    level : float
        0.95 and 0.998 are usual, about two and three standard errors.

    Notes
    -----
    For drawing. Whether a group stands out is judged by its exact probability
    (:func:`chance_of_so_far`): between whole counts the drawn limit is a little narrow.
    Spiegelhalter 2005, as :func:`interpolated_limit`; checked with it.

    Examples
    --------
    >>> lower, upper = funnel_limits([20, 200], 0.05)
    >>> lower.round(4).tolist(), upper.round(4).tolist()
    ([0.0, 0.0196], [0.1424, 0.0797])
    """
    tail = tail_probability(level, "two")
    lower = interpolated_limit(examined, centre, tail)
    upper = interpolated_limit(examined, centre, 1 - tail)
    return Interval(np.clip(lower, 0.0, 1.0), np.clip(upper, 0.0, 1.0))


def chance_of_so_far(rejected: Any, examined: Any, centre: Any) -> _Floats:
    """Return the exact two-sided probability of a count as far out as the one seen, or farther.

    Parameters
    ----------
    rejected, examined : array_like of whole numbers
        Counts of each group.
    centre : array_like
        Rate expected, between 0 and 1.

    Notes
    -----
    Twice the smaller binomial tail, at most 1 (Clopper-Pearson's test). Where the spots of a group
    have unequal rates of which ``centre`` is the mean, this is the larger, hence the safe side, but
    for counts within one of the mean (Hoeffding 1956, Ann. Math. Stat. 27:713, from memory).
    Checked against scipy's binomial tails, and for unequal rates by enumeration.

    Examples
    --------
    >>> chance_of_so_far([5, 1], 20, 0.05).round(4).tolist()
    [0.0051, 1.0]
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    k, n, theta = np.broadcast_arrays(
        np.asarray(rejected, float), np.asarray(examined, float), np.asarray(centre, float)
    )
    no_less = np.where(k > 0, special.betainc(np.where(k > 0, k, 1.0), n - k + 1, theta), 1.0)
    return np.asarray(np.minimum(2 * np.minimum(_no_more(k, n, theta), no_less), 1.0), float)


def overdispersion(rejected: Any, examined: Any, centre: Any) -> Overdispersion:
    """Return how much wider the rates of groups spread than chance lets them.

    Parameters
    ----------
    rejected, examined : array_like of shape (g,)
        Counts of each group; groups with nothing examined are left out.
    centre : array_like
        Rate expected, one or one a group, above 0 and below 1.

    Notes
    -----
    Spiegelhalter 2005, Qual. Saf. Health Care 14:347: mean of squared standard scores, those below
    the 10th and above the 90th percentile drawn in; the variance between by moments.
    Checked against the formulas in R on the tumours of Tarone's rats.

    Examples
    --------
    >>> overdispersion([1, 5, 9], [50, 50, 50], 0.1).plain > 1
    True
    """
    k, n, theta = np.broadcast_arrays(
        np.asarray(rejected, float), np.asarray(examined, float), np.asarray(centre, float)
    )
    some = (n > 0) & (theta > 0) & (theta < 1)
    k, n, theta = k[some], n[some], theta[some]
    if len(k) < 2:
        return Overdispersion(np.nan, np.nan, np.nan)
    variance = theta * (1 - theta) / n
    score = (k / n - theta) / np.sqrt(variance)
    drawn_in = np.clip(score, *np.quantile(score, [WINSORISED, 1 - WINSORISED]))
    winsorised, weight = float(np.mean(drawn_in**2)), 1 / variance
    excess = len(k) * winsorised - (len(k) - 1)
    between = excess / float(weight.sum() - (weight**2).sum() / weight.sum())
    return Overdispersion(float(np.mean(score**2)), winsorised, max(0.0, between))
