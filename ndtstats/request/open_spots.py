"""Which planned spots still wait for an examination, by when, and how many exposures they take."""

from datetime import datetime

import pandas as pd

from ndtstats.errors import UseError
from ndtstats.numbers import looked_up
from ndtstats.planning import plan_head, plan_spots
from ndtstats.planning.exposures import exposures_of
from ndtstats.planning.order import in_walking_order, with_due_dates
from ndtstats.register import Register, require_job
from ndtstats.request.reconcile import spot_states
from ndtstats.rules.force import rules_by_sha256


def open_spots(
    register: Register,
    *,
    plan: str | None = None,
    job: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return the spots that wait for an examination, in the order in which one asks for them.

    Parameters
    ----------
    plan : str, optional
        Number of the plan; all plans of the job if left out.
    job : str, optional
        The job where no plan is named; the only one if left out.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        Columns of the stored spots, and ``zone``, ``due`` (last day on which the spot can be
        reached), ``welded`` (bool) and ``exposures``. A spot that was answered is left out; a
        reserve is there if it stands in for a spot that was not done. If the job has no deposits
        at all, every joint is taken as welded.

    Raises
    ------
    UseError
        If there is no such plan, or the job has none.
    """
    if plan is not None:
        heads = plan_head(register, plan, as_of).to_frame().T
    else:
        job = require_job(register, job, as_of)
        heads = register.table("plans", job=job, as_of=as_of)
        if heads.empty:
            raise UseError(f"job {job} has no plan yet; make one with: ndtstats plan draw")
    parts = [
        register.once(("open spots", head["plan"], as_of), lambda: _open(register, head, as_of))  # noqa: B023  (answered at once)
        for _, head in heads.iterrows()
    ]
    return in_walking_order(pd.concat(parts, ignore_index=True))


def _open(register: Register, head: "pd.Series", as_of: datetime | None) -> pd.DataFrame:
    """Return the open spots of one plan."""
    job, plan = str(head["job"]), str(head["plan"])
    states = spot_states(register, plan, as_of=as_of)
    waiting = states.loc[states["state"] == "open", "spot"]
    spots = plan_spots(register, plan, as_of)
    spots = spots[spots["spot"].isin(waiting)]
    deposits = register.table("deposits", job=job, as_of=as_of, columns=["joint"])
    dated = with_due_dates(register, job, spots, as_of)
    return dated.assign(
        welded=dated["joint"].isin(deposits["joint"]) | deposits.empty,
        exposures=_exposures(register, head, dated, as_of),
    )


def _exposures(
    register: Register, head: "pd.Series", spots: pd.DataFrame, as_of: datetime | None
) -> "pd.Series[int]":
    """Return the exposures of each spot by its rule; a spot of no rule is one exposure."""
    takes = pd.Series(1, index=spots.index)
    if pd.isna(head["rules_sha256"]):
        return takes
    joints = register.table("joints", job=str(head["job"]), as_of=as_of).set_index("joint")
    cells = spots.assign(joint_mm=looked_up(spots["joint"], joints["length_mm"]))
    for rule in rules_by_sha256(register, head["rules_sha256"]).extent:
        mine = cells["rule"] == rule.name
        takes[mine] = exposures_of(cells[mine], rule)
    return takes
