"""The request: what the contractor works from, blind to why a place was chosen."""

from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from ndtstats.columns import TABLES
from ndtstats.errors import UseError
from ndtstats.intake import heading, write_table
from ndtstats.planning import plan_head
from ndtstats.planning.shifts import in_shifts
from ndtstats.register import Register
from ndtstats.request.cautions import DECISION, RADIOGRAPHY
from ndtstats.request.hold import hold_in_words
from ndtstats.request.open_spots import open_spots
from ndtstats.rules.force import rules_by_sha256

#: What is asked, in the order of the columns; the others of the examinations table are blank.
_ASKED = ("request", "job", "joint", "method", "from_mm", "to_mm", "round")

#: What tells the contractor what to do; not columns of the examinations table, so that loading
#: passes over them.
_EXTRA = ("zone", "technique", "acceptance", "conditions", "hold", "due", "shift")

#: How the columns stand.
_ORDER = (
    "request", "job", "zone", "joint", "method", "from_mm", "to_mm", "round", "technique",
    "acceptance", "conditions", "hold", "due", "shift",
)  # fmt: skip


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
        Exposures in a shift; groups the rows in shifts, nearest due date first. The shift shown is
        that in which the last exposure of a spot is taken.
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
    spots = open_spots(register, plan=plan, as_of=as_of)
    rows = spots[spots["welded"]]
    shift = pd.Series(None, rows.index, "Int64")
    if per_shift is not None:
        ends = in_shifts(rows, per_shift=per_shift).groupby("spot")["shift"].max()
        shift = rows["spot"].map(ends).astype("Int64")
    head = plan_head(register, plan, as_of)
    deposits = register.table(
        "deposits", job=str(head["job"]), as_of=as_of, columns=["joint", "date"]
    )
    hold = _hold(register, head, rows, deposits, as_of)
    asked = rows.assign(request=rows["spot"], shift=shift, hold=hold)[[*_ASKED, *_EXTRA]]
    waiting = int((~spots["welded"]).sum())
    return Request(asked.reset_index(drop=True), waiting, bool(deposits.empty))


def _hold(
    register: Register,
    head: "pd.Series[Any]",
    rows: pd.DataFrame,
    deposits: pd.DataFrame,
    as_of: datetime | None,
) -> "pd.Series[str]":
    """Return the hold time of each row in words; what answers a reject is under no extent rule."""
    if pd.isna(head["rules_sha256"]):
        return pd.Series(None, rows.index, dtype="str")
    rules = rules_by_sha256(register, head["rules_sha256"])
    joints = register.table("joints", job=str(head["job"]), as_of=as_of)
    return hold_in_words(rows, joints, deposits, rules.extent)


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
        raise UseError(f"plan {plan} has no open spot to ask for{_waiting(request)}")
    radiation = "RT" in set(request.rows["method"])
    lines = [*(RADIOGRAPHY if radiation else ()), *DECISION]
    beside = path.with_suffix(".cautions.txt") if path.suffix.lower() == ".csv" else None
    if beside is not None and beside.exists():
        raise UseError(f"{beside} is there already; name another file, or remove it first")
    write_table(path, _sheet(request.rows), TABLES["examinations"], pages={"cautions": lines})
    if beside is not None:
        beside.write_text("\n\n".join(lines) + "\n", encoding="utf-8")
    return request


def _waiting(request: Request) -> str:
    number = request.not_welded
    waits = "waits for its joint" if number == 1 else "wait for their joint"
    return f"; {number:,} {waits} to be welded" if number else ""


def _sheet(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows under the headings of the examinations table, blanks to be filled in."""
    table = TABLES["examinations"]
    shown = rows.assign(due=rows["due"].dt.strftime("%Y-%m-%d").astype("str"))
    # Columns that few requests need stand there only where something is in them.
    seldom = {name for name in ("conditions", "hold", "shift") if shown[name].isna().all()}
    asked = [name for name in _ORDER if name not in seldom]
    heads = {name: heading(table.column(name)) for name in _ASKED}
    blank = {
        heading(column): pd.Series(None, shown.index, dtype="str")
        for column in table.columns
        if column.name not in _ASKED
    }
    return shown[asked].rename(columns=heads).assign(**blank)
