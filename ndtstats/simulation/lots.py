"""Extras elsewhere in the lot: what is owed is decided by the escalation itself.

The escalation walks each lot with a reject. Many lots of many replicates have the same history: so
many places, so many examined and rejected at each step. Which of them were rejected changes nothing
in what is owed, so each history is decided once.
"""

from typing import NamedTuple

import numpy as np
import pandas as pd

from ndtstats.escalation.decide import decide
from ndtstats.rules import Procedure
from ndtstats.simulation.chance import blocks, draw_further
from ndtstats.simulation.frame import Frame, Ints
from ndtstats.simulation.truth import Examined, Flags, Truth, among, chosen, joined

_DAY_0 = pd.Timestamp("2001-01-01")
#: Places of one history differ in nothing; the escalation leaves out what is too short to shoot.
_PLACE_MM = 1000.0
#: For each lot owed whole the escalation looks through all places it was given.
_PLACES_AT_ONCE = 1000


class Owed(NamedTuple):
    """What each history owes: how many places, and whether because all of the lot is owed."""

    places: Ints
    whole: Flags


def owed_in_lots(histories: Ints, procedure: Procedure) -> Owed:
    """Return what lots owe after their histories, by :func:`ndtstats.escalation.decide.decide`.

    Parameters
    ----------
    histories : ndarray of int, shape (lots, 1 + 2 * steps)
        Places of each lot, then for each step how many were examined and how many of them
        rejected. The first step are the first examinations, the others answer what was owed.
    procedure : Procedure
        Its ``where`` is "lot".

    Examples
    --------
    ASME B31.3, 341.3.4: of ten welds two were examined and one was bad; then one of two more.

    >>> from ndtstats.rules.procedures import PRESETS
    >>> owed_in_lots(np.array([[10, 2, 1]]), PRESETS["progressive-piping"]).places.tolist()
    [2]
    >>> owed_in_lots(np.array([[10, 2, 1, 2, 1]]), PRESETS["progressive-piping"]).places.tolist()
    [2]
    >>> owed_in_lots(np.array([[10, 2, 1, 2, 1, 2, 1]]), PRESETS["progressive-piping"])
    Owed(places=array([4]), whole=array([ True]))
    """
    distinct, back = np.unique(histories, axis=0, return_inverse=True)
    parts = blocks(distinct[:, 0], most=_PLACES_AT_ONCE)
    items = pd.concat([_decided(distinct, part, procedure) for part in parts], ignore_index=True)
    items = items[items["count"] > 0]
    lot = items["lot"].to_numpy()
    whole = (items["what"] == "whole lot").to_numpy()
    places = np.bincount(lot, items["count"], len(distinct)).astype(np.int64)
    all_of_it = np.bincount(lot, whole, len(distinct)) > 0
    return Owed(places[back.ravel()], all_of_it[back.ravel()])


def _decided(histories: Ints, part: slice, procedure: Procedure) -> pd.DataFrame:
    items = decide(_examinations(histories[part]), _places(histories[part]), procedure)
    return items.assign(lot=items["lot"].astype("int64") + part.start)


def _examinations(histories: Ints) -> pd.DataFrame:
    """Return histories as examinations of lots named by their number, the rejects of a step first.

    Every step is a later report, so that each examination answers the oldest item still open.
    """
    examined, rejected = histories[:, 1::2], histories[:, 2::2]
    steps = examined.shape[1]
    lot, step = np.divmod(np.repeat(np.arange(examined.size), examined.ravel()), steps)
    within = _within(examined.ravel())
    before = np.cumsum(examined, axis=1) - examined
    ref = _name(lot, before[lot, step] + within)
    return pd.DataFrame(
        {
            "ref": ref,
            "lot": pd.Series(lot).astype("str"),
            "joint": ref,
            "from_mm": 0.0,
            "to_mm": _PLACE_MM,
            "rejected": within < rejected[lot, step],
            "bad_from_mm": np.nan,
            "bad_to_mm": np.nan,
            "date": _DAY_0 + pd.to_timedelta(step, unit="D"),
            "report": pd.Series(step).astype("str"),
            "sequence": within,
            "role": np.where(step == 0, "initial", "extra"),
            "answers": "",
            "welded": pd.NaT,
        }
    )


def _places(histories: Ints) -> pd.DataFrame:
    places = histories[:, 0]
    lot = np.repeat(np.arange(len(histories)), places)
    return pd.DataFrame(
        {
            "lot": pd.Series(lot).astype("str"),
            "joint": _name(lot, _within(places)),
            "from_mm": 0.0,
            "to_mm": _PLACE_MM,
            "length_mm": _PLACE_MM,
            "welded": pd.NaT,
        }
    )


def _within(counts: Ints) -> Ints:
    """Return 0, 1 … for each of some counts, one after the other."""
    return np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)


def _name(lot: Ints, place: Ints) -> "pd.Series[str]":
    return pd.Series(lot).astype("str") + "." + pd.Series(place).astype("str")


# ------------------------------------------------------------------------ many replicates


def extras_in_lots(
    frame: Frame, first: Examined, procedure: int, truth: Truth, rng: np.random.Generator
) -> Examined:
    """Return the extras and whole lots that follow from first examinations.

    Parameters
    ----------
    frame : Frame
        The plan.
    first : Examined
        First examinations.
    procedure : int
        Which of the frame's procedures; its ``where`` is "lot".
    truth : Truth
        Who is bad.
    rng : Generator
        Chooses the places among those of the lot not yet examined, and what they hold.

    Notes
    -----
    All is welded when the first examinations are read, and each step is read before the next one
    is shot.
    """
    lots = _Lots(frame, procedure)
    open_, shots = lots.opened(first)
    history = lots.places[open_ % lots.number][:, None]
    while len(open_):
        history = np.column_stack([history, *_counted(lots.key(shots[-1]), shots[-1].bad, open_)])
        owed = owed_in_lots(history, frame.procedures[procedure])
        goes_on = owed.places > 0
        open_, history = open_[goes_on], history[goes_on]
        owed = Owed(owed.places[goes_on], owed.whole[goes_on])
        if len(open_):
            group, cell = lots.further(open_, owed.places, joined(shots), rng)
            replicate = open_[group] // lots.number
            whole = owed.whole[group]
            shots.append(shot(frame, replicate, cell, whole, len(shots), truth, rng))
    return joined([chosen(first, slice(0)), *shots[1:]])


def shot(
    frame: Frame,
    replicate: Ints,
    cell: Ints,
    whole: Flags,
    step: int,
    truth: Truth,
    rng: np.random.Generator,
) -> Examined:
    """Return the examination of cells that were not examined before, with what is found there."""
    chance = truth.chance(replicate, frame.welder[cell], frame.mm[cell])
    return Examined(
        replicate=replicate,
        cell=cell,
        mm=frame.mm[cell],
        exposures=frame.exposures[cell],
        step=np.full(len(cell), step, dtype=np.int64),
        whole=whole,
        bad=rng.random(len(cell)) < chance,
    )


def _counted(key: Ints, bad: Flags, open_: Ints) -> tuple[Ints, Ints]:
    """Return how many were examined and rejected in each open lot."""
    at = np.searchsorted(open_, key)
    examined = np.bincount(at, minlength=len(open_))
    return examined, np.bincount(at[bad], minlength=len(open_))


class _Lots:
    """The cells of each lot under one procedure, one lot after the other."""

    def __init__(self, frame: Frame, procedure: int) -> None:
        mine = np.flatnonzero(frame.procedure == procedure)
        order = np.argsort(frame.lot[mine], kind="stable")
        self.frame, self.procedure = frame, procedure
        self.cells = mine[order]
        self.number = int(frame.lot.max()) + 1
        self.places = np.bincount(frame.lot[mine], minlength=self.number)
        self.begins = np.cumsum(self.places) - self.places

    def opened(self, first: Examined) -> tuple[Ints, list[Examined]]:
        """Return the lots with a reject and places left, and the examinations of them."""
        mine = np.flatnonzero(self.frame.procedure[first.cell] == self.procedure)
        key = first.replicate[mine] * self.number + self.frame.lot[first.cell[mine]]
        open_, examined = np.unique(key, return_counts=True)
        left = self.places[open_ % self.number] > examined
        open_ = open_[left & among(open_, np.unique(key[first.bad[mine]]))]
        return open_, [chosen(first, mine[among(key, open_)])]

    def key(self, examined: Examined) -> Ints:
        """Return replicate and lot of examinations as one number."""
        return np.asarray(examined.replicate * self.number + self.frame.lot[examined.cell])

    def further(
        self, open_: Ints, number: Ints, seen: Examined, rng: np.random.Generator
    ) -> tuple[Ints, Ints]:
        """Return further places of open lots by chance: which lot, which cell."""
        lot, replicate = open_ % self.number, open_ // self.number
        taken = np.sort(seen.replicate * len(self.frame.mm) + seen.cell)
        groups, cells = [], []
        for part in blocks(self.places[lot]):
            size = self.places[lot[part]]
            group = np.repeat(np.arange(len(size)), size)
            cell = self.cells[np.repeat(self.begins[lot[part]], size) + _within(size)]
            free = ~among(replicate[part][group] * len(self.frame.mm) + cell, taken)
            group, cell = group[free], cell[free]
            drawn = draw_further(group, cell, number[part], self.frame.mm, rng)
            groups.append(group[drawn] + part.start)
            cells.append(cell[drawn])
        return np.concatenate(groups), np.concatenate(cells)
