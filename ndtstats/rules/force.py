"""Which rules a job is built to: adopted once, kept with their text, known as of any instant."""

from datetime import datetime

import pandas as pd

from ndtstats.register import Batch, Register
from ndtstats.rules.model import Rules
from ndtstats.rules.reader import read_rules


def keep_rules(batch: Batch, register: Register, rules: Rules) -> None:
    """Add the text of the rules to the register within an open batch, unless it is there."""
    known = register.table("rule_sets", columns=["sha256"])["sha256"]
    if rules.sha256 not in set(known):
        row = {"sha256": rules.sha256, "title": rules.title, "text": rules.text}
        batch.insert("rule_sets", pd.DataFrame([row]))


def adopt(
    register: Register,
    job: str,
    rules: Rules,
    *,
    agreed_by: str | None,
    by: str | None,
    now: datetime,
) -> bool:
    """Put rules in force for a job; return False if they already were.

    Parameters
    ----------
    agreed_by : str, optional
        With whom the rules were agreed; the rules file's own word if left out.
    """
    if _in_force_sha256(register, job, None) == rules.sha256:
        return False
    with register.batch(kind="rules", subject=job, source=rules.title, by=by, now=now) as batch:
        keep_rules(batch, register, rules)
        agreed = agreed_by or rules.file.agreed_with or None
        row = {"job": job, "rules_sha256": rules.sha256, "agreed_by": agreed}
        batch.insert("adoptions", pd.DataFrame([row]))
    return True


def rules_in_force(register: Register, job: str, as_of: datetime | None = None) -> Rules | None:
    """Return the rules in force for a job at an instant; None if none were adopted."""
    sha256 = _in_force_sha256(register, job, as_of)
    return None if sha256 is None else rules_by_sha256(register, sha256)


def rules_by_sha256(register: Register, sha256: str) -> Rules:
    """Return rules that the register holds, by the digest of their text."""
    kept = register.table("rule_sets")
    text = kept.loc[kept["sha256"] == sha256, "text"].iloc[0]
    return read_rules(text, source=f"rules {sha256[:12]} of the register")


def _in_force_sha256(register: Register, job: str, as_of: datetime | None) -> str | None:
    adopted = register.table("adoptions", job=job, as_of=as_of)
    return None if adopted.empty else str(adopted["rules_sha256"].iloc[-1])
