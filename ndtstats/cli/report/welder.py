"""``ndtstats report welder``."""

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from ndtstats.cli.console import progress, say
from ndtstats.cli.options import as_of_option, opened, register_option
from ndtstats.cli.report.options import level_option, method_option, out_option


@click.command()
@click.option("--welder", metavar="STAMP", help="Stamp of the welder.")
@click.option("--all", "everybody", is_flag=True, help="A page for every welder.")
@click.option("--job", metavar="JOB", help="Only this job; else all of them.")
@out_option
@method_option
@level_option
@register_option
@as_of_option
def welder(
    welder: str | None,
    everybody: bool,
    job: str | None,
    out: Path,
    shared_assets: bool,
    method: str | None,
    level: float,
    register: str,
    as_of: datetime | None,
) -> None:
    """Write the page for a welder: his own figures, nobody ranked, nobody else named."""
    from ndtstats.errors import UseError  # noqa: PLC0415
    from ndtstats.report import write_page  # noqa: PLC0415
    from ndtstats.report.welder import welder_page, welder_pages  # noqa: PLC0415

    if (welder is None) != everybody:
        raise UseError("name one welder with --welder STAMP, or ask for every welder with --all")
    asked: dict[str, Any] = {"job": job, "method": method, "level": level, "as_of": as_of}
    with opened(register, way="all" if everybody else "") as reg, progress() as tell:
        if welder is not None:
            pages = iter([welder_page(reg, welder, **asked)])
        else:
            pages = welder_pages(reg, progress=tell, **asked)
        told = [(page.headline, write_page(page, out, shared_assets=shared_assets))
                for page in pages]  # fmt: skip
    if len(told) == 1:
        for text in told[0][0]:
            say(text)
    for _, path in told:
        say(f"Open {path}")
