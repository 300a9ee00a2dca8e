"""Spots on purpose: where an exposure finds most, and where a certificate needs its evidence.

They are kept apart from what chance drew; no rate that stands for all welds is made of them.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.planning.drawing import Drawing, Yard, spots_of
from ndtstats.planning.likelihood import kind_of
from ndtstats.planning.places import touched
from ndtstats.planning.value import Stakes, spend
from ndtstats.rules import Rules
from ndtstats.words import VOLUMETRIC

#: A welder with more than this times the mean must be noticed, where the rules state no limit:
#: common practice, no source.
TIMES_THE_MEAN = 2.0

_PLACE = ["joint", "method", "from_mm", "to_mm"]
Mask = npt.NDArray[np.bool_]


class Candidates(NamedTuple):
    """The cells that look inside the weld, and what has become of each.

    ``cells`` is indexed from 0; ``examined`` and ``planned`` are masks over its rows.
    """

    cells: pd.DataFrame
    examined: Mask
    planned: Mask

    @property
    def free(self) -> Mask:
        """Cells that nobody looked at and no plan asks for."""
        return ~self.examined & ~self.planned


def candidates(cells: pd.DataFrame, examined: pd.DataFrame, asked: pd.DataFrame) -> Candidates:
    """Return the cells that budgets for looking inside are spent on.

    Parameters
    ----------
    cells : DataFrame
        A frame (:func:`ndtstats.planning.drawing.frame_of_rules`).
    examined : DataFrame
        Places that first examinations accepted or rejected: ``joint``, ``method``, ``from_mm``,
        ``to_mm``.
    asked : DataFrame
        Places that plans ask for, reserves among them: they are kept to stand in.
    """
    inside = cells[cells["method"].isin(VOLUMETRIC)].reset_index(drop=True)
    # What one of these methods looked at, another need not look at again.
    at = inside[_PLACE].assign(method="inside")
    masks = [
        np.asarray(
            touched(
                at, places.loc[places["method"].isin(VOLUMETRIC), _PLACE].assign(method="inside")
            )
        )
        for places in (examined, asked)
    ]
    return Candidates(inside, masks[0], masks[1] & ~masks[0])


def stakes_of(cells: pd.DataFrame, yard: Yard, rules: Rules) -> Stakes:
    """Return what is at stake in cells that look inside the weld.

    Notes
    -----
    The factors that the rules state move the expected imperfections about; they do not add to them,
    so they are taken against their mean over all the cells.
    """
    likelihood = yard.likelihood(rules, VOLUMETRIC[0])
    welder, names = pd.factorize(cells["welder"], sort=True)
    mean = cells["mean_expected"].to_numpy(float)
    stated = cells["stated"].to_numpy(float)
    posterior = likelihood.posterior(names)
    limit = rules.file.risk.limit_per_m
    relative = TIMES_THE_MEAN if limit is None else limit / likelihood.rate_per_m
    return Stakes(
        welder=welder.astype(np.int64),
        bare=mean * stated * mean.sum() / (mean * stated).sum() if len(cells) else mean,
        consequence=cells["consequence"].to_numpy(float),
        exposures=cells["exposures"].to_numpy(np.int64),
        a=posterior["a"].to_numpy(float),
        b=posterior["b"].to_numpy(float),
        # Who had a reject has been noticed, and nobody can be noticed by work of nobody known.
        limit=np.where((names == "") | (posterior["found"] > 0), np.inf, relative),
    )


def with_budget(
    drawing: Drawing, among: Candidates, yard: Yard, rules: Rules, budget: int
) -> Drawing:
    """Return a drawing with targeted spots for a number of exposures beyond the rules.

    Parameters
    ----------
    drawing : Drawing
        What chance and the rules gave.
    among : Candidates
        Cells of all frames of the job; those of the drawing's spots are planned.
    budget : int
        Exposures.
    """
    stakes = stakes_of(among.cells, yard, rules)
    places, gain = spend(stakes, among.free, stakes.looked_at(among.planned), budget)
    chosen = among.cells.iloc[places]
    worth = pd.Series(gain, chosen.index).map("{:.2g}".format).astype("str")
    why = "aimed: " + worth + " expected consequence found by an exposure"
    spent = int(stakes.exposures[places].sum())
    note = f"{spent} of {budget} exposures beyond the rules aimed at {len(places)} places"
    if spent < budget:
        note += "; no other place is left that they would fit"
    rests_on = f"{kind_of(VOLUMETRIC[0])}: {yard.likelihood(rules, VOLUMETRIC[0]).sentence}"
    notes = (note,) if rests_on in drawing.notes else (rests_on, note)
    return with_targeted(drawing, chosen.assign(why=why), rules, notes)


def with_targeted(
    drawing: Drawing, chosen: pd.DataFrame, rules: Rules, notes: tuple[str, ...]
) -> Drawing:
    """Return a drawing with further spots that were chosen on purpose."""
    spots = spots_of(chosen.assign(part="targeted", pi=np.nan, stratum=None), rules)
    first = len(drawing.spots) + 1
    spots = spots.assign(draw_order=np.arange(first, first + len(spots)))
    together = pd.concat([drawing.spots, spots], ignore_index=True) if len(spots) else drawing.spots
    return replace(drawing, spots=together, notes=(*drawing.notes, *notes))
