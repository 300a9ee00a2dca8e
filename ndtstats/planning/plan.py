"""A plan: drawn once, kept with its seed, frame and rules, and repeated whenever somebody asks."""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd

from ndtstats import __version__
from ndtstats.errors import UseError, nearest
from ndtstats.planning.drawing import Drawing, draw
from ndtstats.planning.order import in_walking_order, with_due_dates
from ndtstats.planning.yard import yard_of
from ndtstats.register import Batch, Register
from ndtstats.rules import Rules
from ndtstats.rules.force import keep_rules, rules_by_sha256


@dataclass(frozen=True, slots=True)
class Repeat:
    """Whether a plan drawn again comes out the same, and what has changed since."""

    plan: str
    equal: bool
    frame_equal: bool
    changes: tuple[str, ...] = field(default=())


def draw_plan(
    register: Register,
    *,
    job: str,
    rules: Rules,
    seed: int,
    now: datetime,
    by: str | None = None,
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

    Returns
    -------
    (str, Drawing)
        Number of the plan, and what was drawn.

    Raises
    ------
    UseError
        If there is nothing to plan for.
    """
    drawing = _drawing(register, job, rules, seed, None)
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
    )
    return plan, drawing


def _drawing(
    register: Register, job: str, rules: Rules, seed: int, as_of: datetime | None
) -> Drawing:
    yard = yard_of(register, job, rules, as_of)
    new = ~yard.joints["joint"].isin(_planned(register, job, rules, as_of))
    return draw(replace(yard, joints=yard.joints[new]), rules, seed=seed)


def _planned(register: Register, job: str, rules: Rules, as_of: datetime | None) -> Any:
    """Return the joints that an earlier draw by the same rules covers."""
    plans = register.table("plans", job=job, as_of=as_of)
    same = plans[(plans["kind"] == "draw") & (plans["rules_sha256"] == rules.sha256)]
    if same.empty:
        return []
    cells = register.table("frame_cells", job=job, as_of=as_of, columns=["plan", "joint"])
    return cells.loc[cells["plan"].isin(same["plan"]), "joint"].unique()


def in_request_order(register: Register, job: str, spots: pd.DataFrame) -> pd.DataFrame:
    """Return spots in the order in which they are asked for: due date, zone, joint, place."""
    ordered = in_walking_order(with_due_dates(register, job, spots))
    return ordered.drop(columns=["zone", "due"])


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


def repeat_plan(register: Register, plan: str) -> Repeat:
    """Draw a plan again from the register as it was then, and compare it with what is kept.

    Returns
    -------
    Repeat
        ``equal``: every spot is the same; ``frame_equal``: and so is the frame; ``changes``: what
        of it the register tells otherwise today.

    Raises
    ------
    UseError
        If there is no such plan, or it was not drawn by chance from rules.
    """
    head = plan_head(register, plan)
    if head["kind"] != "draw":
        raise UseError(f"plan {head['plan']} answers what is owed; only a draw can be repeated")
    rules = rules_by_sha256(register, head["rules_sha256"])
    log = register.batches().set_index("number")["at"]
    before = log[head["batch"]].to_pydatetime() - timedelta(microseconds=1)
    again = _drawing(register, head["job"], rules, int(head["seed"]), before)
    kept = plan_spots(register, plan)
    columns = ["joint", "method", "from_mm", "to_mm", "part", "pi", "stratum"]
    order = ["joint", "method", "from_mm"]
    mine = again.spots.sort_values(order)[columns].reset_index(drop=True)
    theirs = kept.sort_values(order)[columns].reset_index(drop=True)
    equal = len(mine) == len(theirs) and all(
        mine[c].tolist() == theirs[c].tolist() for c in columns
    )
    frame_equal = again.sha256 == head["frame_sha256"]
    return Repeat(head["plan"], equal, frame_equal, _changes(register, head, before))


def _changes(register: Register, head: Any, before: datetime) -> tuple[str, ...]:
    """Return in sentences what has changed in the register since a plan was drawn."""
    told = []
    for table, key in (("joints", ["joint"]), ("deposits", ["joint", "welder", "date"])):
        then = register.table(table, job=head["job"], as_of=before)
        today = register.table(table, job=head["job"])
        gone = ~then["id"].isin(today["id"])
        new = ~today["id"].isin(then["id"])
        corrected = today[new].merge(then.loc[gone, key], on=key)[key].drop_duplicates()
        added = int(new.sum()) - len(corrected)
        if added:
            told.append(f"{_count(added, table)} added since")
        if len(corrected):
            some = ", ".join(corrected["joint"].unique()[:5])
            told.append(f"{_count(len(corrected), table)} corrected since, such as {some}")
    return tuple(told)


def _count(number: int, table: str) -> str:
    return f"{number:,} {table if number != 1 else table.removesuffix('s')}"
