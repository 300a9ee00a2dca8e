"""Control charts: which months lie outside what chance lets them.

Shares (p), rates per unit (u) and counts (c) with exact or classic limits (Montgomery, Statistical
Quality Control, ch. 7, from memory). What finds small lasting shifts is in
:mod:`ndtstats.statistics.drift`.

*Months with little data are not over-read.* Whatever the limits drawn, a point signals only if its
exact probability, too, is as small as that of a point beyond three standard deviations: with five
spots the classic limits would make a signal of a single reject. A month in which no count at all
could have signalled is marked as not judged.
"""

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError, nearest

_Floats = npt.NDArray[np.float64]

#: Chance of a point beyond three standard deviations, on one side.
BEYOND_THREE = math.erfc(3 / math.sqrt(2)) / 2
#: Expected absolute difference of two standard normals, as Laney (2002) rounds it.
_D2 = 1.128
#: Significance at which a spread is called wider than chance.
OVERDISPERSED_AT = 0.05
#: Points below which limits are provisional (Montgomery asks for 20 to 25, from memory).
FEW_POINTS = 20
#: So much counts as equal where a point lies on its limit: both are rounded.
_TIE = 1e-9

LIMITS = ("auto", "exact", "three-sigma", "laney")


class Dispersion(NamedTuple):
    """A test of whether points spread more than chance lets them.

    Parameters
    ----------
    ratio : float
        Observed variance over that of chance.
    statistic, degrees_of_freedom, p : float
        Chi-square, and the probability of one as large by chance.
    """

    ratio: float
    statistic: float
    degrees_of_freedom: int
    p: float


@dataclass(frozen=True, slots=True)
class ControlChart:
    """A control chart.

    Parameters
    ----------
    points : DataFrame
        A row a point, by label: ``count``, ``size``, ``value``, ``centre``, ``lower``, ``upper``,
        ``judged`` (some count could have signalled) and ``signal`` ("above", "below" or "").
    limits : str
        Limits in use: "exact", "three-sigma" or "laney".
    dispersion : Dispersion
        How the points spread against chance.
    spread : float
        Factor on the standard deviations: Laney's, or 1.
    caveats : tuple of str
        What has to be known to read the chart rightly.
    """

    points: pd.DataFrame
    limits: str
    dispersion: Dispersion
    spread: float
    caveats: tuple[str, ...]

    @property
    def signals(self) -> list[Any]:
        """Labels of the points that signal."""
        return self.points.index[self.points["signal"] != ""].tolist()


def p_chart(
    rejected: Any,
    examined: Any,
    *,
    labels: Any = None,
    centre: float | None = None,
    limits: str = "auto",
) -> ControlChart:
    """Return the chart of a share: rejected of examined, month by month.

    Parameters
    ----------
    rejected, examined : array_like of shape (n,)
        Counts in order of time; a month with nothing examined is a point without value.
    labels : array_like of shape (n,), optional
        Names of the points, such as months; 0, 1, 2 … if left out.
    centre : float, optional
        The rate held to be usual; the share of all points together if left out.
    limits : {"auto", "exact", "three-sigma", "laney"}
        Exact: the counts beyond which chance goes with the probability of three standard
        deviations on either side, 0.00135. Three-sigma: ± 3 standard deviations. Laney: these
        widened by the spread from point to point (p', Laney 2002, Qual. Eng. 14:531). Auto: Laney
        where 20 points or more spread more than chance (at 5 %) even without the one farthest out,
        which would hide itself otherwise; exact in all other cases.

    Raises
    ------
    UseError
        If counts, centre or limits are impossible.

    Notes
    -----
    Checked against the charts of Montgomery and of NIST/SEMATECH e-Handbook 6.3.3.2, and p' against
    Laney's formula in R.

    Examples
    --------
    >>> months = ["Jan", "Feb", "Mar", "Apr", "May"]
    >>> chart = p_chart([2, 1, 3, 16, 2], [100] * 5, labels=months, centre=0.02)
    >>> chart.limits, chart.signals
    ('exact', ['Apr'])
    """
    k, n = _pair(rejected, examined)
    if not bool(np.all(k <= n)):
        raise UseError("rejected must lie between 0 and examined")
    middle = _centre(k, n, centre, most=1.0)
    variance = np.full(len(n), middle * (1 - middle))

    def tails(count: _Floats) -> tuple[_Floats, _Floats]:
        return _binomial_tails(count, n, middle)

    return _chart(k, n, middle, variance, tails, n, limits, labels)


def u_chart(
    count: Any,
    size: Any = 1.0,
    *,
    labels: Any = None,
    centre: float | None = None,
    limits: str = "auto",
) -> ControlChart:
    """Return the chart of a rate: indications per metre or per joint, month by month.

    Parameters
    ----------
    count, size : array_like of shape (n,)
        Events, and in how much they were counted; with ``size`` 1 it is a c chart.
    labels, centre, limits
        As in :func:`p_chart`, with Poisson in the place of binomial; Laney's is u'.

    Notes
    -----
    Montgomery, Statistical Quality Control, ch. 7 (from memory). Checked against his personal
    computers and dyed cloth, and the c chart of NIST/SEMATECH e-Handbook 6.3.3.1.

    Examples
    --------
    >>> u_chart([3, 5, 4, 18, 4], [2.0] * 5, limits="three-sigma").signals
    [3]
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    k, n = _pair(count, size)
    middle = _centre(k, n, centre, most=np.inf)

    def tails(number: _Floats) -> tuple[_Floats, _Floats]:
        mean = n * middle
        no_more = special.gammaincc(number + 1, mean)
        no_less = np.where(number > 0, special.gammainc(np.maximum(number, 1), mean), 1.0)
        return np.asarray(no_more, float), np.asarray(no_less, float)

    variance = np.full(len(n), middle)
    return _chart(k, n, middle, variance, tails, np.full(len(n), np.inf), limits, labels)


def dispersion_test(squared_scores: Any) -> Dispersion:
    """Return the test of whether squared standard scores are larger than chance makes them.

    Parameters
    ----------
    squared_scores : array_like of shape (n,)
        Squared distance of each point from the centre over its variance by chance.

    Notes
    -----
    Their sum is about chi-square with n - 1 degrees of freedom, the centre being estimated from
    them (Wetherill & Brown 1991, pp. 212-218; checked against it).

    Examples
    --------
    >>> round(dispersion_test([4.0, 9.0, 1.0]).p, 4)
    0.0009
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    scores = np.asarray(squared_scores, float)
    scores = scores[~np.isnan(scores)]
    free = max(len(scores) - 1, 0)
    total = float(scores.sum())
    if not free:
        return Dispersion(np.nan, total, 0, 1.0)
    return Dispersion(total / free, total, free, float(special.chdtrc(free, total)))


def _pair(count: Any, size: Any) -> tuple[_Floats, _Floats]:
    k, n = np.broadcast_arrays(np.asarray(count, float), np.asarray(size, float))
    k, n = np.atleast_1d(k), np.atleast_1d(n)
    if not bool(np.all((k >= 0) & (n >= 0))):
        raise UseError("a count and what it was counted in must not be negative")
    return k, n


def _centre(k: _Floats, n: _Floats, given: float | None, most: float) -> float:
    if given is None:
        return float(k.sum() / n.sum()) if n.sum() > 0 else 0.0
    if not 0 < given < most:
        raise UseError(f"the centre {given:g} is not a rate; write it as a share: 0.02 for 2 %")
    return given


def _binomial_tails(count: _Floats, n: _Floats, p: float) -> tuple[_Floats, _Floats]:
    """Return the probabilities of no more and of no less than a count."""
    from scipy import special  # noqa: PLC0415  (slow to import)

    some, rest = np.maximum(count, 1.0), np.maximum(n - count, 1.0)
    no_more = np.where(count < n, special.betainc(rest, count + 1, 1 - p), 1.0)
    no_less = np.where(count > 0, special.betainc(some, np.maximum(n - count, 0) + 1, p), 1.0)
    return np.asarray(no_more, float), np.asarray(no_less, float)


def _chart(
    k: _Floats,
    n: _Floats,
    middle: float,
    variance: _Floats,
    tails: Any,
    most: _Floats,
    limits: str,
    labels: Any,
) -> ControlChart:
    if limits not in LIMITS:
        close = nearest(limits, LIMITS)
        hint = f'did you mean "{close}"?' if close else f"use one of {', '.join(LIMITS)}"
        raise UseError(f'limits "{limits}" are not known; {hint}')
    with np.errstate(divide="ignore", invalid="ignore"):
        value, deviation = k / n, np.sqrt(variance / n)
        score = (value - middle) / deviation
    dispersion = dispersion_test(score**2)
    spread = laney_spread(score)
    chosen = limits
    if limits == "auto":
        chosen = "laney" if _wide(score) and spread > 1 else "exact"
    factor = spread if chosen == "laney" else 1.0
    low, high = _exact_limits(tails, middle * n, n, most)
    if chosen == "exact":
        lower, upper = low / n.clip(1e-300), high / n.clip(1e-300)
    else:
        lower = np.maximum(middle - 3 * factor * deviation, 0.0)
        upper = np.minimum(middle + 3 * factor * deviation, np.where(np.isinf(most), np.inf, 1.0))
    signal = _signals(k, value, lower, upper, tails)
    judged = (n > 0) & ((low > 0) | (high < most))
    points = pd.DataFrame(
        {"count": k, "size": n, "value": value, "centre": middle, "lower": lower, "upper": upper,
         "judged": judged, "signal": signal},
        index=pd.Index(range(len(k)) if labels is None else labels),
    )  # fmt: skip
    caveats = _caveats(points, chosen, dispersion, factor)
    return ControlChart(points, chosen, dispersion, factor, caveats)


def _wide(score: _Floats) -> bool:
    squared = np.sort(score[~np.isnan(score)] ** 2)
    return len(squared) >= FEW_POINTS and dispersion_test(squared[:-1]).p < OVERDISPERSED_AT


def laney_spread(scores: Any) -> float:
    """Return the standard deviation of scores from point to point, by their moving range.

    Notes
    -----
    Laney 2002, Qual. Eng. 14:531: mean moving range / 1.128; checked against the formula in R.

    Examples
    --------
    >>> round(laney_spread([0.0, 1.128, 0.0]), 6)
    1.0
    """
    known = np.asarray(scores, float)
    known = known[~np.isnan(known)]
    return float(np.mean(np.abs(np.diff(known))) / _D2) if len(known) > 1 else 1.0


def _exact_limits(tails: Any, mean: _Floats, n: _Floats, most: _Floats) -> tuple[_Floats, _Floats]:
    """Return the least and the greatest counts that do not signal, by halving."""
    far = np.where(np.isinf(most), mean + 20 * np.sqrt(mean) + 40, n)
    high_end, low_start = np.ceil(far), np.zeros(len(n))
    upper = _first(lambda count: tails(count + 1)[1] <= BEYOND_THREE, low_start, high_end)
    lower = _first(lambda count: tails(count)[0] > BEYOND_THREE, low_start, high_end)
    return lower, upper


def _first(holds: Any, low: _Floats, high: _Floats) -> _Floats:
    """Return the first whole number in [low, high] that holds, or high; all that follow hold."""
    while bool(np.any(low < high)):
        middle = np.floor((low + high) / 2)
        good = holds(middle)
        low, high = np.where(good, low, np.minimum(middle + 1, high)), np.where(good, middle, high)
    return low


def _signals(k: _Floats, value: _Floats, lower: _Floats, upper: _Floats, tails: Any) -> Any:
    no_more, no_less = tails(k)
    above = (value > upper * (1 + _TIE)) & (no_less <= BEYOND_THREE)
    below = (value < lower * (1 - _TIE)) & (no_more <= BEYOND_THREE)
    return np.where(above, "above", np.where(below, "below", ""))


def _caveats(
    points: pd.DataFrame, chosen: str, dispersion: Dispersion, factor: float
) -> tuple[str, ...]:
    caveats = []
    judged = int(points["judged"].sum())
    little = int(((points["size"] > 0) & ~points["judged"]).sum())
    if chosen == "laney":
        caveats.append(
            f"The points spread {dispersion.ratio:.1f} times as much as chance, so the limits are "
            f"{factor:.1f} times as wide."
        )
    elif dispersion.p < OVERDISPERSED_AT:
        caveats.append(
            f"The points spread {dispersion.ratio:.1f} times as much as chance; limits that take "
            "chance for the only cause are narrow."
        )
    if judged < FEW_POINTS:
        caveats.append(f"Limits from {judged} points are provisional; {FEW_POINTS} are usual.")
    if little:
        few = "1 point holds" if little == 1 else f"{little} points hold"
        caveats.append(f"{few} too little to be judged.")
    return tuple(caveats)
