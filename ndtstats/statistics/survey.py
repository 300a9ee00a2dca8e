"""Estimates from spots drawn with unequal probabilities, several to a joint, in strata.

The estimate of a proportion weighs each spot with 1 / its inclusion probability (Hájek 1971). Its
variance is linearised, with joints as clusters within strata drawn as if with replacement: no
reduction for a finite structure is made unless asked, so that the bound speaks of the welding and
not only of this structure. The bound is that of Clopper and Pearson on the effective number of
spots (Korn & Graubard 1998, Survey Methodology 24:193).
"""

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy import stats

from ndtstats.statistics.proportions import proportion_interval, tail_probability


class Estimate(NamedTuple):
    """An estimate of a ratio with what its bound rests on."""

    value: float
    standard_error: float
    degrees_of_freedom: int
    effective_n: float
    lower: float
    upper: float


def weighted_ratio(
    numerator: Any,
    denominator: Any,
    *,
    weights: Any,
    clusters: Any,
    strata: Any = None,
    finite_share: Any = None,
    units: float | None = None,
    level: float = 0.95,
    sides: str = "two",
    method: str = "clopper-pearson",
    cap: bool = True,
) -> Estimate:
    """Return the weighted ratio of two totals, in [0, 1], and its bound.

    With ``denominator`` 1 throughout it is a weighted proportion; with lengths it is rejected
    length over examined length.

    Parameters
    ----------
    numerator, denominator : array_like of shape (n,)
        What is counted, and out of what; 0 <= numerator <= denominator.
    weights : array_like of shape (n,)
        1 / inclusion probability.
    clusters : array_like of shape (n,)
        What was drawn together: the joint.
    strata : array_like of shape (n,), optional
        Strata of the draw; one stratum if left out. A stratum with a single cluster adds no
        variance, as nothing can be learnt of it there.
    finite_share : array_like of shape (n,), optional
        Share of the stratum's clusters that was drawn, for the finite population correction.
    units : float, optional
        Number of examined units that the bound may claim at most; by default n.
    level, sides, method
        As in :func:`ndtstats.statistics.proportion_interval`.
    cap : bool
        Never claim more than ``units``. The standard of the US NCHS (Parker et al. 2017, from
        memory) caps; R's ``svyciprop`` does not.

    Returns
    -------
    Estimate
        ``effective_n`` is value (1 - value) / variance, scaled by the ratio of the t quantiles
        for n - 1 and for the design's degrees of freedom (clusters less strata). Where the value
        is 0 or 1, and the variance therefore 0, it is the number of clusters.

    Examples
    --------
    >>> rate = weighted_ratio(
    ...     [0, 1, 0, 0], [1, 1, 1, 1], weights=[10, 20, 20, 10], clusters=["a", "b", "c", "d"]
    ... )
    >>> round(rate.value, 4), rate.degrees_of_freedom
    (0.3333, 3)
    """
    y, x = np.asarray(numerator, float), np.asarray(denominator, float)
    w = np.asarray(weights, float)
    top, bottom = float(np.sum(w * y)), float(np.sum(w * x))
    if bottom == 0:
        return Estimate(np.nan, np.nan, 0, 0.0, 0.0, 1.0)
    value = top / bottom
    frame = pd.DataFrame(
        {
            "stratum": "" if strata is None else np.asarray(strata),
            "cluster": np.asarray(clusters),
            "score": w * (y - value * x) / bottom,
            "share": 0.0 if finite_share is None else np.asarray(finite_share, float),
        },
        index=range(len(y)),
    )
    variance, degrees, drawn = _linearised(frame)
    claimed = float(len(y)) if units is None else float(units)
    tail = tail_probability(level, sides)
    effective = _effective_n(value, variance, claimed, degrees, drawn, tail)
    effective = min(effective, claimed) if cap else effective
    lower, upper = proportion_interval(
        min(value * effective, effective), effective, level=level, sides=sides, method=method
    )
    return Estimate(value, float(np.sqrt(variance)), degrees, effective, float(lower), float(upper))


def _linearised(frame: pd.DataFrame) -> tuple[float, int, int]:
    """Return the variance of summed scores, its degrees of freedom and the number of clusters."""
    keys = ["stratum", "cluster"]
    totals = frame.groupby(keys, sort=False).agg(score=("score", "sum"), share=("share", "first"))
    by_stratum = totals.groupby("stratum", sort=False)
    size = by_stratum["score"].size()
    spread = by_stratum["score"].var(ddof=1).fillna(0.0)
    correction = 1 - by_stratum["share"].first()
    return float((correction * size * spread).sum()), int((size - 1).sum()), int(size.sum())


def _effective_n(
    value: float, variance: float, units: float, degrees: int, clusters: int, tail: float
) -> float:
    if variance <= 0 or not 0 < value < 1:
        return min(float(clusters), units)
    effective = value * (1 - value) / variance
    if units > 1 and degrees > 0:
        ratio = stats.t.isf(tail, units - 1) / stats.t.isf(tail, degrees)
        effective *= float(ratio) ** 2
    return float(effective)
