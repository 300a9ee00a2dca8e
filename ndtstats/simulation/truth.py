"""The truth of a simulated yard: who is bad, and what an examination of his work finds.

Rejectable imperfections lie along the weld by chance alone, at a rate of their welder: a Poisson
process. A place of the length that the rate is stated for holds one or more with that rate; a
longer place more often, and places apart know nothing of each other. So only what is examined has
to be made up, and of the rest the expected number is known exactly.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError
from ndtstats.simulation.frame import Floats, Ints

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What is taken to be true.

    Attributes
    ----------
    bad_rate, good_rate : float
        Share of the places of a bad and of a good welder that hold a rejectable imperfection, 0 or
        more and below 1.
    bad_share : float
        Chance of each welder to be a bad one.
    place_mm : float
        Length of the places that the rates are about.
    allowed : int
        First examinations of one welder that may be rejected before he counts as caught.

    Raises
    ------
    UseError
        If a rate, a share, a length or a number is impossible.
    """

    bad_rate: float = 0.10
    good_rate: float = 0.02
    bad_share: float = 0.10
    place_mm: float = 300.0
    allowed: int = 0

    def __post_init__(self) -> None:
        for name in ("bad_rate", "good_rate"):
            rate = getattr(self, name)
            if not 0 <= rate < 1:
                raise UseError(
                    f"{name.replace('_', ' ')} {rate:g} is no share below 1; write 0.1 for 10 %"
                )
        if self.good_rate > self.bad_rate:
            raise UseError(
                f"the good rate {self.good_rate:g} is above the bad rate {self.bad_rate:g}; "
                "swap them"
            )
        if not 0 <= self.bad_share <= 1:
            raise UseError(f"bad share {self.bad_share:g} is no share; write 0.1 for 10 %")
        if self.place_mm <= 0:
            raise UseError(f"place length {self.place_mm:g} mm is not above 0; write 300")
        if self.allowed < 0:
            raise UseError(f"{self.allowed} rejects cannot be allowed; write 0 or more")


class Truth(NamedTuple):
    """Who is bad in which replicate, and what follows.

    ``is_bad`` is of shape (replicates, welders); the other fields are those of
    :class:`Assumptions`.
    """

    is_bad: Flags
    bad_rate: float
    good_rate: float
    place_mm: float

    def per_mm(self, replicate: Ints, welder: Ints) -> Floats:
        """Return how many rejectable imperfections are expected in each mm of welders' weld."""
        return self._per_mm(self.is_bad[replicate, welder])

    def chance(self, replicate: Ints, welder: Ints, mm: Floats) -> Floats:
        """Return the chance that stretches of weld hold a rejectable imperfection.

        Parameters
        ----------
        replicate, welder : ndarray of int, shape (n,)
            Whose weld, in which replicate.
        mm : ndarray, shape (n,)
            Length of each stretch.
        """
        return np.asarray(-np.expm1(-self.per_mm(replicate, welder) * mm))

    def expected(self, mm: Floats) -> Floats:
        """Return the expected number of rejectable imperfections in lengths of weld.

        Parameters
        ----------
        mm : ndarray, shape (replicates, welders)
            Length of each welder in each replicate.
        """
        return np.asarray((self._per_mm(self.is_bad) * mm).sum(axis=1))

    def _per_mm(self, bad: Flags) -> Floats:
        rate = np.where(bad, self.bad_rate, self.good_rate)
        return np.asarray(-np.log1p(-rate) / self.place_mm)


class Examined(NamedTuple):
    """Examinations, each an element of all arrays.

    ``replicate``; ``cell`` of the frame (that of its middle, where a place follows no cell);
    ``mm`` examined; ``exposures``; ``step`` (0 first examinations, then the extras in the order in
    which they are owed); ``whole``: examined because a whole lot was owed; ``bad``: rejected.
    """

    replicate: Ints
    cell: Ints
    mm: Floats
    exposures: Ints
    step: Ints
    whole: Flags
    bad: Flags


def chance_of(rate: npt.ArrayLike, places: npt.ArrayLike) -> Floats:
    """Return the chance that a stretch of so many places holds a rejectable imperfection.

    Parameters
    ----------
    rate : array_like
        The chance of one place, 0 or more and below 1.
    places : array_like
        Length of the stretch over that of a place.

    Examples
    --------
    >>> chance_of(0.1, [1.0, 2.0]).round(3).tolist()
    [0.1, 0.19]
    """
    return np.asarray(-np.expm1(np.asarray(places) * np.log1p(-np.asarray(rate))), dtype=float)


def rate_found_out(chance: Floats, places: Floats) -> Floats:
    """Return above which rate of one place a stretch is bad: :func:`chance_of` read the other way.

    Parameters
    ----------
    chance : ndarray
        A number for each stretch, uniform on (0, 1).
    places : ndarray
        Length of each stretch over that of a place.

    Notes
    -----
    With one number kept for each examination, a worse welder is rejected wherever a better one is:
    the whole operating characteristic comes from one set of draws, and rises throughout.

    Examples
    --------
    >>> rate_found_out(np.array([0.1, 0.19]), np.array([1.0, 2.0])).round(3).tolist()
    [0.1, 0.1]
    """
    return np.asarray(-np.expm1(np.log1p(-chance) / places), dtype=float)


def chosen(examined: Examined, which: Flags | Ints | slice) -> Examined:
    """Return some of the examinations."""
    return Examined._make(column[which] for column in examined)


def among(values: Ints, ascending: Ints) -> Flags:
    """Return which values stand among others, which are in order and each once or more.

    Examples
    --------
    >>> among(np.array([3, 1, 7]), np.array([1, 2, 7])).tolist()
    [False, True, True]
    """
    if not len(ascending):
        return np.zeros(len(values), dtype=bool)
    at = np.minimum(np.searchsorted(ascending, values), len(ascending) - 1)
    return np.asarray(ascending[at] == values)


def joined(parts: list[Examined]) -> Examined:
    """Return examinations of several kinds as one."""
    return Examined._make(np.concatenate(column) for column in zip(*parts, strict=True))
