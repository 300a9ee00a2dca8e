"""The request: what the contractor works from, blind to why a place was chosen."""

from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from ndtstats.columns import TABLES
from ndtstats.errors import UseError
from ndtstats.intake import heading, write_table
from ndtstats.planning import plan_head, plan_spots
from ndtstats.register import Register
from ndtstats.request.cautions import DECISION, RADIOGRAPHY
from ndtstats.request.reconcile import reconcile

#: What tells the contractor what to do; not columns of the examinations table.
_EXTRA = ("zone", "technique", "acceptance", "due", "shift")

#: In which order the columns stand: what is asked first, then what is to be filled in.
_ASKED = ("request", "job", "joint", "method", "from_mm", "to_mm", "round")


class Request(NamedTuple):
    """What is asked, and how many spots wait for their joint to be welded."""

    rows: pd.DataFrame
    not_welded: int
    all_taken_as_welded: bool


def request_rows(
    register: Register,
    plan: str,
    *,
    per_shift: int | None = None,
    as_of: datetime | None = None,
) -> Request:
    """Return the open spots of a plan as rows that the contractor fills in.

    Parameters
    ----------
    plan : str
        Number of the plan.
    per_shift : int, optional
        Exposures in a shift; groups the rows in shifts, nearest due date first.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    Request
        Rows by due date, zone, joint and place. A spot that was answered is left out; a reserve
        stands in for a spot that was not done. A joint that is not welded yet waits, so that no
        place is known before it is welded; if the job has no deposits at all, every joint is taken
        as welded.
    """
    head = plan_head(register, plan, as_of)
    job = str(head["job"])
    spots = plan_spots(register, plan, as_of)
    state = reconcile(register, plan, as_of=as_of)
    open_spots = state.loc[state["state"] == "open", "spot"]
    wanted = spots[spots["spot"].isin(open_spots)]
    deposits = register.table("deposits", job=job, as_of=as_of, columns=["joint"])
    welded = wanted["joint"].isin(deposits["joint"]) | deposits.empty
    rows = wanted[welded].copy()
    joints = register.table("joints", job=job, as_of=as_of).set_index("joint")
    zones = register.table("zones", job=job, as_of=as_of).set_index("zone")
    rows["request"] = rows["spot"]
    rows["zone"] = rows["joint"].map(joints["zone"])
    rows["due"] = rows["zone"].map(zones["due"])
    rows = rows.sort_values(["due", "zone", "joint", "from_mm"], na_position="last", kind="stable")
    rows["shift"] = np.arange(len(rows)) // per_shift + 1 if per_shift else None
    return Request(
        rows[[*_ASKED, *_EXTRA]].reset_index(drop=True),
        int((~welded).sum()),
        bool(deposits.empty),
    )


def write_request(
    register: Register,
    plan: str,
    path: str | Path,
    *,
    per_shift: int | None = None,
    as_of: datetime | None = None,
) -> Request:
    """Write the open spots of a plan as a file that comes back filled in and loads as it is.

    Parameters as in :func:`request_rows`; ``path`` ends in ``.xlsx`` (with drop-downs, and the
    cautions on a sheet of their own) or ``.csv`` (with the cautions in a text file beside it).

    Raises
    ------
    UseError
        If nothing is open, or the file is there already.
    """
    path = Path(path)
    request = request_rows(register, plan, per_shift=per_shift, as_of=as_of)
    if request.rows.empty:
        waits = (
            f"; {request.not_welded} wait for their joint to be welded"
            if request.not_welded
            else ""
        )
        raise UseError(f"plan {plan} has no open spot to ask for{waits}")
    radiation = "RT" in set(request.rows["method"])
    lines = [*(RADIOGRAPHY if radiation else ()), *DECISION]
    write_table(path, _sheet(request.rows), TABLES["examinations"], pages={"cautions": lines})
    if path.suffix.lower() == ".csv":
        path.with_suffix(".cautions.txt").write_text("\n\n".join(lines) + "\n", encoding="utf-8")
    return request


def _sheet(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows under the headings of the examinations table, blanks to be filled in."""
    table = TABLES["examinations"]
    shown = rows.assign(due=rows["due"].dt.strftime("%Y-%m-%d"))
    if shown["shift"].isna().all():
        shown = shown.drop(columns="shift")
    extra = [name for name in _EXTRA if name in shown]
    blank = [column for column in table.columns if column.name not in _ASKED]
    asked = {heading(table.column(name)): shown[name] for name in _ASKED}
    more = {name: shown[name] for name in extra}
    empty = {heading(column): pd.Series(None, shown.index, dtype="str") for column in blank}
    return pd.DataFrame(asked | more | empty)
