"""``ndtstats overturn``."""

import click

from ndtstats.cli.console import say
from ndtstats.cli.options import decided_options, job_option, opened, register_option
from ndtstats.clock import now


@click.command()
@click.argument("reject", metavar="REPORT")
@job_option
@decided_options
@register_option
def overturn(
    reject: str, job: str | None, by: str | None, reason: str | None, register: str
) -> None:
    """Overturn a reject that a second reading judged acceptable, by name and with a reason.

    REPORT is its report number; where that rejects several places, the short name that is told
    then. The verdict stays on record and stops counting: what it opened is closed, and rates count
    the place as accepted. An accept that is found to be a reject is a correction: load the row
    again.
    """
    from ndtstats.escalation import overturn as read_again  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job) if job else None
        decision, name = read_again(
            reg, reject, person=by or "", reason=reason or "", now=now(), job=job
        )
    say(f"{name} is overturned by {by}: decision {decision}.")
