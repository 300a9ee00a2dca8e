"""The Bernoulli CUSUM: it watches one welder spot by spot and tells when his rate has gone up.

Every accept takes 1 away, down to 0; every reject adds m - 1. At the limit it signals: so many
rejects within so few spots are likelier at the bad rate than at the good one. That is the
sequential test of the two rates, begun anew whenever it speaks for the good one (Page 1954,
Biometrika 41:100; Reynolds & Stoumbos 1999, J. Qual. Technol. 31:87).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError

_Floats = npt.NDArray[np.float64]
_Ints = npt.NDArray[np.int64]

#: A limit above this would need rejects by the hundred; no such plan is meant.
_MOST_STATES = 200_000
#: Spots followed at once: much more than lies between two signals would be followed again.
_STRETCH = 1024


@dataclass(frozen=True, slots=True)
class BernoulliCusum:
    """A Bernoulli CUSUM, in whole steps of 1/m of a reject.

    Parameters
    ----------
    good, bad : float
        Rate that is borne and rate to be told of, 0 < good < bad < 1.
    spots_per_reject : int
        m: a reject counts as much as m - 1 accepts take away; 2 or more.
    limit : int
        Sum at which it signals, in steps: 1 or more. The limit of the paper is limit / m.

    Examples
    --------
    >>> chart = choose_cusum(0.02, 0.10, spots_between_false_alarms=2000)
    >>> chart.spots_per_reject, chart.limit
    (20, 50)
    >>> chart.run_length([0.02, 0.10]).round(1).tolist()
    [2108.1, 45.3]
    """

    good: float
    bad: float
    spots_per_reject: int
    limit: int

    def __post_init__(self) -> None:
        if not 0 < self.good < self.bad < 1:
            raise UseError(
                f"the good rate {self.good:g} must lie above 0 and below the bad rate "
                f"{self.bad:g}, which must lie below 1"
            )
        if self.spots_per_reject < 2 or self.limit < 1:
            raise UseError("a CUSUM needs 2 or more spots per reject, and a limit of 1 or more")

    def run_length(self, rate: Any) -> _Floats:
        """Return the average number of spots until a signal, from a sum of 0.

        Parameters
        ----------
        rate : array_like
            True reject rate, above 0 and at most 1.

        Notes
        -----
        Exact: the sum is a Markov chain of ``limit`` states (Brook & Evans 1972, Biometrika
        59:539). Checked against closed forms and a plain simulation.
        """
        rates = np.asarray(rate, float)
        if not bool(np.all((rates > 0) & (rates <= 1))):
            raise UseError("a rate must lie above 0 and be at most 1 for a signal to come at all")
        distinct, back = np.unique(rates, return_inverse=True)
        # A curve has some dozens of rates; each is one banded system.
        each = np.array([_run_length(self.spots_per_reject, self.limit, p) for p in distinct])
        return np.asarray(each[back].reshape(rates.shape), float)

    def track(self, rejected: Any, group: Any = None) -> pd.DataFrame:
        """Return the sum after each spot, welder by welder, and where it signals.

        Parameters
        ----------
        rejected : array_like of bool, shape (n,)
            Verdicts in order of time; those of different welders may stand mixed.
        group : array_like of shape (n,), optional
            Whose spot it is; one welder if left out.

        Returns
        -------
        DataFrame
            In the order given: ``group``, ``number`` (of the spot among those of its welder, from
            1), ``value`` (in rejects: the sum over m), ``limit`` (alike), ``signal``. After a
            signal the sum begins anew at 0, for a signal is acted upon.

        Examples
        --------
        >>> chart = BernoulliCusum(0.02, 0.20, spots_per_reject=10, limit=18)
        >>> chart.track([0, 1, 0, 1, 1, 0])["value"].tolist()
        [0.0, 0.9, 0.8, 1.7, 2.6, 0.0]
        """
        labels = pd.Series(rejected).astype(bool)
        owner = pd.Series("" if group is None else np.asarray(group), index=range(len(labels)))
        codes = pd.factorize(owner, use_na_sentinel=False)[0]
        order = np.argsort(codes, kind="stable")
        sums, signal = np.zeros(len(order), np.int64), np.zeros(len(order), bool)
        steps = np.where(labels.to_numpy(), self.spots_per_reject - 1, -1).astype(np.int64)
        sums[order], signal[order] = _followed(steps[order], codes[order], self.limit)
        return pd.DataFrame(
            {
                "group": owner,
                "number": owner.groupby(codes).cumcount() + 1,
                "value": sums / self.spots_per_reject,
                "limit": self.limit / self.spots_per_reject,
                "signal": signal,
            }
        )


def choose_cusum(good: float, bad: float, *, spots_between_false_alarms: float) -> BernoulliCusum:
    """Return the quickest Bernoulli CUSUM that gives false alarms no oftener than asked.

    Parameters
    ----------
    good, bad : float
        Rate that is borne and rate to be told of quickly.
    spots_between_false_alarms : float
        Average number of spots until a signal while the rate is the good one.

    Notes
    -----
    m is the whole number nearest to the ratio of the weights of the sequential test, as Reynolds &
    Stoumbos have it, so that the chain is exact; the limit is the lowest that is long enough.
    Checked against the weights of Reynolds & Stoumbos 1999 by hand, and by trying lower limits.

    Examples
    --------
    >>> choose_cusum(0.01, 0.05, spots_between_false_alarms=500).limit
    51
    """
    if not 0 < good < bad < 1:
        raise UseError(
            f"the good rate {good:g} must lie above 0 and below the bad rate {bad:g}, "
            "which must lie below 1"
        )
    if not (spots_between_false_alarms >= 1 and math.isfinite(spots_between_false_alarms)):
        raise UseError("spots between false alarms must be a number of 1 or more, such as 1000")
    accept = math.log1p(-good) - math.log1p(-bad)
    reject = math.log(bad / good)
    m = max(round((reject + accept) / accept), 2)
    low, high = 0, m
    while _run_length(m, high, good) < spots_between_false_alarms:
        low, high = high, 2 * high
        if high > _MOST_STATES:
            raise UseError("false alarms so seldom are not to be had at these rates; ask for fewer")
    while high - low > 1:
        middle = (low + high) // 2
        enough = _run_length(m, middle, good) >= spots_between_false_alarms
        low, high = (low, middle) if enough else (middle, high)
    return BernoulliCusum(good, bad, m, high)


def _run_length(m: int, limit: int, rate: float) -> float:
    """Return the average run length of the chain: 1 + (1 - p) L(s - 1) + p L(s + m - 1) = L(s)."""
    from scipy.linalg import solve_banded  # noqa: PLC0415  (slow to import)

    if limit < m:
        return 1 / rate
    above = m - 1
    bands = np.zeros((above + 2, limit))
    bands[0, above:] = -rate
    bands[above, :] += 1.0
    bands[above, 0] -= 1 - rate
    bands[above + 1, : limit - 1] = -(1 - rate)
    return float(solve_banded((1, above), bands, np.ones(limit))[0])


def _followed(steps: _Ints, codes: _Ints, limit: int) -> tuple[_Ints, npt.NDArray[np.bool_]]:
    """Return sums that begin anew after each signal, for runs of equal codes.

    Each round follows all runs at once, up to their next signal or the end of a stretch, so that
    there are as many rounds as one run has signals and stretches.
    """
    sums, signal = np.zeros(len(steps), np.int64), np.zeros(len(steps), bool)
    at = np.flatnonzero(np.diff(codes, prepend=-1))
    end = np.append(at, len(steps))[1:]
    carried = np.zeros(len(at), np.int64)
    while len(at):
        length = np.minimum(end - at, _STRETCH)
        first = np.cumsum(length) - length
        run = np.repeat(np.arange(len(at)), length)
        place = np.arange(len(run)) + (at - first)[run]
        value = _reflected(steps[place], carried, first, length)
        over = np.flatnonzero(value >= limit)
        signalled, where = np.unique(run[over], return_index=True)
        last = first + length - 1
        last[signalled] = over[where]
        signal[place[over[where]]] = True
        done = np.arange(len(run)) <= last[run]
        sums[place[done]] = value[done]
        carried = value[last]
        carried[signalled] = 0
        at = place[last] + 1
        left = at < end
        at, end, carried = at[left], end[left], carried[left]
    return sums, signal


def _reflected(steps: _Ints, start: _Ints, first: _Ints, length: _Ints) -> _Ints:
    """Return sums that never fall below 0, for stretches that begin at given values."""
    total = np.cumsum(steps)
    before = (total - steps)[first] - start
    within = total - np.repeat(before, length)
    # Each stretch lies below the one before, so that one running minimum serves them all.
    apart = 2 * int(np.abs(within).max()) + 1
    drop = np.repeat(np.arange(len(length)) * apart, length)
    floor = np.minimum.accumulate(np.minimum(within, 0) - drop) + drop
    return np.asarray(within - floor, np.int64)
