"""What a plan would be: the draw for what is new, and what is aimed at all that is planned."""

from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np
import pandas as pd

from ndtstats.planning.drawing import Drawing, Yard, draw, spots_of
from ndtstats.planning.evidence import evidence_spots
from ndtstats.planning.places import touched
from ndtstats.planning.targeted import candidates, with_budget, with_targeted
from ndtstats.planning.tightened import Tightened
from ndtstats.planning.yard import asked_places, frame_kept, looked_at, yard_of
from ndtstats.progress import Progress, silent
from ndtstats.register import Register
from ndtstats.rules import Rules

#: Reading what is known, the frames of earlier draws, the draw; what is aimed and keeping it.
STEPS = 4

_PLACE = ["joint", "method", "from_mm", "to_mm"]


@dataclass(frozen=True, slots=True)
class Aims:
    """What a plan does beyond the rules.

    Attributes
    ----------
    budget : int
        Exposures aimed by risk.
    evidence_days : int or None
        Certificates whose window closes within so many days get a production spot; None: none do.
    """

    budget: int = 0
    evidence_days: int | None = None


def draft(
    register: Register,
    job: str,
    rules: Rules,
    *,
    seed: int,
    aims: Aims,
    day: date,
    tightened: Tightened,
    as_of: datetime | None = None,
    progress: Progress = silent,
) -> Drawing:
    """Return the draw for what no plan by these rules covers, with what is aimed beside it.

    Parameters
    ----------
    seed : int
        Seed of the draw. What chance draws does not hang on what is aimed.
    aims : Aims
        What is done beyond the rules.
    day : date
        From which on one looks ahead for certificates.
    tightened : mapping of (str, str) to float
        By welder and method: what the extent of his work is multiplied by.
    as_of : datetime, optional
        By what was known then.
    progress : Progress
        Is told how many of the :data:`STEPS` are done.

    Raises
    ------
    UseError
        If there is nothing to plan for.
    """
    yard = replace(yard_of(register, job, rules, as_of), tightened=tightened)
    progress("steps of the draw", 1, STEPS)
    before = frame_kept(register, job, yard, rules, as_of)
    progress("steps of the draw", 2, STEPS)
    drawing = _drawn(yard, before, rules, seed, aims)
    progress("steps of the draw", 3, STEPS)
    if aims == Aims():
        return drawing
    cells = pd.concat([before, drawing.cells], ignore_index=True)
    asked = asked_places(register, job, as_of)
    if aims.evidence_days is not None:
        tickets = register.table("qualifications", as_of=as_of)
        proposed = evidence_spots(
            # Whoever welds on another job gets his evidence there.
            qualifications=tickets[tickets["welder"].isin(yard.deposits["welder"])],
            confirmations=register.table("confirmations", as_of=as_of),
            examinations=register.table("examinations", as_of=as_of),
            deposits=register.table("deposits", as_of=as_of),
            joints=register.table("joints", as_of=as_of),
            cells=cells[~touched(cells, _with(asked, drawing))].assign(job=job),
            planned=_with(asked[asked["part"] != "reserve"], drawing).assign(job=job),
            as_of_day=day,
            within_days=aims.evidence_days,
            rng=np.random.default_rng([seed, 1]),
        )
        drawing = _with_evidence(drawing, cells, proposed, rules)
    if aims.budget:
        among = candidates(cells, looked_at(register, job, yard, as_of), _with(asked, drawing))
        drawing = with_budget(drawing, among, yard, rules, aims.budget)
    return drawing


def _drawn(yard: Yard, before: pd.DataFrame, rules: Rules, seed: int, aims: Aims) -> Drawing:
    """Return the draw for what is new; an empty one where all is planned and something is aimed."""
    new = ~yard.joints["joint"].isin(before["joint"])
    if new.any() or aims == Aims() or before.empty:
        return draw(yard, rules, seed=seed, only=yard.joints.loc[new, "joint"])
    none = before.iloc[:0]
    return Drawing(none, spots_of(none.assign(part="", why="", draw_order=0), rules))


def _with(asked: pd.DataFrame, drawing: Drawing) -> pd.DataFrame:
    return pd.concat([asked[_PLACE], drawing.spots[_PLACE]], ignore_index=True)


def _with_evidence(
    drawing: Drawing, cells: pd.DataFrame, proposed: pd.DataFrame, rules: Rules
) -> Drawing:
    """Return a drawing with the production spots that certificates need."""
    found = proposed[proposed["cell"].notna()]
    whys = found.groupby(found["cell"].astype("int64"))["why"].agg("; ".join)
    chosen = cells.loc[whys.index].assign(why=whys)
    lacking = proposed.loc[proposed["cell"].isna(), "why"]
    return with_targeted(drawing, chosen, rules, tuple(lacking))
