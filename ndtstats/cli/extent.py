"""``ndtstats extent``."""

from datetime import datetime
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

if TYPE_CHECKING:
    import pandas as pd

_COLUMNS = (
    Shown("rule", "rule"),
    Shown("category", "category"),
    Shown("method", "method"),
    Shown("joints", "joints", "count"),
    Shown("length_mm", "length, m", "m"),
    Shown("examined_mm", "examined, m", "m"),
    Shown("share_examined", "share", "percent"),
    Shown("required", "required"),
    Shown("achieved", "achieved"),
    Shown("missing", "missing"),
    Shown("state", "state"),
    Shown("note", "note"),
)


@click.command()
@register_option
@job_option
@click.option(
    "--rules",
    metavar="FILE|PRESET",
    help="Measure by these rules; else those in force for the job.",
)
@as_of_option
@format_option
def extent(
    register: str, job: str | None, rules: str | None, as_of: datetime | None, fmt: str
) -> None:
    """Set the extent required against the extent achieved; exit code 1 if anything is short.

    Achieved is what accepted and rejected examinations cover: overlaps count once, re-shoots not at
    all.
    """
    from ndtstats.extent import extent as measure  # noqa: PLC0415
    from ndtstats.extent import sentence  # noqa: PLC0415
    from ndtstats.rules import load_rules  # noqa: PLC0415

    read = load_rules(rules) if rules else None
    with opened(register) as reg:
        found = measure(reg, job=job, as_of=as_of, rules=read)
    shown = _with_units(found) if fmt == "table" else found
    emit(shown, fmt, columns=_COLUMNS, conclusion=sentence(found))
    click.get_current_context().exit(0 if (found["state"] == "met").all() else 1)


def _with_units(found: "pd.DataFrame") -> "pd.DataFrame":
    """Return the table with each amount in words, for the unit differs from row to row."""
    from ndtstats.extent import amount_text  # noqa: PLC0415

    measured = found["unit"].notna()
    texts = {
        name: [
            amount_text(value, unit) if known else ""
            for value, unit, known in zip(found[name], found["unit"], measured, strict=True)
        ]
        for name in ("required", "achieved", "missing")
    }
    return found.assign(**texts)
