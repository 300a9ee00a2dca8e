"""``ndtstats report all``."""

from datetime import datetime
from pathlib import Path

import click

from ndtstats.cli.console import progress, say
from ndtstats.cli.options import as_of_option, opened, register_option
from ndtstats.cli.report.options import cost_options, level_option, out_option


@click.command(name="all")
@out_option
@level_option
@cost_options
@register_option
@as_of_option
def every(
    out: Path,
    shared_assets: bool,
    level: float,
    cost_per_exposure: float | None,
    cost_per_repair: float | None,
    currency: str,
    register: str,
    as_of: datetime | None,
) -> None:
    """Write every page of every job, and an index that leads to them."""
    from ndtstats.report.pages import asked_at, write_every_page  # noqa: PLC0415

    with opened(register) as reg, progress() as tell:
        asked = asked_at(
            reg, as_of, level=level, cost_per_exposure=cost_per_exposure,
            cost_per_repair=cost_per_repair, currency=currency,
        )  # fmt: skip
        index, number = write_every_page(
            reg, asked, out, shared_assets=shared_assets, progress=tell
        )
    say(f"{number:,} pages and an index.")
    say(f"Open {index}")
