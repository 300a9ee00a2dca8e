"""``ndtstats demo``."""

import time
from pathlib import Path

import click

from ndtstats.cli.console import say


@click.command()
@click.argument(
    "directory", metavar="[DIR]", type=click.Path(path_type=Path), default="ndtstats-demo"
)
@click.option("--seed", type=click.IntRange(min=0), help="Seed of the invented yard.")
def demo(directory: Path, seed: int | None) -> None:
    """Run the whole job on an invented yard in DIR, printing each command before its output.

    Everything is invented for demonstration. DIR is ndtstats-demo if it is left out; an earlier
    demo in it is replaced.
    """
    from ndtstats.demo import DEFAULT_SEED  # noqa: PLC0415
    from ndtstats.demo import demo as run_demo  # noqa: PLC0415

    started = time.monotonic()
    chosen = DEFAULT_SEED if seed is None else seed
    done = run_demo(directory, seed=chosen, echo=say)
    say(f"\n{done.commands} commands in {time.monotonic() - started:.1f} s.")
    say(f"Open {done.report}")
