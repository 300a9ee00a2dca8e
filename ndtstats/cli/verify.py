"""``ndtstats verify``."""

from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import progress, say
from ndtstats.cli.options import opened, register_option

if TYPE_CHECKING:
    from ndtstats.register import Verified

#: Problems shown on a terminal; the rest is counted.
MOST_SHOWN = 20


@click.command()
@register_option
def verify(register: str) -> None:
    """Check that the register is whole, and that nobody changed what was written in the past.

    The digest of the last batch stands for all of the past. Kept outside the register, on a report
    or in a letter, it shows later that the whole was not made anew.
    """
    from ndtstats.register import verify as check  # noqa: PLC0415

    with opened(register) as reg:
        with progress() as tell:
            found = check(reg, progress=tell)
        say(f"Register {reg.name}: {told(found)}")
    click.get_current_context().exit(0 if found.holds else 1)


def told(found: "Verified") -> str:
    """Return what the checks showed, as sentences."""
    chain = found.chain
    lines = [f"the file is damaged: {text}." for text in found.damage[:MOST_SHOWN]]
    lines += [f"batch {number} does not hold: {why}." for number, why in chain.broken[:MOST_SHOWN]]
    more = len(found.damage) + len(chain.broken) - len(lines)
    lines += [f"And {more:,} more."] if more > 0 else []
    if lines:
        return "\n".join([*lines, "What stands in the last good backup shows what was changed."])
    if not chain.entries:
        return "whole and empty."
    batches = "1 batch holds" if chain.entries == 1 else f"all {chain.entries:,} batches hold"
    since = (
        f"\nBatches up to {chain.kept_from - 1} are older than the chain; it tells only what "
        "happened to them since they were chained."
        if chain.kept_from > 1
        else ""
    )
    return f"whole; {batches}.{since}\nDigest of batch {chain.entries}: {chain.digest}"
