"""``ndtstats report management``."""

from datetime import datetime
from pathlib import Path

import click

from ndtstats.cli.console import progress, say
from ndtstats.cli.options import as_of_option, opened, register_option
from ndtstats.cli.report.options import cost_options, level_option, method_option, out_option


@click.command()
@out_option
@method_option
@level_option
@cost_options
@register_option
@as_of_option
def management(
    out: Path,
    shared_assets: bool,
    method: str | None,
    level: float,
    cost_per_exposure: float | None,
    cost_per_repair: float | None,
    currency: str,
    register: str,
    as_of: datetime | None,
) -> None:
    """Write the page for management, of all jobs."""
    from ndtstats.report import management_page, write_page  # noqa: PLC0415

    with opened(register) as reg, progress() as tell:
        page = management_page(
            reg, as_of=as_of, method=method, level=level, cost_per_exposure=cost_per_exposure,
            cost_per_repair=cost_per_repair, currency=currency, progress=tell,
        )  # fmt: skip
    path = write_page(page, out, shared_assets=shared_assets)
    for text in page.headline:
        say(text)
    say(f"Open {path}")
