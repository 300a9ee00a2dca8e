"""``ndtstats warnings``."""

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
    Shown("warning", "warning"),
    Shown("job", "job"),
    Shown("zone", "zone"),
    Shown("joint", "joint"),
    Shown("code", "code"),
    Shown("value", "value"),
    Shown("reason", "what is wrong"),
    Shown("remedy", "what would be right"),
    Shown("place", "where"),
    Shown("since", "since", "date"),
)
_ANSWERED = (Shown("state", "state"), Shown("answered_by", "by"), Shown("answer", "answer"))


@click.command()
@click.option("--job", metavar="JOB", help="Only warnings about this job, and about welders.")
@click.option("--all", "everything", is_flag=True, help="Also those answered or settled.")
@click.option(
    "--answer", "numbers", multiple=True, metavar="WARNING", help="Answer one; may be repeated."
)
@decided_options
@register_option
@as_of_option
@format_option
def warnings(
    job: str | None,
    numbers: tuple[str, ...],
    by: str | None,
    reason: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
    *,
    everything: bool,
) -> None:
    """List the warnings that wait for an answer; answer them by name, with a reason."""
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.release import answer_warnings, warnings_of, warnings_sentence  # noqa: PLC0415

    with opened(register) as reg:
        if numbers:
            done = answer_warnings(reg, numbers, person=by or "", reason=reason or "", now=now())
            say(f"Answered: {', '.join(dict.fromkeys(numbers))} ({', '.join(done)}).")
            return
        job = require_job(reg, job, as_of) if job else None
        table = warnings_of(reg, job=job, as_of=as_of, everything=everything)
    columns = (*_COLUMNS, *(_ANSWERED if everything else ()))
    emit(table, fmt, columns=columns, conclusion=warnings_sentence(table))
    click.get_current_context().exit(1 if (table["state"] == "open").any() else 0)
