"""Warnings that loading raised: which still stand, which were answered, which have settled."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.qualification import outside
from ndtstats.register import Register, decisions_in_force, record_decisions
from ndtstats.register.frames import natural_key

#: Columns of the result, and their types.
COLUMNS: dict[str, str] = {
    "warning": "str",
    "job": "str",
    "zone": "str",
    "joint": "str",
    "welder": "str",
    "row": "str",
    "code": "str",
    "reason": "str",
    "value": "str",
    "remedy": "str",
    "place": "str",
    "since": "datetime64[us, UTC]",
    "state": "str",
    "answered_by": "str",
    "answer": "str",
}

#: Tables whose natural key begins with the job and the joint, the job and the zone, the welder.
_OF_JOINT = ("joints", "deposits", "examinations", "beads")
_OF_ZONE = ("zones", "tests")
_OF_WELDER = ("welders", "qualifications", "confirmations")


def warnings_of(
    register: Register,
    *,
    job: str | None = None,
    as_of: datetime | None = None,
    everything: bool = False,
) -> pd.DataFrame:
    """Return the warnings of the register, oldest first.

    Parameters
    ----------
    job : str, optional
        Only warnings about this job, and those about welders, which belong to none; else all.
    as_of : datetime, optional
        What stood then.
    everything : bool
        Also those that were answered or have settled.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`. ``warning`` is its number; ``row`` the natural key of the row that
        it is about, its parts joined by " | "; ``place`` says where in which file;
        ``state`` is "open", "answered" (by a named person, with a reason) or "settled": its row was
        corrected since, or what was missing has come in.
    """
    found = register.once(("warnings", job, as_of), lambda: _ever(register, job, as_of))
    kept = found if everything else found[found["state"] == "open"]
    return kept.reset_index(drop=True)


def _ever(register: Register, job: str | None, as_of: datetime | None) -> pd.DataFrame:
    """Return all warnings, answered and settled ones among them."""
    stored = register.table("warnings", as_of=as_of)
    if job is not None:
        stored = stored[stored["job"].isna() | (stored["job"] == job)]
    told = _about(stored.reset_index(drop=True), register, as_of)
    settled = _corrected(told, register, as_of) | _come_in(told, register, as_of)
    answers = decisions_in_force(register, kind="answer", as_of=as_of)
    answers = answers.drop_duplicates("subject", keep="last").set_index("subject")
    answered = told["warning"].isin(answers.index)
    found = told.assign(
        state=pd.Series("open", told.index).mask(answered, "answered").mask(settled, "settled"),
        answered_by=told["warning"].map(answers["person"]),
        answer=told["warning"].map(answers["reason"]),
    )
    return found[list(COLUMNS)].astype(COLUMNS)


def _about(stored: pd.DataFrame, register: Register, as_of: datetime | None) -> pd.DataFrame:
    """Add number, instant, place in the file, and the joint, zone or welder each is about."""
    log = register.batches(as_of).set_index("number")["at"]
    parts = stored["row_key"].astype("str").str.split("\x1f", n=2, expand=True)
    parts = parts.reindex(columns=[0, 1]).astype("str")
    of = {
        name: stored["table"].isin(tables)
        for name, tables in (("joint", _OF_JOINT), ("zone", _OF_ZONE), ("welder", _OF_WELDER))
    }
    joint = parts[1].where(of["joint"])
    joints = register.table("joints", as_of=as_of, columns=["job", "joint", "zone"])
    zones = joints.drop_duplicates(["job", "joint"])[["job", "joint", "zone"]]
    known = pd.DataFrame({"job": stored["job"], "joint": joint}).astype("str")
    of_joint = known.merge(zones, on=["job", "joint"], how="left").set_axis(stored.index)["zone"]
    return stored.assign(
        warning="W" + stored["id"].astype("str"),
        since=log.reindex(stored["batch"]).set_axis(stored.index),
        place=_places(stored),
        joint=joint,
        zone=of_joint.fillna(parts[1].where(of["zone"])),
        welder=parts[0].where(of["welder"]),
        row=stored["row_key"].astype("str").str.replace("\x1f", " | ", regex=False),
    )


def _places(stored: pd.DataFrame) -> "pd.Series[str]":
    sheet = (", sheet " + stored["sheet"].astype("str")).fillna("")
    row = (", row " + stored["row"].astype("Int64").astype("str")).fillna("")
    column = (", column " + stored["column"].astype("str")).fillna("")
    return stored["file"].astype("str").fillna("") + sheet + row + column


def _corrected(told: pd.DataFrame, register: Register, as_of: datetime | None) -> Any:
    """Return which warnings are about a row that a later batch corrected.

    What is wrong with the corrected row was told anew when it came.
    """
    gone = pd.Series(False, told.index)
    for table, mine in told.groupby("table"):
        keys = register.keys(str(table), as_of=as_of)
        brought = mine["row_key"].map(keys)
        gone[mine.index] = (brought > mine["batch"]).to_numpy()
    return gone


def _come_in(told: pd.DataFrame, register: Register, as_of: datetime | None) -> Any:
    """Return which warnings are about something missing that has come in since."""
    gone = pd.Series(False, told.index)
    unseen = told[told["code"] == "NO-VISUAL"]
    if len(unseen):
        gone[unseen.index] = _seen_since(unseen, register, as_of)
    unqualified = told[told["code"] == "UNQUALIFIED"]
    for job, mine in unqualified.groupby("job"):
        still = outside(register, job=str(job), as_of=as_of)
        names = still["joint"] + "\x1f" + still["welder"] + "\x1f"
        names += still["date"].dt.strftime("%Y-%m-%d").astype("str")
        own = mine["row_key"].str.split("\x1f").str[1:4].str.join("\x1f")
        gone[mine.index] = ~own.isin(names).to_numpy()
    return gone


def _seen_since(unseen: pd.DataFrame, register: Register, as_of: datetime | None) -> Any:
    """Return which joints have an accepted visual examination on or before the day in question."""
    examined = register.table("examinations", as_of=as_of)
    accepted = examined[(examined["method"] == "VT") & (examined["verdict"] == "accept")]
    first = accepted.groupby(["job", "joint"])["date"].min().rename("seen").reset_index()
    rows = examined.assign(key=natural_key("examinations", examined))
    rows = rows.loc[rows["key"].isin(unseen["row_key"]), ["job", "joint", "date", "key"]]
    both = rows.merge(first, on=["job", "joint"])
    seen = both.loc[both["seen"] <= both["date"], "key"]
    return unseen["row_key"].isin(seen).to_numpy()


def answer_warnings(
    register: Register, numbers: Sequence[str], *, person: str, reason: str, now: datetime
) -> list[str]:
    """Answer open warnings by name and with a reason, all at once, and return the decisions.

    Raises
    ------
    UseError
        If one of them is not open, or name or reason is blank: nothing is answered then.
    """
    open_ = warnings_of(register)
    wrong = [number for number in numbers if number not in set(open_["warning"])]
    if wrong:
        close = nearest(wrong[0], open_["warning"].tolist())
        hint = f'did you mean "{close}"?' if close else "see them with: ndtstats warnings"
        raise UseError(f'"{wrong[0]}" is not an open warning; {hint}')
    jobs = open_.set_index("warning")["job"].reindex(list(numbers)).dropna().unique()
    return record_decisions(
        register, kind="answer", subjects=list(dict.fromkeys(numbers)), person=person,
        reason=reason, now=now, job=str(jobs[0]) if len(jobs) == 1 else None,
    )  # fmt: skip


def warnings_sentence(table: pd.DataFrame) -> str:
    """Return in a sentence what a table of :func:`warnings_of` amounts to."""
    open_ = table[table["state"] == "open"]
    if open_.empty:
        return "No warning waits for an answer."
    number = f"{len(open_):,} warning{' waits' if len(open_) == 1 else 's wait'} for an answer"
    kinds = open_["code"].value_counts()
    told = ", ".join(f"{count:,} {code}" for code, count in kinds.items())
    return f"{number}: {told}."
