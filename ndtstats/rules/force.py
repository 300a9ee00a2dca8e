"""Which rules a job is built to: adopted once, kept with their text, known as of any instant."""

from datetime import datetime

import pandas as pd

from ndtstats.errors import UseError
from ndtstats.register import Batch, Register
from ndtstats.rules.model import Rules
from ndtstats.rules.reader import load_rules, read_rules


def adopt(
    register: Register,
    job: str,
    rules: Rules,
    *,
    agreed_by: str | None,
    by: str | None,
    now: datetime,
) -> bool:
    """Put rules in force for a job, from ``now`` on.

    Parameters
    ----------
    register : Register
        Keeps the text of the rules, word for word, and who adopted them when.
    job : str
        Number of the job.
    rules : Rules
        The rules.
    agreed_by : str, optional
        With whom they were agreed; None: whom the rules file names, if any.
    by : str, optional
        Who adopts them, for the log.
    now : datetime
        The instant, aware.

    Returns
    -------
    bool
        False if these rules were in force already on the same terms; nothing is written then.
    """
    agreed = agreed_by or rules.file.agreed_with or None
    last = _last_adoption(register, job, None)
    if last == (rules.sha256, agreed):
        return False
    with register.batch(kind="rules", subject=job, source=rules.title, by=by, now=now) as batch:
        keep_rules(batch, register, rules)
        row = {"job": job, "rules_sha256": rules.sha256, "agreed_by": agreed}
        batch.insert("adoptions", pd.DataFrame([row]))
    return True


def keep_rules(batch: Batch, register: Register, rules: Rules) -> None:
    """Add the text of the rules to the register within an open batch, unless it is there."""
    known = register.table("rule_sets", columns=["sha256"])["sha256"]
    if rules.sha256 not in set(known):
        row = {"sha256": rules.sha256, "title": rules.title, "text": rules.text}
        batch.insert("rule_sets", pd.DataFrame([row]))


def rules_in_force(register: Register, job: str, as_of: datetime | None = None) -> Rules | None:
    """Return the rules in force for a job at an instant; None if none were adopted."""
    last = _last_adoption(register, job, as_of)
    return None if last is None else rules_by_sha256(register, last[0])


def rules_by_sha256(register: Register, sha256: str) -> Rules:
    """Return rules that the register holds, by the digest of their text; KeyError if it does not.

    Raises
    ------
    UseError
        If this version of the package no longer takes them: what is wrong, with its line.
    """
    return register.once(("rules", sha256), lambda: _read(register, sha256))


def _read(register: Register, sha256: str) -> Rules:
    kept = register.table("rule_sets").set_index("sha256")["text"]
    return read_rules(kept[sha256], source=f"rules {sha256[:12]} of the register")


def _last_adoption(
    register: Register, job: str, as_of: datetime | None
) -> tuple[str, str | None] | None:
    """Return digest and terms of what was adopted last."""
    adopted = register.table("adoptions", job=job, as_of=as_of)
    if adopted.empty:
        return None
    last = adopted.iloc[-1]
    return str(last["rules_sha256"]), last["agreed_by"] if pd.notna(last["agreed_by"]) else None


def rules_for_plan(
    register: Register, job: str, name_or_path: str | None, *, by: str | None, now: datetime
) -> tuple[Rules, list[str]]:
    """Return the rules to plan a job by, and what to say of them.

    Parameters
    ----------
    name_or_path : str, optional
        A rules file or preset; None: the rules in force. Rules named for a job that has none are
        put in force; where others are in force, those stay.

    Raises
    ------
    UseError
        If none are named and none are in force.
    """
    in_force = rules_in_force(register, job)
    if name_or_path is None:
        if in_force is None:
            raise UseError(
                f"job {job} has no rules in force; name a file with --rules, or put one in force "
                f"with: ndtstats rules adopt FILE --job {job}"
            )
        return in_force, []
    rules = load_rules(name_or_path)
    if in_force is None:
        adopt(register, job, rules, agreed_by=None, by=by, now=now)
        return rules, [f'The rules "{rules.title}" are now in force for job {job}.']
    if in_force.sha256 == rules.sha256:
        return rules, []
    return rules, [
        f'The rules "{in_force.title}" stay in force for job {job}; this plan follows '
        f'"{rules.title}".'
    ]
