"""``ndtstats history``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, emit
from ndtstats.cli.options import as_of_option, format_option, opened, register_option

_COLUMNS = (
    Shown("number", "batch", "count"),
    Shown("at", "at (UTC)"),
    Shown("kind", "what"),
    Shown("subject", "of"),
    Shown("source", "from"),
    Shown("new", "new", "count"),
    Shown("unchanged", "unchanged", "count"),
    Shown("corrected", "corrected", "count"),
    Shown("left_out", "left out", "count"),
    Shown("by", "by"),
    Shown("sha256", "SHA-256"),
)


@click.command()
@register_option
@as_of_option
@format_option
def history(register: str, as_of: datetime | None, fmt: str) -> None:
    """List what was loaded, planned and agreed, when and by whom, oldest first."""
    with opened(register) as reg:
        log = reg.batches(as_of)
    if fmt == "table":
        log = log.assign(
            at=log["at"].dt.strftime("%Y-%m-%d %H:%M:%S"), sha256=log["sha256"].str[:12]
        )
    batches = "1 batch" if len(log) == 1 else f"{len(log)} batches"
    emit(log, fmt, columns=_COLUMNS, conclusion=f"{reg.name}: {batches}.")
