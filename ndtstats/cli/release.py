"""``ndtstats release``."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit, note, say
from ndtstats.cli.options import (
    as_of_option,
    decided_options,
    format_option,
    job_option,
    opened,
    register_option,
)
from ndtstats.clock import now
from ndtstats.errors import UseError

if TYPE_CHECKING:
    from ndtstats.register import Register
    from ndtstats.release import Release

#: How a milestone is typed.
MILESTONES = {"close": "close", "turn": "turn", "test": "test", "paint": "paint",
              "hand-over": "hand over"}  # fmt: skip

_COLUMNS = (
    Shown("check", "check"),
    Shown("zone", "zone"),
    Shown("joint", "joint"),
    Shown("what", "what stands in the way"),
    Shown("clears", "what would clear it"),
    Shown("handle", "name"),
)
_ZONES = (
    Shown("zone", "zone"),
    Shown("milestone", "for"),
    Shown("joints", "joints", "count"),
    Shown("length_mm", "length, m", "m"),
    Shown("state", "state"),
    Shown("hindered", "in the way", "count"),
    Shown("overridden", "overridden", "count"),
    Shown("checks", "what"),
)


@click.command()
@click.argument("zone", required=False)
@click.option("--for", "milestone", type=click.Choice(list(MILESTONES)),
              help="By default the zone's own milestone, else hand-over.")  # fmt: skip
@click.option("--file", "path", type=click.Path(path_type=Path), metavar="FILE.xlsx|.html",
              help="Write the list as a paper to walk with.")  # fmt: skip
@click.option("--override", "pass_over", is_flag=True,
              help="Pass over what stands in the way, by name and with a reason.")  # fmt: skip
@click.option("--sign", "signs", is_flag=True,
              help="Keep that the zone is released, by name and with a reason.")  # fmt: skip
@decided_options
@job_option
@register_option
@as_of_option
@format_option
def release(
    zone: str | None,
    milestone: str | None,
    path: Path | None,
    by: str | None,
    reason: str | None,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
    *,
    pass_over: bool,
    signs: bool,
) -> None:
    """Whether ZONE can be released, or what stands in the way; without ZONE, all zones."""
    from ndtstats import release as stage  # noqa: PLC0415

    if zone is None and (pass_over or signs or path or milestone):
        raise UseError("name the zone: ndtstats release ZONE")
    if (pass_over or signs) and as_of is not None:
        raise UseError("what is decided is decided now: leave out --as-of")
    with opened(register) as reg:
        if zone is None:
            _overview(reg, job, as_of, fmt)
            return
        wanted = MILESTONES[milestone] if milestone else None
        asked = {"job": job, "milestone": wanted, "as_of": as_of}
        answer = stage.release(reg, zone, **asked)  # type: ignore[arg-type]  # words of the choice
        decided = {"person": by or "", "reason": reason or "", "now": now()}
        if pass_over:
            stage.override(reg, answer, **decided)  # type: ignore[arg-type]
            answer = stage.release(reg, zone, **asked)  # type: ignore[arg-type]
        _tell(answer, fmt)
        if signs:
            say(f"Released: {stage.sign(reg, answer, **decided)}.")  # type: ignore[arg-type]
        if path is not None:
            stage.write_paper(stage.release_paper(reg, answer, as_of=as_of), path)
            note(f"Written: {path}")
    click.get_current_context().exit(0 if answer.free else 1)


def _tell(answer: "Release", fmt: str) -> None:
    from ndtstats.release import sentence  # noqa: PLC0415

    emit(answer.obstacles, fmt, columns=_COLUMNS, conclusion=sentence(answer))
    if fmt != "table":
        return
    for row in answer.overridden.itertuples():
        say(f"Passed over by {row.person}: {row.what} ({row.reason})")
    for row in answer.later.itertuples():
        say(f"Not needed for this, but later: zone {row.zone}: {row.what}")
    for row in answer.signed.itertuples():
        say(f"Released on {row.at:%Y-%m-%d} by {row.person}: {row.reason} ({row.decision})")


def _overview(reg: "Register", job: str | None, as_of: datetime | None, fmt: str) -> None:
    from ndtstats.release import releases, releases_table  # noqa: PLC0415

    table = releases_table(releases(reg, job=job, as_of=as_of))
    free = int(table["state"].isin(["free", "released"]).sum())
    zones = "1 zone" if len(table) == 1 else f"{len(table):,} zones"
    said = f"{free:,} of {zones} can be released for what comes next."
    emit(table, fmt, columns=_ZONES, conclusion=said)
    click.get_current_context().exit(0 if free == len(table) else 1)
