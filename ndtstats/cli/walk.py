"""``ndtstats walk``."""

from datetime import datetime
from pathlib import Path

import click

from ndtstats.cli.console import Shown, emit, note
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option
from ndtstats.clock import now

_COLUMNS = (
    Shown("zone", "zone"),
    Shown("joint", "joint"),
    Shown("side", "side"),
    Shown("from_mm", "from, mm", "mm"),
    Shown("to_mm", "to, mm", "mm"),
    Shown("what", "what to do"),
)


@click.command()
@click.argument(
    "file", required=False, type=click.Path(path_type=Path), metavar="[FILE.xlsx|.html]"
)
@click.option("--zone", required=True, metavar="ZONE", help="The zone, with those in it.")
@job_option
@register_option
@as_of_option
@format_option
def walk(
    file: Path | None,
    zone: str,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Everything to look at or to finish in a zone, in walking order, with boxes to tick.

    FILE.html is to be printed; FILE.xlsx is to be filled in and loads back. Without FILE the list
    is shown here.
    """
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.release import Walk, walk_list, write_walk  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job, as_of)
        rows = walk_list(reg, job=job, zone=zone, as_of=as_of)
        at = as_of or reg.latest_time() or now()
    made = Walk(job, zone, at, rows)
    if file is None:
        emit(rows, fmt, columns=_COLUMNS, conclusion=made.said)
        return
    write_walk(made, file)
    note(made.said)
    note(_loads_back(file, made.rows["do"].tolist()))


def _loads_back(file: Path, deeds: list[str]) -> str:
    if file.suffix.lower() != ".xlsx":
        return f"{file}: print it; each line has a box to tick."
    verbs = ["ndtstats load examinations"] if "look" in deeds else []
    verbs += ["ndtstats load beads"] if {"measure", "mend"} & set(deeds) else []
    loads = " and ".join(f"{verb} {file}" for verb in verbs)
    return f"{file}: filled in, load it with: {loads}" if loads else f"{file} is written."
