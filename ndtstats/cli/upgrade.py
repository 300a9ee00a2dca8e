"""``ndtstats upgrade``."""

import click

from ndtstats.cli.console import paced, say
from ndtstats.cli.options import register_option
from ndtstats.cli.pace import MARKS


@click.command()
@register_option
def upgrade(register: str) -> None:
    """Bring a register that an older ndtstats made up to date; a file is copied first.

    A register in PostgreSQL is not copied: make a copy with pg_dump first.
    """
    from ndtstats.register import upgrade as bring_up  # noqa: PLC0415

    with paced(MARKS["upgrade"]) as tell:
        done = bring_up(register, progress=tell)
    if done.found == done.now:
        say(f"Register {done.name} is up to date (schema {done.now}).")
        return
    say(f"Register {done.name} was brought from schema {done.found} to {done.now}.")
    if done.copy:
        say(f"As it was, it is kept in {done.copy}.")
    if done.chained:
        say(
            f"Its {done.chained:,} batches were chained today: what happened to them before, "
            "the chain cannot tell; from here on each is chained as it is written."
        )
