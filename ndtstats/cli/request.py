"""``ndtstats request``: write, reconcile."""

from datetime import datetime
from pathlib import Path

import click

from ndtstats.cli.console import Shown, emit, note, say
from ndtstats.cli.options import as_of_option, format_option, opened, register_option

_COLUMNS = (
    Shown("spot", "request"),
    Shown("joint", "joint"),
    Shown("method", "method"),
    Shown("asked_from_mm", "asked from [mm]", "mm"),
    Shown("asked_to_mm", "to [mm]", "mm"),
    Shown("examined_from_mm", "examined from [mm]", "mm"),
    Shown("examined_to_mm", "to [mm]", "mm"),
    Shown("state", "state"),
    Shown("verdict", "verdict"),
    Shown("report", "report"),
    Shown("substitute", "substitute"),
    Shown("note", "note"),
)


@click.group()
def request() -> None:
    """Write the contractor's list, and hold against it what came back."""


@request.command()
@click.argument("number", metavar="PLAN")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--shift", "per_shift", type=click.IntRange(min=1), help="Exposures in a shift.")
@register_option
@as_of_option
def write(
    number: str, file: Path, per_shift: int | None, register: str, as_of: datetime | None
) -> None:
    """Write the open spots of PLAN as FILE.xlsx or FILE.csv; filled in, it loads as it is."""
    from ndtstats.request import write_request  # noqa: PLC0415

    with opened(register) as reg:
        asked = write_request(reg, number, file, per_shift=per_shift, as_of=as_of)
    spots = "1 spot" if len(asked.rows) == 1 else f"{len(asked.rows):,} spots"
    say(f"{file}: {spots} asked for; filled in, load it with: ndtstats load examinations {file}")
    if file.suffix.lower() == ".csv":
        say(f"The cautions that go with it: {file.with_suffix('.cautions.txt')}")
    if asked.all_taken_as_welded:
        note("The job has no deposits in the register, so every joint is taken as welded.")
    elif asked.not_welded:
        waits = "1 spot waits" if asked.not_welded == 1 else f"{asked.not_welded:,} spots wait"
        note(f"{waits} for the joint to be welded; asked for later.")


@request.command()
@click.argument("number", metavar="PLAN")
@click.option(
    "--tolerance", "tolerance_mm", type=float, default=50.0, show_default=True,
    help="How far, in mm, a place may be off.",
)  # fmt: skip
@register_option
@as_of_option
@format_option
def reconcile(
    number: str, tolerance_mm: float, register: str, as_of: datetime | None, fmt: str
) -> None:
    """Hold what came back against PLAN: done, short, shifted, not done, open, unasked."""
    from ndtstats.request import STATES  # noqa: PLC0415
    from ndtstats.request import reconcile as hold_against  # noqa: PLC0415

    with opened(register) as reg:
        states = hold_against(reg, number, tolerance_mm=tolerance_mm, as_of=as_of)
    counts = states["state"].value_counts()
    listed = ", ".join(f"{counts[state]:,} {state}" for state in STATES if state in counts)
    shown = states if fmt != "table" else states[~states["state"].isin(["done", "reserve"])]
    emit(shown, fmt, columns=_COLUMNS, conclusion=f"Plan {number.upper()}: {listed}.")
    lacking = {"short", "shifted", "not done", "unasked"} & set(counts.index)
    click.get_current_context().exit(1 if lacking else 0)
