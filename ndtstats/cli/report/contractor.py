"""``ndtstats report contractor``."""

from datetime import datetime
from pathlib import Path

import click

from ndtstats.cli.console import say
from ndtstats.cli.options import as_of_option, opened, register_option
from ndtstats.cli.report.options import level_option, out_option


@click.command()
@click.option("--job", metavar="JOB", help="Only this job; else all of them.")
@out_option
@click.option(
    "--readings",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The same images read by several readers: headings image, reader, verdict.",
)
@level_option
@register_option
@as_of_option
def contractor(
    job: str | None,
    out: Path,
    shared_assets: bool,
    readings: Path | None,
    level: float,
    register: str,
    as_of: datetime | None,
) -> None:
    """Write the page for the examination contractor: his images and answers, nothing of welds."""
    from ndtstats.intake.small import READINGS, read_small  # noqa: PLC0415
    from ndtstats.report import write_page  # noqa: PLC0415
    from ndtstats.report.contractor import contractor_page  # noqa: PLC0415

    read = None if readings is None else read_small(readings, READINGS)
    with opened(register) as reg:
        page = contractor_page(reg, job=job, readings=read, level=level, as_of=as_of)
    path = write_page(page, out, shared_assets=shared_assets)
    for text in page.headline:
        say(text)
    say(f"Open {path}")
