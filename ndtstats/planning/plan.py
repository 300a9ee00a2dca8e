"""A plan: drawn once, and kept with its seed, frame and rules."""

from datetime import datetime

import numpy as np
import pandas as pd

from ndtstats import __version__
from ndtstats.errors import UseError, nearest
from ndtstats.planning.draft import Aims, draft
from ndtstats.planning.drawing import Drawing
from ndtstats.planning.order import in_walking_order, with_due_dates
from ndtstats.planning.tightened import Tightened, as_text
from ndtstats.progress import Progress, silent
from ndtstats.register import Batch, Register
from ndtstats.rules import Rules
from ndtstats.rules.force import keep_rules


def draw_plan(
    register: Register,
    *,
    job: str,
    rules: Rules,
    seed: int,
    now: datetime,
    by: str | None = None,
    aims: Aims = Aims(),  # noqa: B008  (it is frozen)
    tightened: Tightened | None = None,
    progress: Progress = silent,
) -> tuple[str, Drawing]:
    """Draw a plan for the joints of a job that no earlier plan by these rules covers, and keep it.

    Parameters
    ----------
    job : str
        The job.
    rules : Rules
        Rules to plan by.
    seed : int
        Seed of the draw.
    now : datetime
        The instant of the draw.
    aims : Aims
        Spots on purpose; they may lie on joints that earlier plans cover.
    tightened : mapping of (str, str) to float, optional
        By welder and method: what the extent of his work is multiplied by. Who gave a signal is
        told by :func:`ndtstats.escalation.tightened_in_force`.
    progress : Progress
        Is told how far the draw is.

    Returns
    -------
    (str, Drawing)
        Number of the plan, and what was drawn.

    Raises
    ------
    UseError
        If there is nothing to plan for.
    """
    tightened = tightened or {}
    drawing = draft(
        register, job, rules, seed=seed, aims=aims, day=now.date(), tightened=tightened,
        progress=progress,
    )  # fmt: skip
    spots = in_request_order(register, job, drawing.spots)
    plan = store_plan(
        register,
        kind="draw",
        job=job,
        spots=spots,
        cells=drawing.cells,
        seed=seed,
        rules=rules,
        frame=drawing.sha256,
        now=now,
        by=by,
        aims=aims,
        tightened=tightened,
    )
    return plan, drawing


def in_request_order(register: Register, job: str, spots: pd.DataFrame) -> pd.DataFrame:
    """Return spots in the order in which they are asked for: due date, zone, joint, place."""
    ordered = in_walking_order(with_due_dates(register, job, spots))
    return ordered.drop(columns=["zone", "zone_path", "due"])


def store_plan(
    register: Register,
    *,
    kind: str,
    job: str,
    spots: pd.DataFrame,
    cells: pd.DataFrame,
    seed: int,
    rules: Rules | None,
    frame: str,
    now: datetime,
    by: str | None,
    aims: Aims = Aims(),  # noqa: B008  (it is frozen)
    tightened: Tightened | None = None,
) -> str:
    """Keep a plan with its spots, numbered in the order given; return its number.

    The ids of spots run over all of them, reserves too, so that an id tells nothing of why.
    """
    plan = f"P{len(register.table('plans', columns=['plan'])) + 1}"
    digits = max(4, len(str(len(spots))))
    ids = [f"{plan}-{number:0{digits}d}" for number in range(1, len(spots) + 1)]
    head = {
        "plan": plan,
        "job": job,
        "kind": kind,
        "seed": seed,
        "rules_sha256": rules.sha256 if rules else None,
        "frame_sha256": frame,
        "drawn_at": now.isoformat(timespec="seconds"),
        "risk_exponent": rules.file.risk.exponent if rules else None,
        "budget": aims.budget,
        "evidence_days": aims.evidence_days,
        "tightened": as_text(tightened or {}),
        "version": __version__,
    }
    with register.batch(kind="plan", subject=job, source=plan, by=by, now=now) as batch:
        _keep(batch, register, rules, head, plan, job, cells, spots.assign(spot=ids))
    return plan


def _keep(
    batch: Batch,
    register: Register,
    rules: Rules | None,
    head: dict[str, object],
    plan: str,
    job: str,
    cells: pd.DataFrame,
    spots: pd.DataFrame,
) -> None:
    if rules is not None:
        keep_rules(batch, register, rules)
    batch.insert("plans", pd.DataFrame([head]))
    numbered = cells.assign(plan=plan, job=job, cell=np.arange(len(cells)))
    batch.insert("frame_cells", numbered)
    batch.insert("spots", spots.assign(plan=plan, job=job), counted=True)


def plan_head(register: Register, plan: str, as_of: datetime | None = None) -> pd.Series:
    """Return what is kept of a plan: job, kind, seed, digests.

    Raises
    ------
    UseError
        If there is no such plan.
    """
    plans = register.table("plans", as_of=as_of)
    found = plans[plans["plan"] == plan.upper()]
    if not found.empty:
        return found.iloc[0]
    known = list(plans["plan"])
    close = nearest(plan, known)
    hint = f'did you mean "{close}"?' if close else f"known: {', '.join(known) or 'none yet'}"
    raise UseError(f'there is no plan "{plan}"; {hint}')


def plan_spots(register: Register, plan: str, as_of: datetime | None = None) -> pd.DataFrame:
    """Return the spots of a plan in request order."""
    head = plan_head(register, plan, as_of)
    spots = register.table("spots", job=str(head["job"]), as_of=as_of)
    mine: pd.DataFrame = spots[spots["plan"] == head["plan"]].reset_index(drop=True)
    return mine
