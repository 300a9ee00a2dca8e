"""The sequential test: examine one by one until the count of rejects decides.

Wald 1947, *Sequential Analysis*, ch. 5: work of a good rate should pass, work of a bad rate should
not, and on average far fewer are examined than a single plan with the same risks needs.
"""

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance.arguments import CountArray, FloatArray, counts, shares

#: So much short of a whole number still counts as that number.
WHOLE = 1e-9


@dataclass(frozen=True, slots=True)
class SequentialPlan:
    """Wald's sequential probability ratio test between a good and a bad rate.

    Parameters
    ----------
    good, bad : float
        Rate that ought to pass and rate that ought not to, 0 < good < bad < 1.
    producer_risk, consumer_risk : float
        Chance that good work fails and that bad work passes, as aimed at; together below 1.

    Notes
    -----
    After n examined the work passes with no more than -h1 + s n rejects and fails with h2 + s n or
    more (Wald 1947, ch. 5). Checked against the NIST/SEMATECH e-Handbook 6.2.6, which uses
    base-10 logarithms for k; the lines are the same.

    Examples
    --------
    >>> plan = SequentialPlan(0.01, 0.10, producer_risk=0.05, consumer_risk=0.10)
    >>> round(plan.slope, 4), round(plan.h1, 3), round(plan.h2, 3), plan.first_acceptance
    (0.0397, 0.939, 1.205, 24)
    """

    good: float
    bad: float
    producer_risk: float = 0.05
    consumer_risk: float = 0.10

    def __post_init__(self) -> None:
        shares([self.good, self.bad], "rate", zero=False, one=False)
        shares([self.producer_risk, self.consumer_risk], "risk", zero=False, one=False)
        if self.good >= self.bad:
            raise UseError(f"the good rate {self.good:g} must be below the bad rate {self.bad:g}")
        if self.producer_risk + self.consumer_risk >= 1:
            raise UseError("the two risks must add up to less than 1, or a coin would do")

    @property
    def reject_weight(self) -> float:
        """What a reject adds to the logarithm of the likelihood ratio."""
        return math.log(self.bad / self.good)

    @property
    def accept_weight(self) -> float:
        """What an accept adds to the logarithm of the likelihood ratio; below 0."""
        return math.log1p(-self.bad) - math.log1p(-self.good)

    @property
    def upper(self) -> float:
        """Logarithm of the likelihood ratio at which the work fails, ln((1 - beta) / alpha)."""
        return math.log((1 - self.consumer_risk) / self.producer_risk)

    @property
    def lower(self) -> float:
        """Logarithm of the likelihood ratio at which the work passes, ln(beta / (1 - alpha))."""
        return math.log(self.consumer_risk / (1 - self.producer_risk))

    @property
    def k(self) -> float:
        """Distance between the weights of a reject and an accept."""
        return self.reject_weight - self.accept_weight

    @property
    def slope(self) -> float:
        """Rejects per examination of both lines, s; between the good and the bad rate."""
        return -self.accept_weight / self.k

    @property
    def h1(self) -> float:
        """How far the acceptance line lies below s n, in rejects."""
        return -self.lower / self.k

    @property
    def h2(self) -> float:
        """How far the rejection line lies above s n, in rejects."""
        return self.upper / self.k

    @property
    def first_acceptance(self) -> int:
        """Fewest examinations after which work without a reject can pass."""
        return math.ceil(self.h1 / self.slope - WHOLE)

    @property
    def first_rejection(self) -> int:
        """Fewest examinations after which work with nothing but rejects can fail."""
        return math.ceil(self.h2 / (1 - self.slope) - WHOLE)

    @property
    def practical_end(self) -> int:
        """Examinations after which breaking off leaves little undecided.

        Five times Wald's average at the slope, which is about the largest; of the four plans in
        the tests it leaves 0.5 to 1.3 % undecided at the worst rate.
        """
        return math.ceil(5 * self.h1 * self.h2 / (self.slope * (1 - self.slope)))

    def acceptance_number(self, examined: Any) -> CountArray:
        """Return the rejects with which work passes after so many; -1: it cannot pass yet."""
        line = self.slope * counts(examined, "examined") - self.h1
        return np.asarray(np.maximum(np.floor(line + WHOLE), -1), np.int64)

    def rejection_number(self, examined: Any) -> CountArray:
        """Return the rejects with which work fails after so many.

        More than so many: it cannot fail yet.
        """
        line = self.slope * counts(examined, "examined") + self.h2
        return np.asarray(np.ceil(line - WHOLE), np.int64)


class WaldOutcome(NamedTuple):
    """What the test does by Wald's formulas; arrays of the shape of the rates."""

    passed: FloatArray
    average_examined: FloatArray


class SequentialOutcome(NamedTuple):
    """What the test does, exactly, when it is broken off; arrays of the shape of the rates."""

    passed: FloatArray
    failed: FloatArray
    undecided: FloatArray
    average_examined: FloatArray


def wald_outcome(rate: Any, plan: SequentialPlan) -> WaldOutcome:
    """Return the OC curve and average sample number by Wald's formulas.

    Parameters
    ----------
    rate : array_like
        True share that is bad, 0 to 1.
    plan : SequentialPlan
        The plan.

    Notes
    -----
    Wald 1947, ch. 3 and 5. The formulas take the test to end on a line, where in truth it ends a
    little beyond, so the number examined comes out too small: in the example 16.4 at the bad rate,
    where 22.4 is exact (:func:`sequential_outcome`). Checked against the closed forms at the good
    rate, the bad rate and the slope for three published plans.

    Examples
    --------
    >>> plan = SequentialPlan(0.01, 0.10)
    >>> passed, average = wald_outcome([0.01, 0.10], plan)
    >>> passed.round(3).tolist(), average.round(1).tolist()
    ([0.95, 0.1], [28.0, 16.4])
    """
    p = shares(rate, "rate")
    passed = _wald_passed(_wald_h(p, plan), plan)
    drift = plan.k * (p - plan.slope)
    # At the slope both the drift and the mean end point vanish; the ratio tends to this limit.
    near = np.abs(p - plan.slope) < 1e-7
    limit = plan.h1 * plan.h2 / (plan.slope * (1 - plan.slope))
    end = passed * plan.lower + (1 - passed) * plan.upper
    average = np.where(near, limit, end / np.where(near, 1.0, drift))
    return WaldOutcome(passed, np.asarray(average, float))


def _wald_h(p: FloatArray, plan: SequentialPlan) -> FloatArray:
    """Return h with p e^(h z1) + (1 - p) e^(h z0) = 1: 1 at the good rate, -1 at the bad one."""
    low, high = np.full(p.shape, -700 / plan.k), np.full(p.shape, 700 / plan.k)
    for _ in range(64):  # halves the range below the spacing of doubles near 1
        h = (low + high) / 2
        safe = np.where(h == 0, 1.0, h)
        at_h = np.expm1(-safe * plan.accept_weight) / np.expm1(safe * plan.k)
        above = np.where(h == 0, plan.slope, at_h) > p
        low, high = np.where(above, h, low), np.where(above, high, h)
    return np.asarray((low + high) / 2, float)


def _wald_passed(h: FloatArray, plan: SequentialPlan) -> FloatArray:
    """Return (A^h - 1) / (A^h - B^h), written so that no power overflows."""
    a, b = plan.upper, plan.lower
    positive, negative = np.maximum(h, 1e-300), np.minimum(h, -1e-300)
    rising = np.expm1(-positive * a) / np.expm1(-positive * (a - b))
    falling = np.exp(-negative * b) * np.expm1(negative * a) / np.expm1(negative * (a - b))
    return np.asarray(np.where(h > 0, rising, falling), float)


def sequential_outcome(rate: Any, plan: SequentialPlan, *, most: int) -> SequentialOutcome:
    """Return exactly what the test does when it is broken off after ``most`` examinations.

    Parameters
    ----------
    rate : array_like
        True share that is bad, 0 to 1.
    plan : SequentialPlan
        The plan.
    most : int
        Examinations after which the test ends undecided, 1 or more.

    Returns
    -------
    SequentialOutcome
        Probabilities of passing, failing and being left undecided, which add up to 1, and the
        number examined on average.

    Notes
    -----
    The chance of each count of rejects is carried from one examination to the next, between the
    lines (the direct method: Aroian 1968, Technometrics 10:125). Checked against an enumeration
    of all courses of a short test, by simulation, and by Wald's inequalities on the two risks.

    Examples
    --------
    >>> outcome = sequential_outcome([0.01, 0.10], SequentialPlan(0.01, 0.10), most=500)
    >>> outcome.passed.round(3).tolist(), outcome.average_examined.round(1).tolist()
    ([0.978, 0.1], [30.2, 22.4])
    """
    p = shares(rate, "rate")
    last = int(counts(most, "examinations at most", least=1))
    n = np.arange(last + 1)
    accept, reject = plan.acceptance_number(n), plan.rejection_number(n)
    r = p.ravel()[:, None]
    open_ = np.zeros((r.size, int(reject[-1]) + 2))  # chance of so many rejects and no decision
    open_[:, 0] = 1.0
    passed, failed, average = (np.zeros(r.size) for _ in range(3))
    for step in range(1, last + 1):
        low, high = int(accept[step - 1]) + 1, int(reject[step - 1])
        before = open_[:, low:high]
        average += before.sum(axis=1)
        after = np.zeros((r.size, high - low + 1))
        after[:, :-1] = before * (1 - r)
        after[:, 1:] += before * r
        open_[:, low : high + 1] = after
        passed += open_[:, low : int(accept[step]) + 1].sum(axis=1)
        failed += open_[:, int(reject[step]) : high + 1].sum(axis=1)
    undecided = open_[:, int(accept[-1]) + 1 : int(reject[-1])].sum(axis=1)
    return SequentialOutcome(*(a.reshape(p.shape) for a in (passed, failed, undecided, average)))
