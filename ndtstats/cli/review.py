"""``ndtstats review``."""

import click

from ndtstats.cli.console import say
from ndtstats.cli.options import decided_options, job_option, opened, register_option
from ndtstats.clock import now


@click.command()
@click.argument("welder", metavar="STAMP")
@job_option
@decided_options
@register_option
def review(welder: str, job: str | None, by: str | None, reason: str | None, register: str) -> None:
    """Keep the review of a welder who is stopped or tightened, by name and with a reason.

    A stop is lifted to tightened, tightened to normal.
    """
    from ndtstats.escalation import review as keep  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    with opened(register) as reg:
        decision = keep(
            reg, welder, job=require_job(reg, job), person=by or "", reason=reason or "", now=now()
        )
    say(f"Welder {welder} was reviewed by {by}: decision {decision}. See: ndtstats severity")
