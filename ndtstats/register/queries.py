"""Small questions that every command asks before its own."""

from datetime import datetime

from ndtstats.errors import UseError, nearest
from ndtstats.register.store import Register


def jobs_known(register: Register, as_of: datetime | None = None) -> list[str]:
    """Return the jobs of the register in the order in which they came."""
    return list(register.table("jobs", as_of=as_of, columns=["job"])["job"])


def require_job(register: Register, job: str | None, as_of: datetime | None = None) -> str:
    """Return the job asked for; with None, the only job there is.

    Raises
    ------
    UseError
        If the register has no such job, or several and none was named.
    """
    known = jobs_known(register, as_of)
    if job is None:
        if len(known) == 1:
            return known[0]
        listed = ", ".join(known)
        raise UseError(
            f"name the job with --job; the register has {listed}"
            if known
            else f"{register.name} has no jobs yet; load them with: ndtstats load jobs FILE"
        )
    if job in known:
        return job
    close = nearest(job, known)
    hint = f'did you mean "{close}"?' if close else f"known: {', '.join(known) or 'none'}"
    raise UseError(f'job "{job}" is not in {register.name}; {hint}')
