"""``ndtstats waive``."""

import click

from ndtstats.cli.console import say
from ndtstats.cli.options import decided_options, job_option, opened, register_option
from ndtstats.clock import now


@click.command()
@click.argument("items", nargs=-1, required=True, metavar="ITEM...")
@job_option
@decided_options
@register_option
def waive(
    items: tuple[str, ...], job: str | None, by: str | None, reason: str | None, register: str
) -> None:
    """Ask no more for owed items, by name and with a reason.

    ITEM is the short name that owed shows. The item stays on record with who waived it and why;
    withdraw the decision, and it is owed again.
    """
    from ndtstats.escalation import waive as give_up  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job) if job else None
        made = give_up(reg, items, person=by or "", reason=reason or "", now=now(), job=job)
    number = "1 item is" if len(made) == 1 else f"{len(made):,} items are"
    say(f"{number} waived by {by}: decision {', '.join(made)}.")
    say(f"To owe it again: ndtstats decisions --withdraw {made[0]} --by NAME --reason TEXT")
