"""``ndtstats template``."""

from pathlib import Path

import click

from ndtstats.cli.console import say
from ndtstats.columns import TABLES


@click.command()
@click.argument("table", type=click.Choice(list(TABLES)))
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
def template(table: str, file: Path) -> None:
    """Write an empty TABLE to fill in, as FILE.xlsx (with drop-downs) or FILE.csv."""
    from ndtstats.intake import write_template  # noqa: PLC0415

    write_template(table, file)
    say(f"{file}: the table {table}, {len(TABLES[table].columns)} columns, ready to be filled in.")
