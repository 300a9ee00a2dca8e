"""``ndtstats report``."""

from datetime import datetime
from pathlib import Path

import click

from ndtstats.cli.console import progress, say
from ndtstats.cli.options import as_of_option, job_option, opened, register_option


@click.group()
def report() -> None:
    """Write pages to read, as HTML that opens without a network."""


@report.command()
@job_option
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), required=True, metavar="DIR",
    help="Folder for the page.",
)  # fmt: skip
@click.option("--method", metavar="METHOD", help="Method of the rates; else the one used most.")
@register_option
@as_of_option
def qa(
    job: str | None, out: Path, method: str | None, register: str, as_of: datetime | None
) -> None:
    """Write the page for the welding QA lead."""
    from ndtstats.report import qa_page, write_qa  # noqa: PLC0415

    with opened(register) as reg, progress() as tell:
        page = qa_page(reg, job=job, method=method, as_of=as_of, progress=tell)
    path = write_qa(page, out)
    say(page.headline)
    say(f"Open {path}")
