"""A plan repeated: drawn again from the register as it was, to prove that nobody pointed."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import pandas as pd

from ndtstats.errors import UseError
from ndtstats.planning.draft import Aims, draft
from ndtstats.planning.plan import plan_head, plan_spots
from ndtstats.planning.tightened import kept_factors
from ndtstats.register import Register
from ndtstats.rules.force import rules_by_sha256


@dataclass(frozen=True, slots=True)
class Repeat:
    """Whether a plan drawn again comes out the same, and what has changed since."""

    plan: str
    equal: bool
    frame_equal: bool
    changes: tuple[str, ...] = field(default=())


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
    again = draft(
        register,
        head["job"],
        rules,
        seed=int(head["seed"]),
        aims=_aims(head),
        day=datetime.fromisoformat(head["drawn_at"]).date(),
        tightened=kept_factors(head),
        as_of=before,
    )
    kept = plan_spots(register, plan)
    columns = ["joint", "method", "from_mm", "to_mm", "part", "pi", "stratum"]
    order = ["joint", "method", "from_mm"]
    mine = again.spots.sort_values(order)[columns].reset_index(drop=True)
    theirs = kept.sort_values(order)[columns].reset_index(drop=True)
    equal = mine.astype(theirs.dtypes.to_dict()).equals(theirs)
    frame_equal = again.sha256 == head["frame_sha256"]
    return Repeat(head["plan"], equal, frame_equal, _changes(register, head, before))


def _aims(head: Any) -> Aims:
    days = head["evidence_days"]
    return Aims(int(head["budget"]), None if pd.isna(days) else int(days))


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
