"""``ndtstats backup``."""

from pathlib import Path

import click

from ndtstats.cli.console import progress, say
from ndtstats.cli.options import opened, register_option
from ndtstats.cli.verify import told


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@register_option
def backup(file: Path, register: str) -> None:
    """Copy the register to FILE while others go on working, and check the copy.

    The copy is a register itself. One in PostgreSQL is copied with its own pg_dump.
    """
    from ndtstats.register import backup as copy_of  # noqa: PLC0415

    with opened(register) as reg, progress() as tell:
        found = copy_of(reg, file, progress=tell)
    say(f"{file}: {told(found)}")
    click.get_current_context().exit(0 if found.holds else 1)
