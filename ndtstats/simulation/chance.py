"""Draws of many replicates at once: first examinations, and further places of a lot.

What is drawn is told as a pair of arrays, the replicate and the cell of each examination, in order
of both.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from ndtstats.planning.draw import DRAWS
from ndtstats.simulation.frame import Floats, Frame, Ints

#: Cells looked at at once: bounds the memory, at some tens of bytes each.
AT_ONCE = 2_000_000
#: Closer to 0 or 1 than this a probability is that number, but for the last bits of a sum.
SURE = 1e-9


class Drawn(NamedTuple):
    """Which replicate examines which cell; shape (examinations,) each."""

    replicate: Ints
    cell: Ints


def draw_as_planned(frame: Frame, replicates: int, rng: np.random.Generator) -> Drawn:
    """Return the first examinations of many replicates, drawn as the planner draws.

    Parameters
    ----------
    frame : Frame
        Its strata and probabilities.
    replicates : int
        How many draws.
    rng : Generator
        Source of chance.

    Notes
    -----
    It is the planner's own draw, with a stratum for each replicate and stratum of the frame, so
    numbers, probabilities and spread along the walk are the plan's.
    """
    pi = frame.pi[frame.walk]
    open_ = frame.walk[(pi > SURE) & (pi < 1 - SURE)]
    drawn = np.tile(frame.pi >= 1 - SURE, (replicates, 1))
    if len(open_):
        names, stratum = np.unique(frame.stratum[open_], return_inverse=True)
        many = stratum + np.arange(replicates)[:, None] * len(names)
        chance = np.tile(frame.pi[open_], replicates)
        taken = DRAWS[frame.method](chance, many.ravel(), rng)
        drawn[:, open_] = taken.reshape(replicates, len(open_))
    return Drawn(*np.nonzero(drawn))


def draw_simple(
    number: int, places: int, replicates: int, rng: np.random.Generator
) -> npt.NDArray[np.bool_]:
    """Return simple random draws without replacement, shape (replicates, places).

    Examples
    --------
    >>> draw_simple(2, 5, 3, np.random.default_rng(1)).sum(axis=1).tolist()
    [2, 2, 2]
    """
    drawn = np.zeros((replicates, places), dtype=bool)
    if number > 0:
        key = rng.random((replicates, places))
        first = np.argpartition(key, number - 1, axis=1)[:, :number]
        np.put_along_axis(drawn, first, values=True, axis=1)
    return drawn


def draw_further(
    group: Ints, cell: Ints, number: Ints, mm: Floats, rng: np.random.Generator
) -> npt.NDArray[np.bool_]:
    """Return which of the free cells of some groups are drawn.

    Parameters
    ----------
    group : ndarray of int, shape (n,)
        Group of each free cell, ascending from 0.
    cell : ndarray of int, shape (n,)
        The cell.
    number : ndarray of int, shape (groups,)
        How many are to be drawn of each group; all where there are fewer.
    mm : ndarray, shape (cells,)
        Length of the cells.
    rng : Generator
        Source of chance.

    Notes
    -----
    One after the other, with probability in proportion to length among those left: the ``number``
    smallest of exponential waiting times (Efraimidis & Spirakis 2006, Inf. Process. Lett. 97:181,
    from memory).

    Examples
    --------
    >>> group, cell = np.array([0, 0, 0, 1]), np.array([0, 1, 2, 0])
    >>> rng = np.random.default_rng(1)
    >>> drawn = draw_further(group, cell, np.array([1, 2]), np.ones(3), rng)
    >>> int(drawn[:3].sum()), int(drawn[3:].sum())
    (1, 1)
    """
    wait = rng.exponential(size=len(group)) / mm[cell]
    order = np.lexsort((wait, group))
    begins = np.searchsorted(group, np.arange(len(number)))
    place = np.empty(len(group), dtype=np.int64)
    place[order] = np.arange(len(group)) - begins[group]
    return np.asarray(place < number[group])


def blocks(weight: Ints, most: int = AT_ONCE) -> Iterator[slice]:
    """Yield slices of about ``most`` in weight each, so that memory stays bounded.

    Examples
    --------
    >>> [(part.start, part.stop) for part in blocks(np.array([3, 3, 3]), most=6)]
    [(0, 2), (2, 3)]
    """
    after = np.cumsum(weight)
    start = 0
    while start < len(weight):
        done = after[start - 1] if start else 0
        stop = max(int(np.searchsorted(after, done + most, side="right")), start + 1)
        yield slice(start, stop)
        start = stop
