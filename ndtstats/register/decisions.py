"""What a named person decided, with the reason: waivers, answers, overrides, and the like.

A decision is kept for good. It can be withdrawn by another one; it is never deleted.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.register.store import Register

#: What can be decided, and what the subject of such a decision is.
KINDS: Final[dict[str, str]] = {
    "waiver": "an owed item that is not asked for any more",
    "overturned": "a verdict that a second reading does not share; it stays, and stops counting",
    "release": "a zone that is released for a milestone, nothing standing in the way",
    "override": "what stands in the way of a release and is passed over",
    "answer": "a warning that was dealt with",
    "review": "a welder whose stop was lifted",
    "withdrawn": "an earlier decision that holds no longer",
}


def record_decisions(
    register: Register,
    *,
    kind: str,
    subjects: Sequence[str],
    person: str,
    reason: str,
    now: datetime,
    job: str | None = None,
    details: Sequence[str] | None = None,
) -> list[str]:
    """Keep one decision for each subject, all in one batch, and return their numbers.

    Parameters
    ----------
    kind : str
        One of :data:`KINDS`.
    subjects : sequence of str
        Names of what it is about.
    person, reason : str
        Who decided, by name, and why; neither may be blank.
    now : datetime
        The instant, aware.
    job : str, optional
        The job it belongs to.
    details : sequence of str, optional
        What each covers, where the subject alone does not tell.

    Raises
    ------
    UseError
        If person or reason is blank, or nothing is named.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from datetime import UTC
    >>> folder = tempfile.TemporaryDirectory()
    >>> register = Register.open(pathlib.Path(folder.name) / "yard.sqlite", create=True)
    >>> record_decisions(register, kind="answer", subjects=["W3"], person="A. Lead",
    ...     reason="certificate seen on paper", now=datetime(2026, 3, 1, tzinfo=UTC))
    ['D1']
    >>> decisions_in_force(register, kind="answer")["subject"].tolist()
    ['W3']
    >>> register.close(); folder.cleanup()
    """
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is not one of {', '.join(KINDS)}")
    for what, text in (("who decides, by name", person), ("the reason", reason)):
        if not text.strip():
            raise UseError(f"a decision needs {what}")
    if not subjects:
        raise UseError("there is nothing to decide")
    rows = pd.DataFrame(
        {
            "job": job, "kind": kind, "subject": list(subjects),
            "detail": None if details is None else list(details),
            "person": person.strip(), "reason": reason.strip(),
        }
    )  # fmt: skip
    with register.batch(kind="decision", subject=kind, now=now, by=person.strip()) as batch:
        # The batch has its number to itself, so that no two writers can name the same one.
        rows["decision"] = [
            f"D{batch.number}" if len(rows) == 1 else f"D{batch.number}-{n}"
            for n in range(1, len(rows) + 1)
        ]
        batch.insert("decisions", rows, counted=True)
    return rows["decision"].tolist()


def decisions_in_force(
    register: Register,
    *,
    kind: str | None = None,
    job: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return the decisions that nobody withdrew, oldest first.

    Parameters
    ----------
    kind : str, optional
        Only decisions of this kind.
    job : str, optional
        Only decisions about this job.
    as_of : datetime, optional
        What was in force then.

    Returns
    -------
    DataFrame
        Columns ``decision``, ``job``, ``kind``, ``subject``, ``detail``, ``person``, ``reason``,
        ``at`` (UTC), and ``id`` and ``batch``.
    """
    kept = register.once(("decisions in force", as_of), lambda: _in_force(register, as_of))
    if kind is not None:
        kept = kept[kept["kind"] == kind]
    if job is not None:
        kept = kept[kept["job"] == job]
    return kept.reset_index(drop=True)


def _in_force(register: Register, as_of: datetime | None) -> pd.DataFrame:
    found = register.table("decisions", as_of=as_of)
    withdrawn = found.loc[found["kind"] == "withdrawn", "subject"]
    kept = found[~found["decision"].isin(withdrawn) & (found["kind"] != "withdrawn")]
    log = register.batches(as_of).set_index("number")["at"]
    # By reindex: an empty log cannot be mapped.
    at = pd.Series(log.reindex(kept["batch"]).array, kept.index)
    return kept.assign(at=at)


def withdraw_decision(
    register: Register, decision: str, *, person: str, reason: str, now: datetime
) -> str:
    """Withdraw a decision by another one, and return the number of that.

    Raises
    ------
    UseError
        If there is no such decision in force.
    """
    known = decisions_in_force(register)
    if decision not in set(known["decision"]):
        close = nearest(decision, known["decision"].tolist())
        hint = f'did you mean "{close}"?' if close else "see them with: ndtstats decisions"
        raise UseError(f'"{decision}" is not a decision in force; {hint}')
    job = known.set_index("decision")["job"][decision]
    return record_decisions(
        register, kind="withdrawn", subjects=[decision], person=person, reason=reason, now=now,
        job=None if pd.isna(job) else str(job),
    )[0]  # fmt: skip
