"""``ndtstats plan shifts``."""

from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

import click

from ndtstats.cli.console import Shown, emit, note
from ndtstats.cli.options import (
    as_of_option,
    format_option,
    job_option,
    opened,
    register_option,
)

F = TypeVar("F", bound=Callable[..., Any])

_COLUMNS = (
    Shown("shift", "shift", "count"),
    Shown("day", "day", "date"),
    Shown("zone", "zone"),
    Shown("due", "due", "date"),
    Shown("spots", "spots", "count"),
    Shown("exposures", "exposures", "count"),
    Shown("which", "which"),
)


def exposures_option(function: F) -> F:
    """Add ``--exposures``: exposures in a shift, as ``per_shift``."""
    return click.option(
        "--exposures",
        "per_shift",
        type=click.IntRange(min=1),
        required=True,
        metavar="N",
        help="Exposures in a shift.",
    )(function)


def per_day_option(**more: Any) -> Callable[[F], F]:
    """Add ``--per-day``: shifts in a day, as ``per_day``."""
    return click.option(
        "--per-day", type=click.IntRange(min=1), metavar="K", help="Shifts in a day.", **more
    )


def from_option(**more: Any) -> Callable[[F], F]:
    """Add ``--from``: day of the first shift, as ``start``."""
    return click.option(
        "--from", "start", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", **more
    )


@click.command()
@click.argument("number", metavar="[PLAN]", required=False)
@job_option
@exposures_option
@per_day_option(default=1, show_default=True)
@from_option(help="Day of the first shift, such as 2026-03-01; left out, no shift has a day.")
@register_option
@as_of_option
@format_option
def shifts(
    number: str | None,
    job: str | None,
    per_shift: int,
    per_day: int,
    start: datetime | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Group the open spots of PLAN, or of all plans, in shifts: due first, then as one walks."""
    from ndtstats.planning.shifts import plan_shifts, shift_table  # noqa: PLC0415
    from ndtstats.request import open_spots  # noqa: PLC0415

    with opened(register) as reg:
        spots = open_spots(reg, plan=number, job=job, as_of=as_of)
    first = start.date() if start else None
    done = plan_shifts(spots, per_shift=per_shift, per_day=per_day, start=first)
    rows = done.rows
    count = rows["shift"].max() if len(rows) else 0
    conclusion = (
        f"{_spots(rows['spot'].nunique())} to examine, {rows['exposures'].sum():,} exposures in "
        f"{count:,} shift{'s' if count != 1 else ''} of {per_shift:,}."
    )
    table = shift_table(rows) if fmt == "table" else rows.drop(columns=["id", "batch"])
    shown = [column for column in _COLUMNS if start or column.name != "day"]
    emit(table, fmt, columns=shown, conclusion=conclusion)
    if done.waiting:
        note(f"{_spots(done.waiting)} in no shift: the joint is not welded yet.")
    if done.late:
        note(f"{_spots(done.late)} in no shift: too late, see ndtstats plan shortfall.")


def _spots(number: int) -> str:
    return "1 spot" if number == 1 else f"{number:,} spots"
