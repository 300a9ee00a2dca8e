"""Shares of a number: how many cells are drawn from each group, so that an amount is reached.

A group becomes a stratum, or shares one with the other groups that would get nothing. Nothing here
looks at single cells but the sums that tell what chance brings at worst.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.planning.draw import allocate
from ndtstats.rules import ExtentRule

Flags = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Nothing is drawn from the pools.
_NONE = np.zeros(2, dtype=np.int64)

#: Up to this much of a mm, or of a spot, nothing lacks but the last bits of a sum.
SLACK = 1e-6


@dataclass(frozen=True, slots=True)
class LeastSums:
    """What the least cells of each group bring together: sums of so many of them in order."""

    upto: Floats
    begins: Ints

    @classmethod
    def of(cls, values: Floats, code: Ints, room: Ints) -> "LeastSums":
        """Return them for the cells of groups, by the number of the group of each (-1: none)."""
        mine = code >= 0
        # One key to sort by: the groups laid end to end, the last bits far below a tape's reach.
        step = float(values.max(initial=0.0)) + 1.0
        ordered = np.sort(code[mine] * step + values[mine])
        ordered -= np.repeat(np.arange(len(room)), room) * step
        return cls(np.concatenate([[0.0], np.cumsum(ordered)]), np.cumsum(room) - room)

    def at(self, given: Any, groups: Any = slice(None)) -> Floats:
        """Return what ``given`` cells of each group bring at least."""
        begins = self.begins[groups]
        sums: Floats = self.upto[begins + given] - self.upto[begins]
        return sums


@dataclass(frozen=True, slots=True)
class Shares:
    """How many are drawn from each group, and from the two pools of those that share.

    ``pool`` holds the number of full cells, and of short ones, drawn from all groups that share.
    """

    given: Ints
    shared: Flags
    pool: Ints

    @property
    def number(self) -> int:
        """How many are drawn in all."""
        return int(self.given.sum() + self.pool.sum())

    def strata(self, groups: pd.DataFrame, certain: int) -> tuple[Ints, Any, Ints]:
        """Return the stratum of each group and of what is certain, their names and numbers."""
        short = groups["short"].to_numpy() > 0
        names = np.where(self.shared, np.where(short, "short", "others"), groups["name"])
        stratum, kinds = pd.factorize(pd.Series(np.append(names, "certain"), dtype="str"))
        total = np.bincount(stratum, np.append(self.given, certain), len(kinds)).astype(np.int64)
        for at, name in enumerate(("others", "short")):
            total[np.asarray(kinds == name)] += self.pool[at]
        return stratum.astype(np.int64), pd.Series(kinds, dtype="str").array, total


@dataclass(frozen=True, slots=True)
class Worth:
    """What is reached at worst: if chance takes from each stratum the cells that bring least."""

    each: float
    short: Flags
    room: Ints
    sums: LeastSums | None

    @classmethod
    def of(cls, groups: pd.DataFrame, code: Ints, length_mm: Floats, rule: ExtentRule) -> "Worth":
        """Return it for the groups of a rule, with the number of each cell's group, and lengths."""
        room, short = groups["room"].to_numpy(), groups["short"].to_numpy() > 0
        if rule.unit != "mm":
            return cls(1.0, short, room, None)
        sums = LeastSums.of(length_mm, code, room)
        return cls(rule.spot_length_mm, short, room, sums)

    def at_least(self, shares: Shares) -> float:
        """Return what is reached whatever chance does, in the unit of the rule."""
        if self.sums is None:
            return float(shares.given[~self.short].sum() + shares.pool[0])
        one = self.sums.at(np.ones(len(self.room), dtype=np.int64))
        reached = float(self.sums.at(shares.given).sum())
        for at, short in enumerate((False, True)):
            mine = shares.shared & (self.short == short)
            if mine.any():
                all_of_it = shares.pool[at] >= self.room[mine].sum()
                whole = float(self.sums.at(self.room)[mine].sum())
                reached += whole if all_of_it else float(shares.pool[at] * one[mine].min())
        return reached

    def all_drawn(self, shares: Shares) -> bool:
        """Return whether there is nothing more to draw."""
        return shares.number >= int(self.room.sum())


def enough(groups: pd.DataFrame, worth: Worth, *, first: int, number: int, amount: float) -> Shares:
    """Return how many cells are drawn from each group so that an amount is reached for sure."""
    while True:
        shares = _shared_out(groups, number, first, by_length=worth.sums is not None)
        lacks = amount - worth.at_least(shares)
        if lacks <= SLACK or worth.all_drawn(shares):
            return shares
        number = max(number, shares.number) + max(1, int(lacks / worth.each))


def _shared_out(groups: pd.DataFrame, number: int, first: int, *, by_length: bool) -> Shares:
    """Return how many cells are drawn from each group: the least, then turn by turn."""
    given = groups["least"].to_numpy(dtype=np.int64).copy()
    turn, short = groups["turn"].to_numpy(), groups["short"].to_numpy() > 0
    # What is no spot draws no part of a number of spots.
    size = np.where(short & (not by_length), 0.0, groups["length_mm"])
    aside = (groups["part"].to_numpy() > 0) & (groups["welder"].to_numpy() < 0)
    left = max(number - int(given.sum()), 0)
    rest_there = bool(((turn >= first) & ~aside).any())
    for at in range(first):
        mine = (turn == at) & ~aside
        kept = int(rest_there and (left > 1 or given.sum() > 0))
        most = np.maximum(groups["most"].to_numpy()[mine], given[mine])
        share = allocate(
            int(given[mine].sum()) + max(left - kept, 0), size[mine], most, given[mine]
        )
        left -= int(share.sum() - given[mine].sum())
        given[mine] = share
    rest = (turn == first) | (groups["first_off"].to_numpy() & (turn < first))
    return _rest_shared_out(groups, size, Shares(given, aside, _NONE), rest & ~aside, left)


def _rest_shared_out(
    groups: pd.DataFrame, size: Floats, so_far: Shares, rest: Flags, left: int
) -> Shares:
    """Return the shares with what is left of a number given to the rest by length.

    Groups that would get none share what they get together, one at least.
    """
    given, shared = so_far.given.copy(), so_far.shared
    if left <= 0:
        return Shares(given, np.zeros(len(given), dtype=bool), _NONE)
    room, short = groups["room"].to_numpy(), groups["short"].to_numpy() > 0
    shared = shared | ((given == 0) & ~rest)
    while True:
        own = rest & ~shared
        pools = [shared & ~short, shared & short]
        each = np.array([int(pool.any()) for pool in pools])
        total = allocate(
            int(given[own].sum()) + max(left, int(each.sum())),
            np.append(size[own], [size[pool].sum() for pool in pools]),
            np.append(room[own], [room[pool].sum() for pool in pools]),
            np.append(given[own], each),
        )
        none = np.flatnonzero(own)[total[:-2] == 0]
        if len(none) == 0:
            break
        shared = shared.copy()
        shared[none] = True
    left -= int(total.sum() - given[own].sum())
    given[own] = total[:-2]
    others = ~rest & ~shared
    given[others] = allocate(
        int(given[others].sum()) + max(left, 0), size[others], room[others], given[others]
    )
    return Shares(given, shared, total[-2:])
