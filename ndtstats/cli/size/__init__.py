"""``ndtstats size``: how many to examine, and what a plan does to good and to bad work."""

import click

from ndtstats.cli.size.schemes import card, double, mil_std_105e, sequential
from ndtstats.cli.size.single import below, curve, margin, miss, plan


class InOrder(click.Group):
    """A group that lists its commands as they were added, the usual question first."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the commands in the order they were added."""
        return list(self.commands)


@click.group(cls=InOrder)
def size() -> None:
    """Say how many to examine, and what a plan does to good and to bad work.

    A place is whatever is examined as one: a spot, a joint, a test piece. Everything here holds for
    places chosen by chance; places chosen by risk say nothing about the rest. Contract, local code
    and certified people decide what is examined and what is accepted.
    """


for _command in (below, miss, margin, curve, plan, double, sequential, card, mil_std_105e):
    size.add_command(_command)
