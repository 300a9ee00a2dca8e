"""The draw: a fixed number of cells by chance, with known probabilities, spread along the walk.

All strata are drawn at once. Chance comes from a numpy generator that is passed in.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


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
    drawn: Any, size: Any, stratum: Any, share: float, rng: np.random.Generator
) -> Ints:
    """Return the rank of each cell among the reserves of its stratum, 0 where it is none.

    A reserve is drawn by chance from the cells not drawn, by the same sizes, and put in random
    order, so that a substitution stays random; it takes the weight of the spot it replaces. That
    is the usual convention for substitution, and an approximation: common practice, no source.

    Parameters
    ----------
    drawn : array_like of bool
        Cells drawn already, the certain ones among them.
    size, stratum
        As for :func:`inclusion_probabilities`.
    share : float
        Reserves as a share of the cells drawn in the stratum, rounded up.
    rng : Generator
        Source of chance.
    """
    taken, h = np.asarray(drawn, dtype=bool), np.asarray(stratum, dtype=np.int64)
    rank = np.zeros(len(h), dtype=np.int64)
    if len(h) == 0 or share <= 0:
        return rank
    strata = int(h.max()) + 1
    wanted = np.ceil(share * np.bincount(h, taken, strata) - 1e-9)
    wanted = np.minimum(wanted, np.bincount(h, ~taken, strata))
    free = np.flatnonzero(~taken)
    pi = inclusion_probabilities(np.asarray(size, float)[free], h[free], wanted)
    chosen = free[draw_systematic(pi, h[free], rng)]
    shuffled = chosen[np.argsort(rng.random(len(chosen)))]
    by_stratum = pd.Series(h[shuffled])
    rank[shuffled] = by_stratum.groupby(by_stratum).cumcount().to_numpy() + 1
    return rank
