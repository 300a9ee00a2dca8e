"""``ndtstats plan draw``, ``list``, ``show``, ``repeat``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, emit, note, progress, say
from ndtstats.cli.options import (
    as_of_option,
    by_option,
    format_option,
    job_option,
    opened,
    register_option,
    seed_option,
)
from ndtstats.clock import now

_SPOTS = (
    Shown("spot", "spot"),
    Shown("joint", "joint"),
    Shown("method", "method"),
    Shown("from_mm", "from [mm]", "mm"),
    Shown("to_mm", "to [mm]", "mm"),
    Shown("part", "part"),
    Shown("pi", "probability", "number"),
    Shown("risk", "risk", "number"),
    Shown("rule", "rule"),
    Shown("why", "why"),
)

_PLANS = (
    Shown("plan", "plan"),
    Shown("job", "job"),
    Shown("kind", "kind"),
    Shown("seed", "seed", "plain"),
    Shown("drawn_at", "drawn (UTC)"),
    Shown("rules_sha256", "SHA-256 of its rules"),
)


@click.command()
@job_option
@click.option("--rules", metavar="FILE|PRESET", help="Rules to plan by; else those in force.")
@seed_option(required=True)
@click.option(
    "--budget",
    type=click.IntRange(min=0),
    default=0,
    metavar="N",
    help="Aim N exposures beyond the rules where they find most.",
)
@click.option(
    "--evidence-days",
    type=click.IntRange(min=0),
    metavar="DAYS",
    help="Give a production spot to certificates whose window closes so soon without evidence.",
)
@by_option
@register_option
@format_option
def draw(
    job: str | None,
    rules: str | None,
    seed: int,
    budget: int,
    evidence_days: int | None,
    by: str,
    register: str,
    fmt: str,
) -> None:
    """Draw a plan for the joints that no earlier plan by the same rules covers.

    The extent of welders whom a signal tightened (ndtstats severity) is multiplied by the factor of
    the rules. What is aimed (--budget, --evidence-days) may lie on joints that earlier plans cover.
    It never enters a rate that stands for all welds.
    """
    from ndtstats.escalation import tightened_in_force  # noqa: PLC0415
    from ndtstats.planning import Aims, draw_plan, plan_spots  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.rules import rules_for_plan  # noqa: PLC0415

    with opened(register) as reg, progress() as tell:
        job = require_job(reg, job)
        chosen, told = rules_for_plan(reg, job, rules, by=by, now=now())
        strict = tightened_in_force(reg, job=job, rules=chosen)
        number, drawing = draw_plan(
            reg, job=job, rules=chosen, seed=seed, now=now(), by=by,
            aims=Aims(budget, evidence_days), tightened=strict.factors, progress=tell,
        )  # fmt: skip
        spots = plan_spots(reg, number)
    for line in (*told, *drawing.notes, *filter(None, [strict.remark])):
        note(line)
    parts = spots["part"].value_counts()
    listed = ", ".join(f"{count:,} {part}" for part, count in parts.items())
    conclusion = f"Plan {number}: {listed}, from {len(drawing.cells):,} cells; seed {seed}."
    if fmt == "table":
        say(conclusion)
        _by_rule(spots)
        say(f"See them with: ndtstats plan show {number}")
    else:
        emit(spots.drop(columns=["id", "batch"]), fmt)


def _minute(drawn_at: object) -> str:
    """Return an instant that is kept as text to the minute."""
    return f"{str(drawn_at)[:16].replace('T', ' ')} UTC"


def _by_rule(spots: "object") -> None:
    import pandas as pd  # noqa: PLC0415

    assert isinstance(spots, pd.DataFrame)  # noqa: S101
    table = pd.crosstab([spots["rule"], spots["method"]], spots["part"]).reset_index()
    parts = [name for name in table.columns if name not in {"rule", "method"}]
    shown = [Shown("rule", "rule"), Shown("method", "method")]
    emit(table, "table", columns=[*shown, *(Shown(name, name, "count") for name in parts)])


@click.command("list")
@job_option
@register_option
@as_of_option
@format_option
def list_plans(job: str | None, register: str, as_of: datetime | None, fmt: str) -> None:
    """List the plans of the register, oldest first."""
    with opened(register) as reg:
        plans = reg.table("plans", job=job, as_of=as_of).drop(columns=["id", "batch"])
    conclusion = f"{len(plans):,} plan{'s' if len(plans) != 1 else ''}."
    short = plans.assign(
        rules_sha256=plans["rules_sha256"].str[:12],
        drawn_at=plans["drawn_at"].str[:16].str.replace("T", " "),
    )
    emit(short if fmt == "table" else plans, fmt, columns=_PLANS, conclusion=conclusion)


@click.command()
@click.argument("number", metavar="PLAN")
@click.option("--reserves", is_flag=True, help="Show the reserves too.")
@register_option
@as_of_option
@format_option
def show(number: str, register: str, as_of: datetime | None, fmt: str, *, reserves: bool) -> None:
    """Show the spots of PLAN in the order of the request, and why each was chosen."""
    from ndtstats.planning import plan_head, plan_spots, tightened_in_plan  # noqa: PLC0415

    with opened(register) as reg:
        head = plan_head(reg, number, as_of)
        spots = plan_spots(reg, number, as_of).drop(columns=["id", "batch"])
    chosen = spots if reserves or fmt != "table" else spots[spots["part"] != "reserve"]
    conclusion = (
        f"Plan {head['plan']} of job {head['job']}, drawn {_minute(head['drawn_at'])} with seed "
        f"{head['seed']}: {len(spots):,} spots, {(spots['part'] == 'reserve').sum():,} of them "
        f"reserves.\nFrame {head['frame_sha256'][:12]}, rules {str(head['rules_sha256'])[:12]}."
    )
    if strict := tightened_in_plan(head):
        conclusion += f"\n{strict[0].upper()}{strict[1:]}."
    emit(chosen, fmt, columns=_SPOTS, conclusion=conclusion)


@click.command()
@click.argument("number", metavar="PLAN")
@register_option
def repeat(number: str, register: str) -> None:
    """Draw PLAN again from the register as it was then, and prove that it is the same."""
    from ndtstats.planning import repeat_plan  # noqa: PLC0415

    with opened(register) as reg, progress():
        again = repeat_plan(reg, number)
    frame = "the same frame" if again.frame_equal else "another frame"
    spots = "the same spots" if again.equal else "other spots"
    say(f"Plan {again.plan} drawn again: {frame}, {spots}.")
    for change in again.changes:
        say(f"In the register: {change}.")
    click.get_current_context().exit(0 if again.equal and again.frame_equal else 1)
