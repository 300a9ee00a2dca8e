"""``ndtstats beads``."""

from datetime import datetime
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

if TYPE_CHECKING:
    from ndtstats.visual.lengths_of_beads import Beads


@click.command()
@click.option("--share", type=float, default=0.95, show_default=True,
              help="Share of all beads that the tolerance limit is reached by.")  # fmt: skip
@click.option("--confidence", type=float, default=0.95, show_default=True,
              help="Of the tolerance limit.")  # fmt: skip
@click.option("--level", type=float, default=0.95, show_default=True, help="Of the bounds.")
@job_option
@register_option
@as_of_option
@format_option
def beads(
    share: float,
    confidence: float,
    level: float,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Beads of intermittent welds: how many are too short, and what all but a few reach."""
    from ndtstats.visual.lengths_of_beads import beads_of, beads_sentence  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    with opened(register) as reg:
        result = beads_of(
            reg, job=require_job(reg, job, as_of), share=share, confidence=confidence, level=level,
            as_of=as_of,
        )  # fmt: skip
    emit(result.table, fmt, columns=_columns(result), conclusion=beads_sentence(result))
    if fmt == "table":
        for remark in result.remarks:
            say(remark)


def _columns(result: "Beads") -> list[Shown]:
    limit = f"{100 * result.share:g} % reach, mm"
    return [
        Shown("specified_mm", "specified, mm", "number"),
        Shown("measured", "measured", "count"),
        Shown("joints", "joints", "count"),
        Shown("below", "shorter", "count"),
        Shown("share", "share", "percent"),
        Shown("lower", f"lower {result.level:g}", "percent"),
        Shown("upper", f"upper {result.level:g}", "percent"),
        Shown("shortest_mm", "shortest, mm", "number"),
        Shown("limit_mm", f"{limit} ({100 * result.confidence:g} % sure)", "number"),
        Shown("normal_limit_mm", "the same if normal", "number"),
    ]
