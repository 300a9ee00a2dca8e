"""What replicates come to: drawn, shot, followed up by the escalation, and counted."""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.simulation.catching import catch, rates_caught
from ndtstats.simulation.chance import AT_ONCE, SURE, blocks, draw_as_planned
from ndtstats.simulation.frame import Floats, Frame, Ints
from ndtstats.simulation.lots import extras_in_lots
from ndtstats.simulation.runs import extras_beside
from ndtstats.simulation.truth import (
    Assumptions,
    Examined,
    Flags,
    Truth,
    chosen,
    joined,
    rate_found_out,
)


class Counted(NamedTuple):
    """What replicates come to: ``table`` has a row for each, the other arrays a row for each too.

    ``by_rate``: how many welders would be caught at each rate; ``if_bad``, ``if_good``: who would
    be caught; ``examined``: first examinations of each welder.
    """

    table: pd.DataFrame
    by_rate: Ints
    if_bad: Ints
    if_good: Ints
    examined: Ints


def counted(
    frame: Frame,
    beyond: Floats,
    is_bad: Flags,
    people: Flags,
    rates: Floats,
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> Counted:
    """Return what a plan does in some replicates.

    Parameters
    ----------
    frame : Frame
        The plan.
    beyond : ndarray, shape (welders,)
        Weld of each welder that the plan is not about but that counts as left, in mm.
    is_bad : ndarray of bool, shape (replicates, welders)
        Who is bad.
    people : ndarray of bool, shape (welders,)
        Of whom shares are told.
    rates : ndarray
        Rates of the operating characteristic, ascending.
    assumptions : Assumptions
        What is taken to be true.
    rng : Generator
        Source of chance.
    """
    truth = Truth(is_bad, assumptions.bad_rate, assumptions.good_rate, assumptions.place_mm)
    first, found_out = _first(frame, truth, rng)
    extras = [
        (extras_beside if procedure.where == "adjacent" else extras_in_lots)(
            frame, first, number, truth, rng
        )
        for number, procedure in enumerate(frame.procedures)
    ]
    extra = joined([chosen(first, slice(0)), *extras])
    group = first.replicate * len(people) + frame.welder[first.cell]
    allowed, shape = assumptions.allowed, is_bad.shape
    caught = catch(
        group,
        found_out < assumptions.bad_rate,
        frame.welded_mm[first.cell],
        first.exposures,
        allowed=allowed,
        shape=shape,
    )
    beyond_rate = rates_caught(group, found_out, allowed=allowed, shape=shape)
    return Counted(
        table=_table(frame, beyond, first, extra, truth, people).assign(
            bad_caught=caught.caught[:, people].sum(axis=1),
            bad_caught_mm=caught.welded_mm[:, people].sum(axis=1),
            bad_caught_exposures=caught.exposures[:, people].sum(axis=1),
            good_caught=(beyond_rate < assumptions.good_rate)[:, people].sum(axis=1),
        ),
        by_rate=_caught_at(beyond_rate[:, people], rates),
        if_bad=caught.caught.sum(axis=0),
        if_good=(beyond_rate < assumptions.good_rate).sum(axis=0),
        examined=np.bincount(frame.welder[first.cell], minlength=len(people)),
    )


def _first(frame: Frame, truth: Truth, rng: np.random.Generator) -> tuple[Examined, Floats]:
    """Return the first examinations, and above which rate of his each would reject a welder."""
    number = len(truth.is_bad)
    open_ = int(((frame.pi > SURE) & (frame.pi < 1 - SURE)).sum())
    parts = []
    for part in blocks(np.full(number, max(open_, 1)), most=AT_ONCE):
        drawn = draw_as_planned(frame, part.stop - part.start, rng)
        parts.append((drawn.replicate + part.start, drawn.cell))
    replicate, cell = (np.concatenate(column) for column in zip(*parts, strict=True))
    mm = frame.mm[cell]
    found_out = rate_found_out(rng.random(len(cell)), mm / truth.place_mm)
    of_welder = truth.is_bad[replicate, frame.welder[cell]]
    first = Examined(
        replicate=replicate,
        cell=cell,
        mm=mm,
        exposures=frame.exposures[cell],
        step=np.zeros(len(cell), dtype=np.int64),
        whole=np.zeros(len(cell), dtype=bool),
        bad=found_out < np.where(of_welder, truth.bad_rate, truth.good_rate),
    )
    return first, found_out


def _table(
    frame: Frame,
    beyond: Floats,
    first: Examined,
    extra: Examined,
    truth: Truth,
    people: Flags,
) -> pd.DataFrame:
    """Return what is counted in each replicate, a row each."""
    number, welders = truth.is_bad.shape
    both = joined([first, extra])
    where = both.replicate * welders + frame.welder[both.cell]
    seen = np.bincount(where, both.mm, number * welders).reshape(number, welders)
    left = np.maximum(frame.length_mm + beyond - seen, 0.0)
    touched, taken = np.zeros((2, number, welders), dtype=bool)
    touched[extra.replicate, frame.welder[extra.cell]] = True
    whole = chosen(extra, extra.whole)
    taken[whole.replicate, frame.welder[whole.cell]] = True

    def total(of: Examined, weight: npt.NDArray[Any]) -> Floats:
        return np.asarray(np.bincount(of.replicate, weight, number), dtype=float)

    def people_who(flags: Flags) -> Ints:
        return np.asarray(flags[:, people].sum(axis=1))

    return pd.DataFrame(
        {
            "first_exposures": total(first, first.exposures),
            "extra_exposures": total(extra, extra.exposures),
            "again_exposures": total(both, both.exposures * both.bad),
            "rejected": total(both, both.bad),
            "left": truth.expected(left),
            "bad": people_who(truth.is_bad),
            "good": people_who(~truth.is_bad),
            "bad_extra": people_who(truth.is_bad & touched),
            "good_extra": people_who(~truth.is_bad & touched),
            "bad_whole_lot": people_who(truth.is_bad & taken),
            "good_whole_lot": people_who(~truth.is_bad & taken),
        }
    ).astype("float64")


def _caught_at(beyond: Floats, rates: Floats) -> Ints:
    """Return how many welders of each replicate are caught at each rate."""
    number, points = len(beyond), len(rates)
    at = np.searchsorted(rates, beyond, side="right")
    row = np.arange(number)[:, None] * (points + 1)
    counts = np.bincount((row + at).ravel(), minlength=number * (points + 1))
    return np.asarray(counts.reshape(number, points + 1)[:, :points].cumsum(axis=1))
