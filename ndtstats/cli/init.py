"""``ndtstats init``."""

import click

from ndtstats.cli.console import say
from ndtstats.cli.options import opened, register_option


@click.command()
@register_option
def init(register: str) -> None:
    """Make an empty register; one that is there already is left as it is."""
    with opened(register, create=True) as made:
        entries = len(made.batches())
        state = f"holds {entries} batches" if entries != 1 else "holds 1 batch"
        say(f"Register {made.name} is ready" + (f"; it {state}." if entries else "."))
