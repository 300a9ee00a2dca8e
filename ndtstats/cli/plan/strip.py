"""``ndtstats plan strip``."""

import shutil
import sys
from datetime import datetime

import click

from ndtstats.cli.console import emit, say
from ndtstats.cli.options import (
    as_of_option,
    format_option,
    job_option,
    opened,
    register_option,
)
from ndtstats.errors import UseError

#: Width of a picture in a file or a pipe, and the widest that is still taken in at a glance.
_PIPED, _WIDEST = 100, 160


@click.command()
@click.argument("joint", required=False)
@click.option("--zone", metavar="ZONE", help="All joints of a zone, and of those in it, instead.")
@job_option
@register_option
@as_of_option
@format_option
def strip(
    joint: str | None,
    zone: str | None,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Picture JOINT, or a zone, to scale: what is planned, was examined and was found where."""
    from ndtstats.escalation import owed  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.report.joints import joint_of, zone_of  # noqa: PLC0415
    from ndtstats.report.marks import marks_sentence  # noqa: PLC0415
    from ndtstats.report.strip_text import joint_text, zone_text  # noqa: PLC0415

    if (joint is None) == (zone is None):
        raise UseError("name one joint, such as SB-001, or one zone with --zone")
    with opened(register) as reg:
        job = require_job(reg, job, as_of)
        items = owed(reg, job=job, as_of=as_of)
        if joint is not None:
            one = joint_of(reg, job, joint, items, as_of)
            marks, title = one.marks, f"Joint {one.name}, {one.length_mm:,.0f} mm, zone {one.zone}"
            picture = joint_text(one.length_mm, marks, width=_width())
        else:
            many = zone_of(reg, job, str(zone), items, as_of)
            marks, title = many.marks, f"Zone {many.name}, {len(many.lengths_mm):,} joints"
            picture = zone_text(many.lengths_mm, marks, width=_width())
    if fmt == "table":
        say(f"{title}: {marks_sentence(marks)}\n{picture}")
    else:
        emit(marks, fmt)


def _width() -> int:
    return min(shutil.get_terminal_size().columns, _WIDEST) if sys.stdout.isatty() else _PIPED
