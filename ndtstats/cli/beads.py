"""``ndtstats beads``."""

from datetime import datetime
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit, note, say
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

if TYPE_CHECKING:
    from ndtstats.register import Register
    from ndtstats.visual import Beads, Intermittent

_FAULTS = (
    Shown("zone", "zone"),
    Shown("joint", "joint"),
    Shown("side", "side"),
    Shown("kind", "fault"),
    Shown("from_mm", "from, mm", "mm"),
    Shown("to_mm", "to, mm", "mm"),
    Shown("words", "what"),
)
_SIDES = (
    Shown("zone", "zone"),
    Shown("joint", "joint"),
    Shown("side", "side"),
    Shown("measured", "beads", "count"),
    Shown("expected", "specified", "count"),
    Shown("effective_mm", "effective, mm", "mm"),
    Shown("specified_mm", "specified, mm", "mm"),
    Shown("share", "share", "percent"),
    Shown("share_of_joint", "of the joint", "percent"),
)


@click.command()
@click.option("--joint", metavar="JOINT", help="Only this joint.")
@click.option("--zone", metavar="ZONE", help="Only this zone and those in it.")
@click.option("--table", "which", type=click.Choice(["faults", "sides", "lengths"]),
              help="Only this one: faults (what JSON and CSV hold by default); sides, with the "
              "share of effective weld; or what all lengths say together.")  # fmt: skip
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
    joint: str | None,
    zone: str | None,
    which: str | None,
    share: float,
    confidence: float,
    level: float,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Beads of intermittent welds: what is wrong, where, and what their lengths say.

    Exit code 1 if anything is to be mended.
    """
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.release import zones_asked  # noqa: PLC0415
    from ndtstats.visual import intermittent  # noqa: PLC0415

    how = {"share": share, "confidence": confidence, "level": level}
    with opened(register) as reg:
        job = require_job(reg, job, as_of)
        zones = zones_asked(reg, job, zone, as_of) if zone else None
        result = intermittent(reg, job=job, joint=joint, zones=zones, as_of=as_of)
        if which != "lengths":
            _tell(result, which, fmt)
        if which == "lengths" or (which is None and fmt == "table"):
            _tell_lengths(reg, job, result, how, as_of, fmt)
    click.get_current_context().exit(1 if len(result.faults) else 0)


def _tell(result: "Intermittent", which: str | None, fmt: str) -> None:
    from ndtstats.visual import faults_sentence  # noqa: PLC0415

    table, columns = (result.sides, _SIDES) if which == "sides" else (result.faults, _FAULTS)
    emit(table, fmt, columns=columns, conclusion=faults_sentence(result))
    if result.not_measured and fmt == "table":
        shown = ", ".join(result.not_measured[:5])
        more = f" and {len(result.not_measured) - 5:,} more" if len(result.not_measured) > 5 else ""
        note(f"Not measured: {shown}{more}.")


def _tell_lengths(
    reg: "Register",
    job: str,
    result: "Intermittent",
    how: dict[str, float],
    as_of: datetime | None,
    fmt: str,
) -> None:
    from ndtstats.visual import beads_of, beads_sentence  # noqa: PLC0415

    sides = result.sides
    measured = sides.loc[sides["measured"] > 0, "joint"].unique().tolist()
    if not measured and fmt == "table":
        return
    lengths = beads_of(reg, job=job, joints=measured, as_of=as_of, **how)
    if fmt == "table":
        say("")
    emit(lengths.table, fmt, columns=_columns(lengths), conclusion=beads_sentence(lengths))
    for remark in lengths.remarks if fmt == "table" else ():
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
