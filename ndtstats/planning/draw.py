"""The draw: a fixed number of cells by chance, with known probabilities, spread along the walk.

All strata are drawn at once. Chance comes from a numpy generator that is passed in.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Closer to 0 or 1 than this a probability is that number, but for the last bits of a sum.
_SETTLED = 1e-9


def inclusion_probabilities(size: Any, stratum: Any, number: Any) -> Floats:
    """Return probabilities in proportion to size that add up to a number in each stratum.

    Parameters
    ----------
    size : array_like of shape (n,)
        Greater than 0: length × risk^a.
    stratum : array_like of int, shape (n,)
        Stratum of each cell, from 0.
    number : array_like of int
        How many are to be drawn from each stratum, at most as many as it has.

    Returns
    -------
    ndarray of shape (n,)
        A probability that would exceed 1 is 1, and what it leaves goes to the others of its
        stratum, until none exceeds 1 (Särndal, Swensson & Wretman 1992, 3.6.2, from memory).

    Examples
    --------
    >>> inclusion_probabilities([1, 1, 8], [0, 0, 0], [2]).tolist()
    [0.5, 0.5, 1.0]
    """
    x, h = np.asarray(size, dtype=float), np.asarray(stratum, dtype=np.int64)
    wanted = np.asarray(number, dtype=float)
    certain = np.zeros(len(x), dtype=bool)
    while True:
        open_size = np.bincount(h, np.where(certain, 0.0, x), len(wanted))
        left = wanted - np.bincount(h, certain, len(wanted))
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(open_size > 0, left / open_size, 0.0)
        pi = np.where(certain, 1.0, x * share[h])
        beyond = (pi >= 1.0 - 1e-12) & ~certain
        if not beyond.any():
            return pi
        certain |= beyond


def draw_pivotal(pi: Any, stratum: Any, rng: np.random.Generator) -> npt.NDArray[np.bool_]:
    """Return which cells are drawn: fixed number in each stratum, neighbours seldom together.

    Parameters
    ----------
    pi : array_like of shape (n,)
        Inclusion probabilities; in each stratum they add up to a whole number.
    stratum : array_like of int, shape (n,)
        Stratum of each cell, from 0.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray of bool
        The pivotal method (Deville & Tillé 1998, Biometrika 85:89), along the walk (Chauvet 2012,
        Bernoulli 18:1320), both from memory. Two neighbours share what their probabilities add up
        to: below 1, one takes all of it and the other is out; above 1, one is drawn and the other
        keeps the rest. Whoever is not settled meets the next in the following round.

    Notes
    -----
    The expected value of each probability stays what it was, so that the stated ones are exact.
    Unlike systematic steps the draw has no period, and pairs that are far apart are drawn together
    nearly as if independently; neighbours are drawn together less often than that. A variance that
    takes the draws as made with replacement, or as of maximum entropy given the probabilities
    (Hájek 1964), therefore errs on the wide side where neighbours are alike.

    Examples
    --------
    >>> drawn = draw_pivotal([0.5] * 6, [0, 0, 0, 0, 1, 1], np.random.default_rng(1))
    >>> int(drawn[:4].sum()), int(drawn[4:].sum())
    (2, 1)
    """
    p = np.array(pi, dtype=float)
    h = np.asarray(stratum, dtype=np.int64)
    order = np.argsort(h, kind="stable")
    left = order[(p[order] > _SETTLED) & (p[order] < 1 - _SETTLED)]
    while len(left) > 1:
        first, second = _pairs(left, h[left])
        if len(first) == 0:
            break
        p[first], p[second] = _duel(p[first], p[second], rng.random(len(first)))
        left = left[(p[left] > _SETTLED) & (p[left] < 1 - _SETTLED)]
    # What is left alone in its stratum has a whole number but for the last bits.
    return p > 0.5


def _pairs(left: Ints, stratum: Ints) -> tuple[Ints, Ints]:
    """Return who meets whom: the first and second, third and fourth … still open in a stratum."""
    begins = np.flatnonzero(np.diff(stratum, prepend=-1))
    place = np.arange(len(left)) - np.repeat(begins, np.diff(begins, append=len(left)))
    first = np.flatnonzero((place[:-1] % 2 == 0) & (stratum[:-1] == stratum[1:]))
    return left[first], left[first + 1]


def _duel(a: Floats, b: Floats, chance: Floats) -> tuple[Floats, Floats]:
    """Return what two probabilities become: one of them is settled, and neither changes in mean."""
    both = a + b
    over = both > 1
    # Above 1 the first is drawn with (1 - b) / (2 - both), below it takes all with a / both.
    wins = chance < np.where(over, (1 - b) / np.where(over, 2 - both, 1), a / both)
    more, less = np.where(over, 1.0, both), np.where(over, both - 1, 0.0)
    return np.where(wins, more, less), np.where(wins, less, more)


def draw_systematic(pi: Any, stratum: Any, rng: np.random.Generator) -> npt.NDArray[np.bool_]:
    """Return which cells are drawn: fixed number in each stratum, spread in the order given.

    Parameters
    ----------
    pi : array_like of shape (n,)
        Inclusion probabilities; in each stratum they add up to a whole number.
    stratum : array_like of int, shape (n,)
        Stratum of each cell, from 0.
    rng : Generator
        One start is taken from it for each stratum.

    Returns
    -------
    ndarray of bool
        Ordered systematic sampling (Madow 1949, Ann. Math. Stat. 20:333): the probabilities are
        laid end to end, and a cell is drawn when a mark set every 1.0 from a random start falls in
        it. Cells that lie close together are seldom drawn together.

    Examples
    --------
    >>> drawn = draw_systematic([0.5] * 6, [0, 0, 0, 0, 1, 1], np.random.default_rng(1))
    >>> int(drawn[:4].sum()), int(drawn[4:].sum())
    (2, 1)
    """
    p, h = np.asarray(pi, dtype=float), np.asarray(stratum, dtype=np.int64)
    drawn = np.zeros(len(p), dtype=bool)
    if len(p) == 0:
        return drawn
    strata = int(h.max()) + 1
    order = np.argsort(h, kind="stable")
    codes, weight = h[order], p[order]
    # A running sum within each stratum; a certain cell must span a whole step, so sums are taken
    # apart from the whole numbers before them.
    total = np.cumsum(weight)
    first = np.searchsorted(codes, np.arange(strata))
    before = np.concatenate([[0.0], total])[first]
    upper = total - before[codes]
    ends = np.append(first[1:], len(codes)) - 1
    held = ends >= first
    upper[ends[held]] = np.round(upper[ends[held]])
    lower = np.concatenate([[0.0], upper[:-1]])
    lower[first[held]] = 0.0
    start = rng.random(strata)[codes]
    drawn[order] = np.ceil(upper - start) > np.ceil(lower - start)
    return drawn


def allocate(number: int, length: Any, cells: Any, least: Any) -> Ints:
    """Return how many of a number go to each group: a least for each, the rest by length.

    Parameters
    ----------
    number : int
        How many in all.
    length, cells : array_like of shape (k,)
        Weld length of each group, and how many cells it has; no group gets more than it has.
    least : int or array_like of shape (k,)
        For each group, where it has as many.

    Returns
    -------
    ndarray of int
        Adds up to ``number``, or to more where the least of all groups asks for more, or to all
        there are. Remainders go to the largest (Hamilton).

    Examples
    --------
    >>> allocate(5, [100.0, 300.0, 600.0], [10, 10, 10], 1).tolist()
    [1, 1, 3]
    """
    room = np.asarray(cells, dtype=np.int64)
    size = np.asarray(length, dtype=float)
    given = np.minimum(room, np.asarray(least, dtype=np.int64))
    target = min(max(number, int(given.sum())), int(room.sum()))
    while (left := target - int(given.sum())) > 0:
        open_to = given < room
        share = np.where(open_to, size, 0.0)
        share = share if share.sum() > 0 else open_to.astype(float)
        ideal = target * share / share.sum()
        lack = np.where(open_to, np.maximum(ideal - given, 0.0), 0.0)
        whole = np.minimum(
            np.floor(left * lack / lack.sum()) if lack.sum() > 0 else 0, room - given
        )
        if int(np.sum(whole)) == 0:
            rank = np.argsort(-np.where(open_to, lack + 1e-12 * share, -1.0), kind="stable")
            whole = np.zeros_like(given)
            whole[rank[: min(left, int(open_to.sum()))]] = 1
        given = given + whole.astype(np.int64)
    return given


def draw_reserves(
    drawn: Any, pi: Any, stratum: Any, share: float, rng: np.random.Generator
) -> Ints:
    """Return the rank of each cell among the reserves of its stratum, 0 where it is none.

    Parameters
    ----------
    drawn : array_like of bool
        Cells drawn already, the certain ones among them.
    pi, stratum
        As for :func:`draw_pivotal`.
    share : float
        Reserves as a share of the cells drawn in the stratum, rounded up.
    rng : Generator
        Source of chance.

    Notes
    -----
    Reserves are drawn by chance from the cells not drawn, and put in random order, so that a
    substitution stays random. Their sizes are the odds pi / (1 - pi): a cell is among those not
    drawn with 1 - pi, so that in all it is a reserve with a probability in proportion to its own
    pi, and stands in for a spot that was not done with its own weight 1 / pi. With the weight of
    the spot that it replaces, a rate is off wherever long or risky cells are worse. Worked out
    here, and shown by simulation in the tests.
    """
    taken, h = np.asarray(drawn, dtype=bool), np.asarray(stratum, dtype=np.int64)
    rank = np.zeros(len(h), dtype=np.int64)
    if len(h) == 0 or share <= 0:
        return rank
    strata = int(h.max()) + 1
    wanted = np.ceil(share * np.bincount(h, taken, strata) - 1e-9)
    wanted = np.minimum(wanted, np.bincount(h, ~taken, strata))
    free = np.flatnonzero(~taken)
    p = np.asarray(pi, float)[free]
    odds = np.clip(p, _SETTLED, None) / np.clip(1 - p, _SETTLED, None)
    chosen = free[draw_pivotal(inclusion_probabilities(odds, h[free], wanted), h[free], rng)]
    shuffled = chosen[np.argsort(rng.random(len(chosen)))]
    by_stratum = pd.Series(h[shuffled])
    rank[shuffled] = by_stratum.groupby(by_stratum).cumcount().to_numpy() + 1
    return rank


#: The draws that a rules file can name.
DRAWS = {"pivotal": draw_pivotal, "systematic": draw_systematic}
