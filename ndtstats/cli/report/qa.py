"""``ndtstats report qa``."""

from datetime import datetime
from pathlib import Path

import click

from ndtstats.cli.console import progress, say
from ndtstats.cli.options import as_of_option, job_option, opened, register_option
from ndtstats.cli.report.options import level_option, method_option, out_option


@click.command()
@job_option
@out_option
@method_option
@level_option
@register_option
@as_of_option
def qa(
    job: str | None,
    out: Path,
    shared_assets: bool,
    method: str | None,
    level: float,
    register: str,
    as_of: datetime | None,
) -> None:
    """Write the page for the welding QA lead."""
    from ndtstats.report import qa_page, write_page  # noqa: PLC0415

    with opened(register) as reg, progress() as tell:
        page = qa_page(reg, job=job, method=method, level=level, as_of=as_of, progress=tell)
    path = write_page(page, out, shared_assets=shared_assets)
    for text in page.headline:
        say(text)
    say(f"Open {path}")
