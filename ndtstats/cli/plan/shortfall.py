"""``ndtstats plan shortfall``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, emit
from ndtstats.cli.options import (
    as_of_option,
    format_option,
    job_option,
    opened,
    register_option,
)
from ndtstats.cli.plan.shifts import exposures_option, from_option, per_day_option

_COLUMNS = (
    Shown("spot", "spot"),
    Shown("joint", "joint"),
    Shown("zone", "zone"),
    Shown("method", "method"),
    Shown("from_mm", "from [mm]", "mm"),
    Shown("to_mm", "to [mm]", "mm"),
    Shown("part", "part"),
    Shown("exposures", "exposures", "count"),
    Shown("why", "why"),
)


@click.command()
@click.argument("number", metavar="[PLAN]", required=False)
@job_option
@exposures_option
@per_day_option(required=True)
@from_option(required=True, help="Day of the first shift, such as 2026-03-01.")
@register_option
@as_of_option
@format_option
def shortfall(
    number: str | None,
    job: str | None,
    per_shift: int,
    per_day: int,
    start: datetime,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Name the open spots of PLAN, or of all plans, that can no longer be reached in time.

    What cannot be reached takes nothing from what can; required spots go before those drawn by
    chance, these before extra and targeted ones. Every day of the calendar is worked. Ends with
    exit code 1 if any is short.
    """
    from ndtstats.planning.shifts import shortfall as find  # noqa: PLC0415
    from ndtstats.planning.shifts import shortfall_sentence  # noqa: PLC0415
    from ndtstats.request import open_spots  # noqa: PLC0415

    with opened(register) as reg:
        spots = open_spots(reg, plan=number, job=job, as_of=as_of)
    day = start.date()
    short = find(spots, per_shift=per_shift, per_day=per_day, start=day)
    conclusion = shortfall_sentence(short, len(spots), day)
    emit(short.drop(columns=["id", "batch"]), fmt, columns=_COLUMNS, conclusion=conclusion)
    click.get_current_context().exit(1 if len(short) else 0)
