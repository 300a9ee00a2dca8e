"""``ndtstats plan extra``."""

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import (
    by_option,
    format_option,
    job_option,
    opened,
    register_option,
    seed_option,
)
from ndtstats.clock import now

_COLUMNS = (
    Shown("joint", "joint"),
    Shown("method", "method"),
    Shown("from_mm", "from [mm]", "mm"),
    Shown("to_mm", "to [mm]", "mm"),
    Shown("round", "round", "count"),
    Shown("why", "why"),
    Shown("because", "owed item"),
)


@click.command()
@job_option
@seed_option(default=0, show_default=True)
@by_option
@register_option
@format_option
def extra(job: str | None, seed: int, by: str, register: str, fmt: str) -> None:
    """Plan the extra examinations and re-examinations that a job owes."""
    from ndtstats.escalation import plan_extras  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    with opened(register) as reg:
        number, spots = plan_extras(reg, job=require_job(reg, job), seed=seed, now=now(), by=by)
    count = "1 spot" if len(spots) == 1 else f"{len(spots):,} spots"
    emit(spots, fmt, columns=_COLUMNS, conclusion=f"Plan {number}: {count} for what is owed.")
    if fmt == "table":
        say(f"Ask for them with: ndtstats request write {number} FILE.xlsx")
