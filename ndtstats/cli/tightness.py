"""``ndtstats tightness``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, emit, note
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

_COLUMNS = (
    Shown("zone", "zone"),
    Shown("state", "state"),
    Shown("test", "test"),
    Shown("date", "date", "date"),
    Shown("report", "report"),
    Shown("pressure_bar", "bar", "number"),
    Shown("needed_bar", "asked for, bar", "number"),
    Shown("most_bar", "at most, bar", "number"),
    Shown("note", "note"),
)


@click.command()
@click.option("--zone", metavar="ZONE", help="Only this zone and those in it.")
@job_option
@register_option
@as_of_option
@format_option
def tightness(
    zone: str | None, job: str | None, register: str, as_of: datetime | None, fmt: str
) -> None:
    """Leak and pressure tests of zones: done, missing, too low or too high, or out of date.

    Exit code 1 if a zone that needs a test has none that holds.
    """
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.release import tightness_sentence, zone_tests, zones_asked  # noqa: PLC0415
    from ndtstats.request.cautions import PRESSURE  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job, as_of)
        table = zone_tests(reg, job=job, as_of=as_of)
        if zone is not None:
            table = table[table["zone"].isin(zones_asked(reg, job, zone, as_of))]
    emit(table, fmt, columns=_COLUMNS, conclusion=tightness_sentence(table))
    lacking = table["required"] & (table["state"] != "accepted")
    for line in PRESSURE if lacking.any() else ():
        note(line)
    click.get_current_context().exit(1 if lacking.any() else 0)
