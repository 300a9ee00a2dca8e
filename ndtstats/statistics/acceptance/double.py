"""Double plans: a first sample decides, or asks for a second."""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance.arguments import CountArray, FloatArray, counts, shares
from ndtstats.statistics.acceptance.chance import bad_in_lot


@dataclass(frozen=True, slots=True)
class DoublePlan:
    """A first and, where that does not decide, a second sample.

    The first sample of ``examine_first`` passes with ``allow_first`` rejects or fewer and fails
    with ``reject_first`` or more. In between, ``examine_second`` more are examined, and the work
    passes with ``allow_both`` rejects or fewer in both together.

    Raises
    ------
    UseError
        If the numbers contradict each other.
    """

    examine_first: int
    allow_first: int
    reject_first: int
    examine_second: int
    allow_both: int

    def __post_init__(self) -> None:
        counts([self.examine_first, self.examine_second], "examined", least=1)
        counts([self.allow_first, self.allow_both], "allowed")
        if self.reject_first <= self.allow_first + 1:
            raise UseError(
                f"{self.allow_first} allowed and {self.reject_first} rejected leave nothing for a "
                "second sample; the first sample must reject at a number higher by 2 or more"
            )
        if self.allow_both < self.allow_first:
            raise UseError(
                f"both samples together must allow at least the {self.allow_first} of the first"
            )


class DoubleOutcome(NamedTuple):
    """What a double plan does with work of a given rate; arrays of the shape of the rates."""

    passed_first: FloatArray
    passed_second: FloatArray
    passed: FloatArray
    average_examined: FloatArray


def double_outcome(rate: Any, plan: DoublePlan, *, lot: int | None = None) -> DoubleOutcome:
    """Return the OC curve and the average sample number of a double plan.

    Parameters
    ----------
    rate : array_like
        True share that is bad, 0 to 1; in a finite lot it stands for :func:`bad_in_lot` places.
    plan : DoublePlan
        The plan.
    lot : int, optional
        Places in the lot; None: a stream without end.

    Returns
    -------
    DoubleOutcome
        Probability of passing by the first sample, by the second, and at all; and the number
        examined on average, where a second sample once begun is examined to its end.

    Notes
    -----
    Dodge & Romig 1929; Montgomery, *Introduction to Statistical Quality Control*, ch. 15. In a
    finite lot the second sample is drawn from what the first left, and both are hypergeometric.

    Checked against Montgomery's plan (50, 1, 4; 100, 3), whose second-sample figure is cut to
    0.010 where the exact one is 0.011, and against an enumeration of finite lots.

    Examples
    --------
    >>> outcome = double_outcome([0.01, 0.05], DoublePlan(50, 1, 4, 100, 3))
    >>> outcome.passed.round(3).tolist(), outcome.average_examined.round(1).tolist()
    ([0.971, 0.29], [58.8, 98.1])
    """
    p = shares(rate, "rate")
    between = np.arange(plan.allow_first + 1, plan.reject_first)
    if lot is None:
        passed_first, undecided, passes = _in_stream(p, plan, between)
    else:
        passed_first, undecided, passes = _in_lot(p, plan, between, lot)
    passed_second = np.sum(undecided * passes, axis=-1)
    second = plan.examine_second * np.sum(undecided, axis=-1)
    return DoubleOutcome(
        passed_first, passed_second, passed_first + passed_second, plan.examine_first + second
    )


def _in_stream(
    p: FloatArray, plan: DoublePlan, between: CountArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return P(first passes), and on a last axis P(x rejects in it) and P(then passes)."""
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    r = p[..., None]
    return (
        np.asarray(stats.binom.cdf(plan.allow_first, plan.examine_first, p), float),
        np.asarray(stats.binom.pmf(between, plan.examine_first, r), float),
        np.asarray(stats.binom.cdf(plan.allow_both - between, plan.examine_second, r), float),
    )


def _in_lot(
    p: FloatArray, plan: DoublePlan, between: CountArray, lot: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    both = plan.examine_first + plan.examine_second
    if both > lot:
        raise UseError(f"the two samples need {both} and the lot has {lot}")
    bad = bad_in_lot(p, lot)
    rest = lot - plan.examine_first
    # Where more were rejected than there are bad, the probability is 0; any remainder will do.
    left = np.clip(bad[..., None] - between, 0, rest)
    first, second = plan.examine_first, plan.examine_second
    return (
        np.asarray(stats.hypergeom.cdf(plan.allow_first, lot, bad, first), float),
        np.asarray(stats.hypergeom.pmf(between, lot, bad[..., None], first), float),
        np.asarray(stats.hypergeom.cdf(plan.allow_both - between, rest, left, second), float),
    )
