"""``ndtstats welders``."""

from datetime import datetime
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

if TYPE_CHECKING:
    import pandas as pd

_CERTIFICATES = (
    Shown("welder", "welder"),
    Shown("process", "process"),
    Shown("certificate", "certificate"),
    Shown("state", "state"),
    Shown("lapses_on", "last day", "date"),
    Shown("because", "ended by"),
    Shown("evidence", "evidence"),
    Shown("covers", "covers"),
    Shown("note", "note"),
)
_OUTSIDE = (
    Shown("date", "date", "date"),
    Shown("welder", "welder"),
    Shown("job", "job"),
    Shown("zone", "zone"),
    Shown("joint", "joint"),
    Shown("process", "process"),
    Shown("position", "position"),
    Shown("reason", "reason"),
)
_EVIDENCE = (
    Shown("certificate", "certificate"),
    Shown("process", "process"),
    Shown("window", "window"),
    Shown("opens_on", "after", "date"),
    Shown("closes_on", "until", "date"),
    Shown("welds", "welds in range", "count"),
    Shown("proven", "tested", "count"),
    Shown("missing", "missing", "count"),
    Shown("reports", "reports"),
    Shown("asks", "asks for"),
)


@click.command()
@click.option(
    "--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The day asked about; today."
)
@click.option(
    "--within",
    type=click.IntRange(min=0),
    default=60,
    show_default=True,
    metavar="DAYS",
    help="Name what lapses so soon.",
)
@click.option("--welder", metavar="STAMP", help="Only this welder, with his evidence.")
@click.option("--outside", "only_outside", is_flag=True, help="List the deposits outside instead.")
@job_option
@register_option
@as_of_option
@format_option
def welders(
    on: datetime | None,
    within: int,
    welder: str | None,
    only_outside: bool,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Say who may weld what, what lapses soon, and what was welded outside a qualification.

    --job narrows the deposits that are looked at; certificates hold for all jobs. The exit code is
    1 if a deposit lies outside. A last day belongs to the time in force; 31 August and six months
    is the last day of February.
    """
    from ndtstats.clock import now  # noqa: PLC0415
    from ndtstats.qualification import (  # noqa: PLC0415
        certificates,
        evidence,
        outside,
        require_welder,
        sentence,
        with_evidence,
    )
    from ndtstats.register import require_job  # noqa: PLC0415

    day = (on or as_of or now()).date()
    with opened(register) as reg:
        job = require_job(reg, job, as_of) if job else None
        welder = require_welder(reg, welder, as_of=as_of) if welder else None
        found = _of(certificates(reg, day, as_of=as_of), welder)
        out = _of(outside(reg, job=job, as_of=as_of, until=day), welder)
        proof = _of(evidence(reg, day, as_of=as_of), welder)
    told = sentence(found, out, day, within)
    if only_outside:
        emit(out, fmt, columns=_OUTSIDE, conclusion=told)
    elif welder and fmt != "table":
        emit(proof, fmt)
    else:
        found = with_evidence(found, proof, day)
        shown = _readable(found) if fmt == "table" else found
        emit(shown, fmt, columns=_CERTIFICATES, conclusion=told)
        if welder:
            emit(proof, fmt, columns=_EVIDENCE)
            emit(out, fmt, columns=_OUTSIDE)
    click.get_current_context().exit(1 if len(out) else 0)


def _of(found: "pd.DataFrame", welder: str | None) -> "pd.DataFrame":
    return found if welder is None else found[found["welder"] == welder].reset_index(drop=True)


def _readable(found: "pd.DataFrame") -> "pd.DataFrame":
    """Return the certificates with state and range in words."""
    low, high = found["thickness_min_mm"], found["thickness_max_mm"]
    bounds = low.map("from {:g} ".format, na_action="ignore").astype("str").fillna("")
    bounds += high.map("to {:g} ".format, na_action="ignore").astype("str").fillna("")
    parts = [
        found["joint_types"].str.replace(";", " "),
        found["positions"].str.replace(";", " "),
        bounds.where(bounds == "", bounds + "mm"),
        "group " + found["material"].str.replace(";", " "),
    ]
    covers = parts[0].fillna("any joint")
    for part, anything in zip(parts[1:], ("any position", "", ""), strict=True):
        told = part.fillna(anything)
        covers = covers.where(told == "", covers + "; " + told)
    state = found["in_force"].map({True: "in force", False: "lapsed"})
    return found.assign(covers=covers, state=state.where(found["since"].notna(), "not yet"))
