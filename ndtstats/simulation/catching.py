"""When a welder is caught: his first examinations in the order in which he welded.

Examinations come in order of replicate, welder and time, as those of a
:class:`~ndtstats.simulation.frame.Frame` do.
"""

from typing import NamedTuple

import numpy as np

from ndtstats.simulation.frame import Floats, Ints
from ndtstats.simulation.truth import Flags


class Caught(NamedTuple):
    """Whether and when, for each replicate and welder; all of shape (replicates, welders).

    ``welded_mm`` and ``exposures`` are what he had welded, and what was shot of that, when he was
    caught; 0 where he was not.
    """

    caught: Flags
    welded_mm: Floats
    exposures: Ints


def catch(
    group: Ints,
    bad: Flags,
    welded_mm: Floats,
    exposures: Ints,
    *,
    allowed: int,
    shape: tuple[int, int],
) -> Caught:
    """Return who is caught: of whose first examinations more than ``allowed`` are rejected.

    Parameters
    ----------
    group : ndarray of int, shape (n,)
        replicate × welders + welder of each examination, ascending; within a group in the order of
        welding.
    bad : ndarray of bool, shape (n,)
        Rejected.
    welded_mm : ndarray, shape (n,)
        What the welder had welded when the place was done.
    exposures : ndarray of int, shape (n,)
        What each examination takes.
    allowed : int
        Rejects with which he is not yet caught.
    shape : (int, int)
        Replicates, welders.

    Examples
    --------
    Three examinations of the first welder, the second and third bad; one of the second, sound.

    >>> found = catch(np.array([0, 0, 0, 1]), np.array([False, True, True, False]),
    ...               np.array([300.0, 900.0, 1500.0, 300.0]), np.ones(4, dtype=np.int64),
    ...               allowed=0, shape=(1, 2))
    >>> found.caught.tolist(), found.welded_mm.tolist(), found.exposures.tolist()
    ([[True, False]], [[900.0, 0.0]], [[2, 0]])
    """
    begins = np.flatnonzero(np.diff(group, prepend=-1))
    size = np.diff(begins, append=len(group))
    rejects = _running(bad.astype(np.int64), begins, size)
    shot = _running(exposures, begins, size)
    at = np.flatnonzero(bad & (rejects == allowed + 1))
    number = shape[0] * shape[1]
    caught = np.zeros(number, dtype=bool)
    welded, taken = np.zeros(number), np.zeros(number, dtype=np.int64)
    caught[group[at]] = True
    welded[group[at]] = welded_mm[at]
    taken[group[at]] = shot[at]
    return Caught(caught.reshape(shape), welded.reshape(shape), taken.reshape(shape))


def _running(values: Ints, begins: Ints, size: Ints) -> Ints:
    """Return running sums that begin anew with each group."""
    total = np.cumsum(values)
    before = total[begins] - values[begins]
    return np.asarray(total - np.repeat(before, size))


def rates_caught(group: Ints, found_out: Floats, *, allowed: int, shape: tuple[int, int]) -> Floats:
    """Return above which true rate each welder would be caught, infinite where at none.

    Parameters
    ----------
    group, allowed, shape
        As for :func:`catch`; the order within a group does not matter.
    found_out : ndarray, shape (n,)
        Above which rate each examination rejects
        (:func:`ndtstats.simulation.truth.rate_found_out`).

    Examples
    --------
    >>> rates_caught(np.array([0, 0, 1]), np.array([0.3, 0.2, 0.4]), allowed=1,
    ...              shape=(1, 2)).tolist()
    [[0.3, inf]]
    """
    # Rates are below 1, so one number holds both and one bare sort does.
    both = np.sort(group + found_out)
    size = np.bincount(group, minlength=shape[0] * shape[1])
    at = np.cumsum(size) - size + allowed
    rates = np.full(len(size), np.inf)
    enough = size > allowed
    rates[enough] = both[at[enough]] - np.flatnonzero(enough)
    return rates.reshape(shape)
