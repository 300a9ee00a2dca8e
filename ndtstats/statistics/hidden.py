"""What is still hidden: rejectable imperfections where nobody looked, and where the method missed.

The model. In a stratum the rate λ of rejectable imperfections is Gamma(α, β) per metre before
anything is seen. The method finds each with probability d, so of E examined metres it finds
k ~ Poisson(λ d E), and λ given k is Gamma(α + k, β + d E). In U metres that nobody examined there
are Poisson(λ U) more, and (1 - d) E metres' worth were missed: in all Poisson(λ (U + (1 - d) E)),
which over the gamma is negative binomial (Gelman et al., Bayesian Data Analysis, 2.6-2.7, from
memory). Strata are independent given d.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.statistics.negative_binomial import sum_probabilities

_Floats = npt.NDArray[np.float64]
_Ints = npt.NDArray[np.int64]

#: Draws where the exact distribution would be too long.
_DRAWS = 40_000
#: Numbers held at once while drawing.
_BLOCK = 2_000_000
#: Probability of detection left out at each end; the least points between, the widest step.
_END, _POINTS, _STEP = 1e-15, 48, 0.5
#: A part of the mixture that weighs less does not move a bound.
_NO_WEIGHT = 1e-12
#: So far below the level still counts as the level: sums of probabilities are rounded.
_TIE = 1e-9


@dataclass(frozen=True, slots=True)
class BetaDetection:
    """An uncertain probability of detection, one and the same in all strata: Beta(a, b).

    Parameters
    ----------
    a, b : float
        Above 0. A trial that found 16 of 20 known imperfections leaves about Beta(16.5, 4.5).

    Examples
    --------
    >>> round(BetaDetection(16.5, 4.5).mean, 3)
    0.786
    """

    a: float
    b: float

    def __post_init__(self) -> None:
        if not (self.a > 0 and self.b > 0):
            raise UseError(
                f"detection Beta({self.a:g}, {self.b:g}) is no distribution; "
                "write two numbers above 0, such as 16.5 4.5 for 16 found of 20"
            )

    @property
    def mean(self) -> float:
        """Mean probability of detection."""
        return self.a / (self.a + self.b)


class _Strata(NamedTuple):
    """One element a stratum, of shape (n,)."""

    found: _Floats
    examined_m: _Floats
    unexamined_m: _Floats


class _Mixture(NamedTuple):
    """What is not known for sure, in parts: ``weight`` of shape (m,), the others (m, n).

    ``d`` is the detection, ``shape`` and ``prior_m`` are α and β of the gamma prior.
    """

    weight: _Floats
    d: _Floats
    shape: _Floats
    prior_m: _Floats


def hidden_imperfections(
    found: Any,
    examined_m: Any,
    unexamined_m: Any,
    *,
    prior_shape: Any,
    prior_length_m: Any,
    prior_weight: Any = None,
    prior_of: str = "present",
    detection: Any = 1.0,
    looked_at_m: Any = None,
    group: Any = None,
    level: float = 0.90,
    seed: int = 0,
) -> pd.DataFrame:
    """Return how many rejectable imperfections are still hidden, group by group of strata.

    Parameters
    ----------
    found : array_like of shape (n,)
        Rejectable imperfections found in each stratum.
    examined_m, unexamined_m : array_like of shape (n,)
        Metres examined, and metres that nobody examined.
    prior_shape, prior_length_m : array_like of shape (n,) or (m, n)
        α and β of the gamma prior of each stratum's rate per metre: as if α had been found in β
        metres examined. α = 1/2 and β = 0 is Jeffreys' prior.
    prior_weight : array_like of shape (m,), optional
        How likely each of m priors is, given what was found, where the prior itself is uncertain
        (:func:`ndtstats.statistics.hierarchy.likely_priors`); with ``prior_of`` "found" only.
    prior_of : {"present", "found"}
        What the prior is of: the rate that is there (λ), or the rate that the method finds (λ d),
        as a prior fitted to counts of what was found is.
    detection : array_like or BetaDetection
        Probability that the method finds a rejectable imperfection, above 0 and at most 1.
    looked_at_m : array_like of shape (n,), optional
        Metres in which the method may have missed some, where that is more than ``examined_m``:
        places that were aimed at were looked at too, but must not tell of the rate.
    group : array_like of shape (n,), optional
        What the strata are added up by, such as the zone; left out, each stratum stands alone.
    level : float
        Probability with which no more than ``upper`` are hidden.
    seed : int
        For the groups that are simulated.

    Returns
    -------
    DataFrame
        One row a group, in order of first occurrence: ``found``, ``examined_m``, ``unexamined_m``;
        ``mean``, and of it ``mean_unexamined`` and ``mean_missed``; ``none``, the probability that
        nothing is hidden; ``upper``, the smallest number not exceeded with probability ``level``;
        ``level``; ``basis``, "exact" or "simulated"; ``upper_error``, half the 95 % interval of a
        simulated ``upper``, else 0.

    Raises
    ------
    UseError
        If a number is impossible, or nothing at all is known of a stratum's rate.

    Notes
    -----
    The posterior predictive of gamma and Poisson (Gelman et al. 2013, 2.6, from memory). Means and
    probabilities of none are in closed form. ``upper`` comes from the exact distribution
    of the sum (:mod:`ndtstats.statistics.negative_binomial`), or from 40,000 draws where that
    would be too long.

    *A prior of the found rate* makes the rate found Gamma(α + k, β + E), and λ that over d; it is
    the same as a prior of the present rate with d β in the place of β.

    *Uncertain detection* is integrated out on a grid. Under a prior of the present rate what was
    found tells of d too, and the grid is weighted by how likely each d makes it: few found where
    much is known to be means that much was missed. Under a prior of the found rate, or with β = 0,
    it tells nothing of d: a poor method and good welding find the same.

    Checked against scipy's negative binomial, and against a simulation of the whole model that
    keeps the cases in which so many were found.

    Examples
    --------
    >>> row = hidden_imperfections(
    ...     2, 30.0, 400.0, prior_shape=0.5, prior_length_m=20.0, detection=0.8
    ... ).iloc[0]
    >>> round(float(row["mean"]), 2), int(row["upper"]), round(float(row["none"]), 4)
    (23.07, 44, 0.003)
    """
    if not 0 < level < 1:
        raise UseError(f"level {level} is not a probability; write it between 0 and 1: 0.90")
    if prior_of not in {"present", "found"}:
        raise UseError(f'prior_of "{prior_of}" is not known; use "present" or "found"')
    of_present = prior_of == "present"
    if of_present and prior_weight is not None:
        raise UseError('several priors with weights must be of the rate found: prior_of="found"')
    strata = _strata(found, examined_m, unexamined_m)
    prior = _prior(prior_shape, prior_length_m, prior_weight, len(strata.found))
    mixture = _mixture(detection, strata, prior, of_present)
    known = mixture.d * strata.examined_m
    known += mixture.prior_m if of_present else mixture.d * mixture.prior_m
    _refuse_unknown(known)
    searched = strata.examined_m if looked_at_m is None else np.asarray(looked_at_m, float)
    if not bool(np.all(searched >= 0)):
        raise UseError("the metres looked at must be 0 or more")
    missed = (1 - mixture.d) * searched / known
    odds = strata.unexamined_m / known + missed
    labels = np.arange(len(strata.found)) if group is None else np.asarray(group)
    codes, names = pd.factorize(labels, use_na_sentinel=False)
    shape, of = mixture.shape + strata.found, codes.astype(np.int64)
    totals = _totals(strata, mixture.weight, shape, odds, missed, of, len(names))
    bounds = _bounds(mixture.weight, shape, odds, of, len(names), level, seed)
    return pd.concat([totals, bounds], axis=1).set_axis(pd.Index(names, name="group"))


def _strata(found: Any, examined_m: Any, unexamined_m: Any) -> _Strata:
    numbers = (found, examined_m, unexamined_m)
    parts = np.broadcast_arrays(*(np.atleast_1d(np.asarray(part, float)) for part in numbers))
    for name, part in zip(("found", "examined metres", "unexamined metres"), parts, strict=True):
        good = np.isfinite(part) & (part >= 0)
        if not bool(np.all(good)):
            at = int(np.flatnonzero(~good)[0])
            raise UseError(f"stratum {at + 1}: {name} {part[at]:g} must be 0 or more")
    return _Strata(*parts)


def _prior(shape: Any, length_m: Any, weight: Any, strata: int) -> _Mixture:
    """Return the prior in parts, with no detection yet."""
    parts = np.ones(1) if weight is None else np.asarray(weight, float)
    to = (len(parts), strata)
    alpha, beta = (np.broadcast_to(np.asarray(part, float), to) for part in (shape, length_m))
    for name, part, least in (
        ("prior_shape", alpha, "above 0"),
        ("prior_length_m", beta, "0 or more"),
    ):
        good = np.isfinite(part) & ((part > 0) | ((part == 0) & (name == "prior_length_m")))
        if not bool(np.all(good)):
            raise UseError(f"{name} {part[~good][0]:g} must be {least}")
    if not (bool(np.all(parts >= 0)) and parts.sum() > 0):
        raise UseError("the weights of the priors must be 0 or more, and not all of them 0")
    return _Mixture(parts / parts.sum(), np.ones(to), alpha, beta)


def _refuse_unknown(known: _Floats) -> None:
    nothing = np.flatnonzero(np.any(known <= 0, axis=0))
    if len(nothing):
        raise UseError(
            f"stratum {nothing[0] + 1}: nothing was examined and the prior weighs 0 m, so nothing "
            "is known of its rate; give a prior_length_m above 0"
        )


def _mixture(detection: Any, strata: _Strata, prior: _Mixture, of_present: bool) -> _Mixture:
    """Return prior and detection in parts, weighted by how well each explains what was found."""
    from scipy import special  # noqa: PLC0415  (slow to import)

    if not isinstance(detection, BetaDetection):
        d = np.broadcast_to(np.asarray(detection, float), strata.found.shape)
        if not bool(np.all((d > 0) & (d <= 1))):
            raise UseError(f"detection {d[~((d > 0) & (d <= 1))][0]:g} must be above 0, at most 1")
        return prior._replace(d=np.broadcast_to(d, prior.d.shape))
    telling = (prior.prior_m[0] > 0) & of_present
    if detection.a <= 1 and not bool(np.all(telling)):
        raise UseError(
            "a detection that may be next to nothing needs a prior that says something of the "
            "rate that is there; give one, or a detection with its first number above 1"
        )
    d, logarithm = _beta_points(detection)
    told, beta = strata.found[telling], prior.prior_m[0, telling]
    shape = told + prior.shape[0, telling]
    logarithm = logarithm + told.sum() * np.log(d)
    logarithm -= np.log(beta + d[:, None] * strata.examined_m[telling]) @ shape
    weight = special.softmax(logarithm)
    parts, points = len(prior.weight), len(d)
    return _Mixture(
        weight=np.outer(prior.weight, weight).ravel(),
        d=np.broadcast_to(np.tile(d, parts)[:, None], (parts * points, len(strata.found))),
        shape=np.repeat(prior.shape, points, axis=0),
        prior_m=np.repeat(prior.prior_m, points, axis=0),
    )


def _beta_points(detection: BetaDetection) -> tuple[_Floats, _Floats]:
    """Return points over a beta distribution and the logarithm of their weights.

    Even steps of the logit: the integrand is smooth there and dies away at both ends, so that the
    plain sum converges faster than any power of the step (Trefethen & Weideman 2014, SIAM Rev.
    56:385, from memory).
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    a, b = detection.a, detection.b
    # The mean goes with 1 / d, so that its integrand dies away more slowly than the density.
    below = a - 1 if a > 1 else a
    low, high = np.maximum(special.betaincinv([below, b], [b, a], _END), 1e-300)
    ends = (np.log(low) - np.log1p(-low), np.log1p(-high) - np.log(high))
    logit = np.linspace(*ends, max(_POINTS, int((ends[1] - ends[0]) / _STEP)))
    return special.expit(logit), a * special.log_expit(logit) + b * special.log_expit(-logit)


def _totals(
    strata: _Strata,
    weight: _Floats,
    shape: _Floats,
    odds: _Floats,
    missed: _Floats,
    codes: _Ints,
    groups: int,
) -> pd.DataFrame:
    mean, mean_missed = weight @ (shape * odds), weight @ (shape * missed)
    sums = {
        "found": strata.found,
        "examined_m": strata.examined_m,
        "unexamined_m": strata.unexamined_m,
        "mean": mean,
        "mean_unexamined": mean - mean_missed,
        "mean_missed": mean_missed,
    }
    table = pd.DataFrame({name: np.bincount(codes, part, groups) for name, part in sums.items()})
    nothing = np.zeros((groups, len(weight)))
    np.add.at(nothing, codes, (-shape * np.log1p(odds)).T)
    return table.assign(none=np.exp(nothing) @ weight)


def _bounds(
    weight: _Floats,
    shape: _Floats,
    odds: _Floats,
    codes: _Ints,
    groups: int,
    level: float,
    seed: int,
) -> pd.DataFrame:
    size = np.bincount(codes, minlength=groups)
    if len(weight) == 1 and bool(np.all(size == 1)):
        upper = _upper_alone(shape[0], odds[0], level)
        return pd.DataFrame({"upper": upper, "level": level, "basis": "exact", "upper_error": 0.0})
    order = np.argsort(codes, kind="stable")
    members = np.split(order, np.cumsum(size)[:-1])
    kept = weight > _NO_WEIGHT
    weight, shape, odds = weight[kept] / weight[kept].sum(), shape[kept], odds[kept]
    # Each group's distribution has a length of its own; there are as many as zones, not as spots.
    each = [
        _upper(shape[:, of], odds[:, of], weight, level, [seed, number])
        for number, of in enumerate(members)
    ]
    table = pd.DataFrame(each, columns=["upper", "basis", "upper_error"])
    return table.assign(level=level)[["upper", "level", "basis", "upper_error"]]


def _upper_alone(shape: _Floats, odds: _Floats, level: float) -> _Ints:
    """Return the quantiles of single negative binomials, all at once."""
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    at = stats.nbinom.ppf(level - _TIE, shape, 1 / (1 + odds))
    return np.asarray(np.maximum(at, 0), np.int64)


def _upper(
    shape: _Floats, odds: _Floats, weight: _Floats, level: float, seed: list[int]
) -> tuple[int, str, float]:
    probability = sum_probabilities(shape, odds, weight)
    if probability is not None:
        at = int(np.searchsorted(np.cumsum(probability), level - _TIE))
        return at, "exact", 0.0
    draws = np.sort(_drawn(shape, odds, weight, np.random.default_rng(seed)))
    # The 95 % interval of a quantile by order statistics (David & Nagaraja 2003, 7.1, from memory).
    half = 1.96 * np.sqrt(level * (1 - level) * _DRAWS)
    ranks = np.clip(level * _DRAWS + half * np.array([-1, 0, 1]), 1, _DRAWS).astype(np.int64) - 1
    low, middle, high = draws[ranks].tolist()
    return int(middle), "simulated", max(high - middle, middle - low)


def _drawn(
    shape: _Floats, odds: _Floats, weight: _Floats, rng: np.random.Generator
) -> npt.NDArray[np.int64]:
    part = rng.choice(len(weight), _DRAWS, p=weight)
    block = max(_BLOCK // shape.shape[1], 1)
    expected = [
        np.einsum("ds,ds->d", rng.standard_gamma(shape[some]), odds[some])
        for some in np.split(part, range(block, _DRAWS, block))
    ]
    counts: npt.NDArray[np.int64] = rng.poisson(np.concatenate(expected))
    return counts


def hidden_sentence(row: Mapping[Any, Any], method: str = "the method") -> str:
    """Return in words what a row of :func:`hidden_imperfections` says.

    Parameters
    ----------
    row : mapping
        ``unexamined_m``, ``mean``, ``mean_missed``, ``upper``, ``level``, ``none``, ``basis`` and
        ``upper_error``.
    method : str
        What the method is called, such as "X-ray".

    Examples
    --------
    >>> hidden_sentence({"unexamined_m": 412.0, "mean": 3.1, "mean_missed": 0.4, "upper": 6,
    ...                  "level": 0.9, "none": 0.06, "basis": "exact", "upper_error": 0.0}, "X-ray")
    'In the 412 m nobody examined, and what X-ray missed elsewhere: 3.1 rejectable imperfections
    expected, fewer than 7 with 90 % probability, none at all with 6 %.'
    """
    unexamined, missed = row["unexamined_m"] > 0, row["mean_missed"] > 0
    if not unexamined and not missed:
        return "Everything was examined, by a method taken to miss nothing: nothing can be hidden."
    where = f"In the {row['unexamined_m']:,.0f} m nobody examined" if unexamined else ""
    if missed:
        where += (
            f", and what {method} missed elsewhere" if unexamined else f"In what {method} missed"
        )
    about = "about " if row["basis"] == "simulated" else ""
    error = f" (± {row['upper_error']:,.0f}, simulated)" if about else ""
    return (
        f"{where}: {_amount(row['mean'])} rejectable imperfections expected, fewer than "
        f"{about}{row['upper'] + 1:,.0f}{error} with {100 * row['level']:g} % probability, "
        f"none at all with {_percent(row['none'])}."
    )


def _amount(mean: float) -> str:
    if mean < 0.1:
        return f"{mean:.1g}"
    return f"{mean:.1f}" if mean < 100 else f"{mean:,.0f}"


def _percent(probability: float) -> str:
    """Return a probability in words that are never surer than it is."""
    if probability < 0.01:
        return "less than 1 %"
    return "more than 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"
