"""How good the method is: which sizes it finds, and what its misses and false calls do to a rate.

A curve holds for the thickness, geometry, access and technique of its trial, and must not be moved
about. The size found with 90 % probability, and its bound at 95 % confidence (a90 and a90/95), are
those of MIL-HDBK-1823A (appendix G, from memory).
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError, nearest
from ndtstats.statistics.logistic import fit_logistic, maximum
from ndtstats.statistics.proportions import proportion_interval, tail_probability

_Floats = npt.NDArray[np.float64]

BOUNDS = ("likelihood-ratio", "wald", "band", "simultaneous")
#: A bound this many times the spread of the tried sizes beyond them is no bound.
_FAR = 1e3


@dataclass(frozen=True, slots=True)
class PodCurve:
    """Probability of detection by size: logit POD = intercept + slope x size, or x ln(size).

    Parameters
    ----------
    intercept, slope : float
        On the logit scale.
    covariance : ndarray of shape (2, 2)
        Of intercept and slope.
    scale : {"log", "linear"}
        Whether the size or its logarithm is the regressor.
    deviance : float
        Of the fit against one probability for each size.
    trials : ndarray of shape (3, n)
        Regressor, hits and trials of each size.
    """

    intercept: float
    slope: float
    covariance: _Floats
    scale: str
    deviance: float
    trials: _Floats

    @property
    def a50(self) -> float:
        """Size found half of the time."""
        return self.size_at(0.5)

    @property
    def a90(self) -> float:
        """Size found nine times of ten."""
        return self.size_at(0.9)

    @property
    def a90_95(self) -> float:
        """Bound of a90 at 95 % confidence, by the likelihood ratio."""
        return self.size_bound(0.9, 0.95)

    def probability(self, size: Any) -> _Floats:
        """Return the fitted probability of detection of some sizes."""
        from scipy import special  # noqa: PLC0415  (slow to import)

        at = np.asarray(size, float)
        place = np.log(at) if self.scale == "log" else at
        return np.asarray(special.expit(self.intercept + self.slope * place), float)

    def size_at(self, pod: float) -> float:
        """Return the size that is found with a probability.

        Raises
        ------
        UseError
            If larger imperfections were not found oftener than small ones.
        """
        return self._size(self._place(pod))

    def standard_error(self, pod: float) -> float:
        """Return the standard error of the regressor (size, or its logarithm) at a probability.

        By the delta method, as ``dose.p`` of R's MASS (Venables & Ripley, ch. 7).
        """
        gradient = np.array([1.0, self._place(pod)]) / self.slope
        return float(np.sqrt(gradient @ self.covariance @ gradient))

    def size_bound(
        self, pod: float, confidence: float, *, method: str = "likelihood-ratio"
    ) -> float:
        """Return the size that is found with a probability, with one-sided confidence.

        Parameters
        ----------
        pod, confidence : float
            0.90 and 0.95 give a90/95.
        method : {"likelihood-ratio", "wald", "band", "simultaneous"}
            Likelihood ratio: the sizes at which the likelihood, with POD held there, is not too
            much smaller. Wald: estimate and standard error. Band: where the pointwise Wald band of
            the curve reaches ``pod`` (Fieller). Simultaneous: alike, for the whole curve at once
            (Cheng & Iles 1983, Technometrics 25:77, from memory).

            In simulated trials of 60 flaws a bound of 95 % covered 92 % (likelihood ratio), 88 %
            (Wald) and 96 % (band); of 200 flaws 95, 93 and 97 %.

        Returns
        -------
        float
            Infinite where the trial does not show that any size is found so surely.
        """
        from scipy import special  # noqa: PLC0415  (slow to import)

        if method not in BOUNDS:
            close = nearest(method, BOUNDS)
            hint = f'did you mean "{close}"?' if close else f"use one of {', '.join(BOUNDS)}"
            raise UseError(f'bound "{method}" is not known; {hint}')
        z = -float(special.ndtri(tail_probability(confidence, "upper")))
        if method == "wald":
            return self._size(self._place(pod) + z * self.standard_error(pod))
        if method == "band":
            return self._size(self._reached(pod, z**2))
        if method == "simultaneous":
            return self._size(self._reached(pod, -2 * np.log1p(-confidence)))
        return self._size(self._profiled(pod, z**2))

    def _place(self, pod: float) -> float:
        from scipy import special  # noqa: PLC0415  (slow to import)

        if not 0 < pod < 1:
            raise UseError(f"probability {pod:g} must lie between 0 and 1: 0.9 for a90")
        if self.slope <= 0:
            raise UseError(
                "larger imperfections were not found oftener than small ones, so no size is found "
                "with a given probability; look at how sizes and hits were recorded"
            )
        return (float(special.logit(pod)) - self.intercept) / self.slope

    def _size(self, place: float) -> float:
        return float(np.exp(place)) if self.scale == "log" else place

    def _reached(self, pod: float, squared: float) -> float:
        """Return where the lower band of the curve crosses ``pod``: the larger root of Fieller."""
        from scipy import special  # noqa: PLC0415  (slow to import)

        distance = self.intercept - float(special.logit(pod))
        v = self.covariance
        a = self.slope**2 - squared * v[1, 1]
        if a <= 0:
            return float("inf")
        b = distance * self.slope - squared * v[0, 1]
        c = distance**2 - squared * v[0, 0]
        return float((-b + np.sqrt(b**2 - a * c)) / a)

    def _profiled(self, pod: float, allowed: float) -> float:
        """Return the greatest regressor whose likelihood ratio is still allowed."""
        from scipy import special  # noqa: PLC0415  (slow to import)
        from scipy.optimize import brentq  # noqa: PLC0415  (slow to import)

        x, hits, trials = self.trials
        logit = np.full(len(x), float(special.logit(pod)))

        def excess(place: float) -> float:
            held = maximum((x - place)[:, None], hits, trials, logit)
            return held.deviance - self.deviance - allowed

        start, step = self._place(pod), max(self.standard_error(pod), 1e-9)
        end = start + step
        while excess(end) < 0:
            step *= 2
            end = start + step
            if step > _FAR * max(float(np.ptp(x)), 1e-9):
                return float("inf")
        return float(brentq(excess, start, end, xtol=1e-12, rtol=1e-13))


def hit_miss_pod(size: Any, hits: Any, trials: Any = 1, *, scale: str = "log") -> PodCurve:
    """Return the POD curve of a trial in which each imperfection was found or missed.

    Parameters
    ----------
    size : array_like of shape (n,)
        Sizes of the imperfections, such as mm; above 0 for the scale "log".
    hits, trials : array_like of shape (n,)
        How often each was found, and looked at.
    scale : {"log", "linear"}
        Regressor: the logarithm of the size, or the size.

    Raises
    ------
    UseError
        If sizes or counts are impossible, or hits and misses do not overlap in size: then any steep
        curve fits, and more imperfections of sizes in between are needed.

    Notes
    -----
    Logistic regression by maximum likelihood, as MIL-HDBK-1823A for hit/miss data. Checked against
    R's glm, MASS ``dose.p`` and a profile likelihood on the budworm data (Venables & Ripley).

    Examples
    --------
    >>> curve = hit_miss_pod([1, 2, 4, 8, 16], [1, 3, 6, 9, 10], 10)
    >>> round(curve.a50, 2), round(curve.a90, 2), round(curve.a90_95, 2)
    (3.0, 8.07, 15.57)
    """
    if scale not in {"log", "linear"}:
        raise UseError(f'scale "{scale}" is not known; use "log" or "linear"')
    a, y, n = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, float)) for v in (size, hits, trials))
    )
    if scale == "log" and not bool(np.all(a > 0)):
        raise UseError('sizes must be above 0 for the scale "log"')
    if not bool(np.all((y >= 0) & (y <= n))):
        raise UseError("hits must lie between 0 and the number of trials")
    if len(np.unique(a)) < 2:
        raise UseError("a curve needs imperfections of 2 sizes or more")
    x = np.log(a) if scale == "log" else a
    # Rows of one size are one row to the likelihood, so that the deviance is that of sizes.
    places, of = np.unique(x, return_inverse=True)
    y, n = np.bincount(of, y), np.bincount(of, n)
    fit = fit_logistic(np.column_stack([np.ones(len(places)), places]), y, n)
    intercept, slope = fit.coefficients.tolist()
    return PodCurve(intercept, slope, fit.covariance, scale, fit.deviance, np.stack([places, y, n]))


class TrueRate(NamedTuple):
    """A rate set right for misses and false calls; arrays of one shape."""

    value: _Floats
    lower: _Floats
    upper: _Floats
    standard_error: _Floats


def true_rate(
    rejected: Any, examined: Any, *, sensitivity: Any, specificity: Any, level: float = 0.95
) -> TrueRate:
    """Return the rate of bad places behind a rate of rejected ones.

    Parameters
    ----------
    rejected, examined : array_like
        As found.
    sensitivity : array_like
        Share of the bad places that are rejected.
    specificity : array_like
        Share of the good places that are accepted; with sensitivity above 1 in sum.
    level : float
        Confidence level of the bounds.

    Returns
    -------
    TrueRate
        Not cut off at 0 and 1: a value below 0 says that fewer were rejected than false calls
        alone would give, so that the specificity does not fit this work.

    Notes
    -----
    Rogan & Gladen 1978, Am. J. Epidemiol. 107:71; bounds are Clopper-Pearson's, transformed alike
    (Reiczigel, Földi & Ózsvári 2010, Epidemiol. Infect. 138:1674), and take sensitivity and
    specificity as known: taken from a trial of 50 flaws and 100 sound places, as if known, a 95 %
    bound covered 85 % in simulation. Checked against the documentation of R's epiR.

    Examples
    --------
    >>> rate = true_rate(45, 150, sensitivity=0.96, specificity=0.89)
    >>> [round(float(part), 4) for part in rate]
    [0.2235, 0.1388, 0.3178, 0.044]
    """
    hit, clear = np.asarray(sensitivity, float), np.asarray(specificity, float)
    better = hit + clear - 1
    if not bool(np.all((better > 0) & (hit <= 1) & (clear <= 1))):
        raise UseError(
            "sensitivity and specificity must be at most 1 each and above 1 in sum; "
            "else the method tells no more than a coin"
        )
    bounds = proportion_interval(rejected, examined, level=level)
    k, n = np.asarray(rejected, float), np.asarray(examined, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = k / n
        error = np.sqrt(share * (1 - share) / n) / better
    value, lower, upper = (
        np.asarray((part + clear - 1) / better, float) for part in (share, *bounds)
    )
    return TrueRate(value, lower, upper, np.asarray(error, float))
