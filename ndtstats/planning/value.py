"""What exposures buy: what they find, whom they catch, and what stays hidden.

A welder's relative rate has a gamma distribution, from results or from what is usual. What a
further exposure is worth falls with what was already looked at of the same welder: if his earlier
places were clean, less is expected of him, and if one was rejected, the procedure for rejects sees
to the rest of his work without this budget. So an exposure is worth what it finds on work in which
nobody has noticed any trouble yet.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

_Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stakes:
    """Places with what is at stake there, one element a place.

    Attributes
    ----------
    welder : ndarray of int
        Number of who is charged with the place, row of ``a`` and ``b``.
    bare : ndarray
        Rejectable imperfections that an examination of it would find, of a welder at the mean.
    consequence : ndarray
        What one of them would mean.
    exposures : ndarray of int
        How many exposures the place takes.
    a, b : ndarray
        Shape and rate of the gamma of each welder's relative rate.
    limit : ndarray
        Relative rate of each welder above which he must be noticed; infinite: he is noticed, or
        cannot be.
    """

    welder: npt.NDArray[np.int64]
    bare: _Floats
    consequence: _Floats
    exposures: npt.NDArray[np.int64]
    a: _Floats
    b: _Floats
    limit: _Floats

    def expected(self) -> _Floats:
        """Return the rejectable imperfections that an examination of each place would find."""
        return np.asarray(self.bare * (self.a / self.b)[self.welder])

    def looked_at(self, taken: npt.NDArray[np.bool_]) -> _Floats:
        """Return what would be found of each welder in places, were he at the mean."""
        return np.bincount(self.welder[taken], self.bare[taken], len(self.a)).astype(float)


def unnoticed(a: Any, b: Any, limit: Any, looked_at: Any) -> Any:
    """Return the probability that a welder is above the limit and nothing of his was rejected.

    Parameters
    ----------
    a, b : array_like
        Shape and rate of the gamma of his relative rate.
    limit : array_like
        The relative rate that he must not exceed.
    looked_at : array_like
        What would be found in the places looked at, were he at the mean.

    Notes
    -----
    With a relative rate t, nothing is found with probability exp(-t E). Over the gamma that is
    (b / (b + E))^a times the tail of the gamma with rate b + E beyond the limit. Checked by
    simulation.

    Examples
    --------
    >>> unnoticed(2.0, 2.0, 2.0, [0.0, 1.0]).round(4).tolist()
    [0.0916, 0.0077]
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    shape, rate = np.asarray(a, float), np.asarray(b, float)
    seen = np.asarray(looked_at, float)
    clean = (rate / (rate + seen)) ** shape
    return clean * special.gammaincc(shape, np.asarray(limit, float) * (rate + seen))


def by_gain(
    stakes: Stakes, free: npt.NDArray[np.bool_], looked_at: _Floats
) -> tuple[npt.NDArray[np.int64], _Floats]:
    """Return free places in the order in which exposures are best spent on them.

    Parameters
    ----------
    stakes : Stakes
        All places.
    free : ndarray of bool
        Those that may be chosen.
    looked_at : ndarray
        What would be found of each welder in places that are examined anyway, were he at the mean.

    Returns
    -------
    order : ndarray of int
        Places, best first.
    gain : ndarray
        Expected consequence found by each exposure there, on work without a reject so far, given
        that the places before it in the order are examined too; it never rises.

    Notes
    -----
    With E looked at of a welder before, the gain of an exposure is

        consequence × bare / exposures × (b / (b + E))^a × a / (b + E):

    the probability that all was clean so far, times what is then expected. Within a welder it falls
    with every place, so that sorting all places by gain makes the greedy choice.
    """
    places = np.flatnonzero(free)
    density = stakes.bare[places] * stakes.consequence[places] / stakes.exposures[places]
    order = np.lexsort((places, -density, stakes.welder[places]))
    places, density = places[order], density[order]
    who = stakes.welder[places]
    before = looked_at[who] + _earlier(who, stakes.bare[places])
    a, b = stakes.a[who], stakes.b[who]
    gain = density * (b / (b + before)) ** a * a / (b + before)
    best = np.argsort(-gain, kind="stable")
    return places[best], gain[best]


def spend(
    stakes: Stakes,
    free: npt.NDArray[np.bool_],
    looked_at: _Floats,
    budget: int,
) -> tuple[npt.NDArray[np.int64], _Floats]:
    """Return the places that a number of exposures is best spent on, and their gains.

    Places are taken in the order of :func:`by_gain` as long as they fit; one that takes more
    exposures than are left is passed over.
    """
    order, gain = by_gain(stakes, free, looked_at)
    number = stakes.exposures[order]
    taken = np.zeros(len(order), dtype=bool)
    left = budget
    while left > 0:
        fits = ~taken & (number <= left)
        # What has been passed over does not come back: what is left only shrinks.
        reach = fits & (np.cumsum(np.where(fits, number, 0)) <= left)
        if not reach.any():
            break
        taken |= reach
        left -= int(number[reach].sum())
    return order[taken], gain[taken]


def value_curve(
    stakes: Stakes,
    order: npt.NDArray[np.int64],
    *,
    looked_at: _Floats,
    hidden: float,
) -> pd.DataFrame:
    """Return what is bought by examining places one after another.

    Parameters
    ----------
    stakes : Stakes
        All places.
    order : ndarray of int
        Places in the order in which they are examined.
    looked_at : ndarray
        What would be found of each welder in places examined before, were he at the mean.
    hidden : float
        Rejectable imperfections expected in all places before the first of them is examined.

    Returns
    -------
    DataFrame
        A row before the first place and one after each: ``exposures``, ``found`` (rejectable
        imperfections expected to be found), ``consequence`` (the same, weighed), ``hidden``
        (expected to be left), ``caught`` (probability that of every welder above the limit
        something is rejected).
    """
    expected = stakes.expected()[order]
    found = _running(expected)
    return pd.DataFrame(
        {
            "exposures": _running(stakes.exposures[order]).astype(np.int64),
            "found": found,
            "consequence": _running(expected * stakes.consequence[order]),
            "hidden": hidden - found,
            "caught": _caught(stakes, order, looked_at),
        }
    )


def left_in(stakes: Stakes, examined: npt.NDArray[np.bool_], detection: float) -> float:
    """Return the rejectable imperfections expected in places, before anything more is examined.

    What an examination finds is the share ``detection`` of what is there; of places examined
    already, only what was missed is left.
    """
    there = stakes.expected() / detection
    return float(np.where(examined, there * (1 - detection), there).sum())


def _running(part: Any) -> _Floats:
    return np.concatenate([[0.0], np.cumsum(part)])


def _earlier(who: npt.NDArray[np.int64], amount: _Floats) -> _Floats:
    """Return the sum of an amount over the elements of the same number before each element."""
    order = np.argsort(who, kind="stable")
    before = np.cumsum(amount[order]) - amount[order]
    begins = np.flatnonzero(np.diff(who[order], prepend=-1))
    result = np.empty(len(who))
    result[order] = before - np.repeat(before[begins], np.diff(begins, append=len(who)))
    return result


def _caught(stakes: Stakes, order: npt.NDArray[np.int64], looked_at: _Floats) -> _Floats:
    """Return the probability that nobody above the limit goes unnoticed, step by step."""
    who, bare = stakes.welder[order], stakes.bare[order]
    before = looked_at[who] + _earlier(who, bare)
    change = _log_noticed(stakes, who, before + bare) - _log_noticed(stakes, who, before)
    everybody = np.arange(len(stakes.a))
    first = _log_noticed(stakes, everybody, looked_at).sum()
    return np.asarray(np.exp(first + _running(change)))


def _log_noticed(stakes: Stakes, who: Any, looked_at: Any) -> Any:
    return np.log1p(-unnoticed(stakes.a[who], stakes.b[who], stakes.limit[who], looked_at))
