"""``ndtstats repairs``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, emit
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option
from ndtstats.clock import now

_LIVES = (
    Shown("job", "job"),
    Shown("reject", "reject"),
    Shown("welders", "welded by"),
    Shown("state", "state"),
    Shown("open_days", "days open", "count"),
    Shown("repairs", "repairs", "count"),
    Shown("repairs_allowed", "allowed", "count"),
    Shown("repaired_by", "repaired by"),
    Shown("examined_again", "examined again"),
    Shown("closed_on", "closed on", "date"),
    Shown("remark", "remark"),
)


@click.command()
@job_option
@click.option("--open", "only_open", is_flag=True, help="Only rejects that are open.")
@click.option("--ages", "by_age", is_flag=True, help="Count the open ones by age and state.")
@click.option("--rules", metavar="FILE|PRESET", help="Repairs allowed by these rules.")
@register_option
@as_of_option
@format_option
def repairs(
    job: str | None,
    only_open: bool,
    by_age: bool,
    rules: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Follow each reject from found to closed: repaired, examined again, cut out, or open."""
    from ndtstats.escalation import ages, lives, lives_sentence  # noqa: PLC0415
    from ndtstats.escalation.lives import OPEN  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.rules import load_rules  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job, as_of) if job else None
        given = load_rules(rules) if rules else None
        table = lives(reg, job=job, as_of=as_of or now(), rules=given)
    still = table[table["state"].isin(OPEN)]
    if by_age:
        counts = ages(table)
        columns = [Shown(name, name, "count") for name in counts.columns[1:]]
        emit(counts, fmt, columns=[Shown("age", "age"), *columns], conclusion=lives_sentence(table))
    else:
        told = still if only_open else table
        emit(told, fmt, columns=_LIVES, conclusion=lives_sentence(table))
    click.get_current_context().exit(1 if len(still) else 0)
