"""``ndtstats decisions``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import (
    as_of_option,
    decided_options,
    format_option,
    opened,
    register_option,
)
from ndtstats.clock import now

_COLUMNS = (
    Shown("decision", "decision"),
    Shown("at", "at (UTC)"),
    Shown("job", "job"),
    Shown("kind", "what"),
    Shown("subject", "of"),
    Shown("person", "by"),
    Shown("reason", "reason"),
)


@click.command()
@click.option("--job", metavar="JOB", help="Only decisions about this job.")
@click.option("--withdraw", metavar="DECISION", help="Withdraw one; it is kept, and holds no more.")
@decided_options
@register_option
@as_of_option
@format_option
def decisions(
    job: str | None,
    withdraw: str | None,
    by: str | None,
    reason: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """List what was decided by name: waivers, answers, overrides, releases; or withdraw one."""
    from ndtstats.register import decisions_in_force, withdraw_decision  # noqa: PLC0415

    with opened(register) as reg:
        if withdraw:
            done = withdraw_decision(reg, withdraw, person=by or "", reason=reason or "", now=now())
            say(f"Decision {withdraw} is withdrawn ({done}).")
            return
        table = decisions_in_force(reg, job=job, as_of=as_of)
    shown = table.assign(at=table["at"].dt.strftime("%Y-%m-%d %H:%M")) if fmt == "table" else table
    number = "1 decision is" if len(table) == 1 else f"{len(table):,} decisions are"
    emit(shown, fmt, columns=_COLUMNS, conclusion=f"{number} in force.")
