"""``ndtstats plan why``."""

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import format_option, opened, register_option

_COLUMNS = (
    Shown("factor", "factor"),
    Shown("of", "of"),
    Shown("value", "value", "number"),
    Shown("rests_on", "rests on"),
)


@click.command()
@click.argument("spot", metavar="SPOT")
@register_option
@format_option
def why(spot: str, register: str, fmt: str) -> None:
    """Say why SPOT, such as P1-0007, was chosen, and print its risk factor by factor.

    What is told is for the office: the contractor reads blind.
    """
    from ndtstats.planning import why_spot  # noqa: PLC0415

    with opened(register) as reg:
        told = why_spot(reg, spot)
    emit(told.factors, fmt, columns=_COLUMNS, conclusion=told.sentence)
    if fmt == "table" and told.conclusion:
        say(told.conclusion)
