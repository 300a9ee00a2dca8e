"""What named people decide of owed items, verdicts and welders: waived, overturned, reviewed."""

from collections.abc import Sequence
from datetime import datetime

import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.escalation.history import history_of
from ndtstats.escalation.items import handles_of
from ndtstats.escalation.owed import owed
from ndtstats.escalation.severity import severity
from ndtstats.register import (
    Register,
    decisions_in_force,
    examination_subjects,
    jobs_known,
    record_decisions,
)

#: How many of several that fit are named.
_MOST_NAMED = 8


def find_item(table: pd.DataFrame, named: str) -> pd.Series:
    """Return the owed item of that name or handle.

    Parameters
    ----------
    table : DataFrame
        Of :func:`ndtstats.escalation.owed`, with ``everything``.
    named : str
        Its name, or its handle.

    Raises
    ------
    UseError
        If there is none, or if two jobs have one of that name.
    """
    found = table[(table["item"] == named) | (table["handle"] == named.strip().casefold())]
    if found.empty:
        close = nearest(named, [*table["handle"], *table["item"]])
        hint = f'did you mean "{close}"?' if close else "list them with: ndtstats owed --everything"
        raise UseError(f'nothing was ever owed under the name "{named}"; {hint}')
    if len(found) > 1:
        handles = ", ".join(found["job"] + ": " + found["handle"])
        raise UseError(f'"{named}" is owed on several jobs; name it by its handle ({handles})')
    return found.iloc[0]


def waive(
    register: Register,
    items: Sequence[str],
    *,
    person: str,
    reason: str,
    now: datetime,
    job: str | None = None,
) -> list[str]:
    """Waive owed items, by name and with a reason, and return the numbers of the decisions.

    Waived items stay in the record and count nothing. A whole lot that is waived takes in what was
    welded by its day: a reject found there later is repaired, and opens nothing.

    Parameters
    ----------
    items : sequence of str
        Names or handles of the items.
    job : str, optional
        Only look on this job.

    Raises
    ------
    UseError
        If an item is unknown, or nothing is owed of it.
    """
    table = owed(register, job=job, everything=True)
    found = [find_item(table, named) for named in dict.fromkeys(items)]
    for item in found:
        if item["state"] in {"waived", "overturned"}:
            raise UseError(f"item {item['handle']} is {item['decided']}")
        if not item["count"] and item["state"] != "exhausted":
            raise UseError(f"nothing is owed of item {item['handle']} any more: {item['state']}")
    numbers = []
    for of_job in dict.fromkeys(item["job"] for item in found):
        mine = [item["item"] for item in found if item["job"] == of_job]
        numbers += record_decisions(
            register, kind="waiver", subjects=mine, person=person, reason=reason, now=now,
            job=of_job,
        )  # fmt: skip
    return numbers


def orphaned_waivers(
    register: Register,
    table: pd.DataFrame,
    *,
    job: str | None = None,
    as_of: datetime | None = None,
) -> list[str]:
    """Return in sentences which waivers are about nothing that was ever owed.

    That happens where a row that an item was named after was corrected: it may be owed again under
    another name.

    Parameters
    ----------
    table : DataFrame
        Of :func:`ndtstats.escalation.owed`, with ``everything``, of the same job and instant.
    """
    made = decisions_in_force(register, kind="waiver", job=job, as_of=as_of)
    left = made[~(made["job"] + "\n" + made["subject"]).isin(table["job"] + "\n" + table["item"])]
    return [
        f"Waiver {number} is about nothing that is owed now: {subject}. Look whether it is owed "
        "under another name, and withdraw the waiver."
        for number, subject in zip(left["decision"], left["subject"], strict=True)
    ]


def overturn(
    register: Register,
    named: str,
    *,
    person: str,
    reason: str,
    now: datetime,
    job: str | None = None,
) -> tuple[str, str]:
    """Overturn a reject that a second reading judged acceptable.

    The verdict stays on record and stops counting: what it had opened is closed and said so, and
    rates count it as an accept.

    Parameters
    ----------
    named : str
        Report number, name as ``owed`` prints it, or handle of the examination.
    job : str, optional
        Only look on this job.

    Returns
    -------
    (str, str)
        Number of the decision, and name of the examination.

    Raises
    ------
    UseError
        If no reject goes by that name, or several do.
    """
    jobs = [job] if job is not None else jobs_known(register)
    every = pd.concat([pd.DataFrame(), *(history_of(register, name, None).rows for name in jobs)])
    chosen = _one_reject(every, named)
    rows = register.table("examinations", job=str(chosen["job"]))
    raw = rows[rows["id"] == chosen["id"]]
    decision = record_decisions(
        register, kind="overturned", subjects=examination_subjects(raw).tolist(), person=person,
        reason=reason, now=now, job=str(chosen["job"]), details=[str(chosen["ref"])],
    )[0]  # fmt: skip
    return decision, str(chosen["ref"])


def _one_reject(rows: pd.DataFrame, named: str) -> pd.Series:
    """Return the one reject of that report number, name or handle."""
    if rows.empty:
        raise UseError("nothing is examined yet, so there is nothing to overturn")
    rejects = rows[rows["rejected"] | rows["overturned"]]
    handle = pd.Series(handles_of(rejects["job"], rejects["ref"]), rejects.index, dtype="str")
    by_name = (rejects["ref"] == named) | (handle == named.strip().casefold())
    found = rejects[by_name | (rejects["report"] == named)]
    if found.empty:
        raise UseError(_no_reject(rows, rejects, named))
    counting = found[found["rejected"]]
    if counting.empty:
        raise UseError(f"{found['ref'].iloc[0]} is overturned already")
    if len(counting) > 1:
        few = counting.head(_MOST_NAMED)
        listed = "; ".join(handle[few.index] + " = " + few["ref"])
        more = f" and {len(counting) - len(few)} more" if len(counting) > len(few) else ""
        raise UseError(
            f'{len(counting)} rejects go by "{named}"; name one by its handle: {listed}{more}'
        )
    return counting.iloc[0]


def _no_reject(rows: pd.DataFrame, rejects: pd.DataFrame, named: str) -> str:
    if ((rows["report"] == named) | (rows["ref"] == named)).any():
        return (
            f'"{named}" rejects nothing. An accept that is found to be a reject is a correction: '
            "load the row again with the verdict reject"
        )
    close = nearest(named, rejects["report"].dropna().tolist())
    hint = f'did you mean "{close}"?' if close else "list rejects with: ndtstats repairs"
    return f'no reject goes by the report number, name or handle "{named}"; {hint}'


def review(
    register: Register, welder: str, *, job: str, person: str, reason: str, now: datetime
) -> str:
    """Keep the review of a welder who is stopped or tightened, and return its number.

    Raises
    ------
    UseError
        If the welder is unknown, or neither stopped nor tightened.
    """
    standing = severity(register, job=job).standing
    mine = standing.loc[standing["welder"] == welder, "severity"]
    if mine.empty:
        close = nearest(welder, standing["welder"].tolist())
        hint = f'did you mean "{close}"?' if close else "see: ndtstats severity"
        raise UseError(f'no first examination on job {job} is charged to welder "{welder}"; {hint}')
    if (mine == "normal").all():
        raise UseError(f"welder {welder} is neither stopped nor tightened on job {job}")
    return record_decisions(
        register, kind="review", subjects=[welder], person=person, reason=reason, now=now, job=job
    )[0]


def waived_sentences(table: pd.DataFrame) -> list[str]:
    """Return in sentences what was waived or overturned, from all items of :func:`owed`."""
    given = table[table["state"].isin(["waived", "overturned"])]
    return [
        f"{item.handle} ({item.what}, {item.lot}): {item.decided}." for item in given.itertuples()
    ]
