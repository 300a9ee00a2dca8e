"""Single plans: examine so many, and pass the work with so many rejects or fewer."""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance.arguments import TIE, CountArray, FloatArray, counts, shares
from ndtstats.statistics.acceptance.chance import accept_probability, bad_in_lot
from ndtstats.statistics.acceptance.needed import examinations_needed
from ndtstats.statistics.acceptance.search import least_enough

#: Rejects allowed by the largest plan that is looked for; its sample is larger still.
MOST_ALLOWED = 10_000


class TwoPointPlan(NamedTuple):
    """A single plan, and what it does at the two rates it was made for.

    Examine so many; the work passes with ``allowed`` rejects or fewer. ``good`` and ``bad`` are
    the rates asked for or, in a finite lot, the whole numbers of it that stand for them.
    """

    examine: int
    allowed: int
    good: float
    bad: float
    good_fails: float
    bad_passes: float


class OutgoingLimit(NamedTuple):
    """The worst average rate after rectification, and the rate before it that leads there."""

    outgoing: FloatArray
    at_rate: FloatArray


def rate_accepted(
    probability: Any, examined: Any, allowed: Any = 0, *, lot: Any = None, detection: Any = 1.0
) -> FloatArray:
    """Return the highest true rate that still passes with at least a given probability.

    It is the OC curve read the other way: at 0.95 the rate that is nearly always accepted, at 0.10
    the rate beyond which work is seldom accepted (the LTPD).

    Parameters
    ----------
    probability : array_like
        Probability of passing, 0 < probability < 1.
    examined, allowed : array_like
        The plan; fewer allowed than examined.
    lot : array_like, optional
        Places in the lot; the rate is then a whole number of it. None: a stream without end.
    detection : array_like
        Probability that a bad place is found when examined, 0 < detection <= 1.

    Returns
    -------
    ndarray of float
        Rates of the broadcast shape; 1 where work passes so often however bad it is.

    Notes
    -----
    In a stream P(rejects <= c) = P(Beta(c + 1, n - c) > rate x detection), so the rate is a
    quantile of that beta distribution. In a finite lot the number of bad places is searched.
    Checked against MIL-STD-105E Table X-K-1, which prints the Poisson form.

    Examples
    --------
    >>> rate_accepted([0.95, 0.10], 52, 3).round(4).tolist()
    [0.0267, 0.124]
    >>> rate_accepted([0.95, 0.10], 52, 3, lot=100).tolist()
    [0.03, 0.1]
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    chance = shares(probability, "probability", zero=False, one=False)
    found = shares(detection, "detection", zero=False)
    n, c = counts(examined, "examined", least=1), counts(allowed, "allowed")
    _refuse_more_allowed(n, c)
    if lot is None:
        return np.minimum(special.betaincinv(c + 1.0, n - c, 1 - chance) / found, 1.0)
    size = counts(lot, "lot", least=1)

    def passes(bad: CountArray) -> npt.NDArray[np.bool_]:
        passed = accept_probability(bad / size, n, c, lot=size, detection=found)
        return np.asarray(passed >= chance * (1 - TIE))

    shape = np.broadcast_shapes(*(a.shape for a in (chance, n, c, size, found)))
    most = np.broadcast_to(size, shape)
    first_failing = least_enough(passes, np.zeros(shape, np.int64), most)
    return np.asarray((first_failing - ~passes(first_failing)) / size, float)


def outgoing_rate(rate: Any, examined: Any, allowed: Any = 0, *, lot: Any = None) -> FloatArray:
    """Return the average rate left when work that fails is examined whole and repaired (AOQ).

    Parameters
    ----------
    rate : array_like
        Rate of the stream the lots come from.
    examined, allowed : array_like
        The plan.
    lot : array_like, optional
        Places in a lot; None: so large that the sample is nothing of it.

    Notes
    -----
    Dodge & Romig 1929: P(pass) x rate x (N - n) / N. Rejects are repaired, found for certain, and
    repairs are sound; where that is too hopeful, more is left. The rate is that of the stream:
    lot by lot the number of bad places varies, hence the binomial P(pass) whatever the lot.

    Checked against the NIST/SEMATECH e-Handbook 6.2.3.2 and Montgomery ch. 15.

    Examples
    --------
    >>> outgoing_rate(0.01, 89, 2, lot=10_000).round(4).item()
    0.0093
    """
    p, passed = shares(rate, "rate"), accept_probability(rate, examined, allowed)
    return np.asarray(passed * p * (1 - _examined_share(examined, lot)), float)


def average_examined(rate: Any, examined: Any, allowed: Any = 0, *, lot: Any) -> FloatArray:
    """Return how many of a lot are examined on average when lots that fail are examined whole.

    Parameters
    ----------
    rate, examined, allowed, lot
        As in :func:`outgoing_rate`.

    Notes
    -----
    The average total inspection (ATI) of Dodge & Romig 1929: n + (1 - P(pass)) (N - n). Checked
    against the NIST/SEMATECH e-Handbook 6.2.3.2 and Montgomery ch. 15.

    Examples
    --------
    >>> average_examined(0.01, 89, 2, lot=10_000).round().item()
    687.0
    """
    n = counts(examined, "examined")
    rest = (1 - _examined_share(examined, lot)) * counts(lot, "lot", least=1)
    return np.asarray(n + (1 - accept_probability(rate, n, allowed)) * rest, float)


def outgoing_limit(examined: Any, allowed: Any = 0, *, lot: Any = None) -> OutgoingLimit:
    """Return the highest average rate left, whatever the rate before: the AOQL.

    Parameters
    ----------
    examined, allowed, lot
        As in :func:`outgoing_rate`; fewer allowed than examined.

    Notes
    -----
    P(pass) is a survival function of a log-concave beta density, so rate x P(pass) has one maximum;
    it is where P(pass) = n rate b(c; n - 1, rate), found by halving. Checked against the factors y
    of Dodge & Romig 1959, which are the limit for large n.

    Examples
    --------
    >>> limit = outgoing_limit(52, 3)
    >>> limit.outgoing.round(4).item(), limit.at_rate.round(3).item()
    (0.0374, 0.056)
    """
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    n, c = np.broadcast_arrays(counts(examined, "examined", least=1), counts(allowed, "allowed"))
    _refuse_more_allowed(n, c)
    low, high = np.zeros(n.shape), np.ones(n.shape)
    for _ in range(60):  # 2**-60 is below the spacing of doubles near any maximum
        p = (low + high) / 2
        rising = stats.binom.cdf(c, n, p) > n * p * stats.binom.pmf(c, n - 1, p)
        low, high = np.where(rising, p, low), np.where(rising, high, p)
    at = (low + high) / 2
    return OutgoingLimit(outgoing_rate(at, n, c, lot=lot), np.asarray(at, float))


def two_point_plan(
    good: float,
    bad: float,
    *,
    producer_risk: float = 0.05,
    consumer_risk: float = 0.10,
    lot: int | None = None,
) -> TwoPointPlan:
    """Return the smallest single plan that passes good work and stops bad work.

    Parameters
    ----------
    good, bad : float
        Rate that ought to pass (the AQL) and rate that ought not to (the LTPD),
        0 < good < bad < 1.
    producer_risk : float
        Greatest chance that work at the good rate fails.
    consumer_risk : float
        Greatest chance that work at the bad rate passes.
    lot : int, optional
        Places in the lot. Good is then the greatest whole number of bad places that is at most
        the good rate, bad the least that is at least the bad rate. None: a stream.

    Raises
    ------
    UseError
        If an argument is impossible, or the two rates are too close to be told apart.

    Notes
    -----
    For each number allowed, the least number to examine that keeps the consumer's risk is the one
    kindest to the producer; the first number allowed with which the producer's risk is kept too
    gives the smallest plan of all, since more allowed need more examined. The search of Guenther
    1969 and Hald 1967.

    Checked against Kiermeier 2008 (n = 80, c = 7) and an exhaustive search.

    Examples
    --------
    >>> plan = two_point_plan(0.01, 0.08)
    >>> plan.examine, plan.allowed, round(plan.good_fails, 3), round(plan.bad_passes, 3)
    (65, 2, 0.028, 0.099)
    """
    shares(producer_risk, "producer's risk", zero=False, one=False)
    shares(consumer_risk, "consumer's risk", zero=False, one=False)
    shares([good, bad], "rate", zero=False, one=False)
    if good >= bad:
        raise UseError(f"the good rate {good:g} must be below the bad rate {bad:g}")
    if lot is not None:
        good, bad = _good_in_lot(good, lot), int(bad_in_lot(bad, lot)) / lot
        most = round(bad * lot) - 1
    else:
        most = MOST_ALLOWED
    first = 0
    while first <= most:
        allowed = np.arange(first, min(2 * first + 16, most + 1))
        examine = examinations_needed(bad, 1 - consumer_risk, allowed=allowed, lot=lot)
        passed = accept_probability(good, examine, allowed, lot=lot)
        fits = np.flatnonzero(1 - passed <= producer_risk * (1 + TIE))
        if fits.size:
            n, c = int(examine[fits[0]]), int(allowed[fits[0]])
            passes = accept_probability([good, bad], n, c, lot=lot)
            return TwoPointPlan(n, c, good, bad, float(1 - passes[0]), float(passes[1]))
        first = int(allowed[-1]) + 1
    raise UseError(f"{good:g} and {bad:g} are too close for any plan that could be carried out")


def _good_in_lot(good: float, lot: int) -> float:
    """Return the greatest rate of at most ``good`` that is a whole number of a lot.

    It is below the least whole number that is at least a higher rate, so that in a finite lot
    there always is a plan: at the worst, all of it is examined.
    """
    size = int(counts(lot, "lot", least=1))
    return float(np.floor(good * size * (1 + 1e-12))) / size


def _examined_share(examined: Any, lot: Any) -> FloatArray:
    n = counts(examined, "examined")
    if lot is None:
        return np.zeros(n.shape)
    size = counts(lot, "lot", least=1)
    if np.any(n > size):
        raise UseError("more are examined than the lot has")
    return np.asarray(n / size, float)


def _refuse_more_allowed(n: CountArray, c: CountArray) -> None:
    if np.any(c >= n):
        raise UseError("a plan must allow fewer rejects than it examines; otherwise all passes")
