"""``ndtstats plan value``."""

from datetime import datetime
from pathlib import Path

import click

from ndtstats.cli.console import Shown, emit, note, say
from ndtstats.cli.options import (
    as_of_option,
    format_option,
    job_option,
    opened,
    register_option,
    seed_option,
)
from ndtstats.errors import UseError

_COLUMNS = (
    Shown("exposures", "exposures", "count"),
    Shown("part", "spent on"),
    Shown("found", "found", "number"),
    Shown("buys", "last step found", "number"),
    Shown("caught", "everybody above the limit noticed", "percent"),
    Shown("hidden", "still hidden", "number"),
)


@click.command()
@job_option
@click.option("--rules", metavar="FILE|PRESET", help="Rules of the plans; else those in force.")
@click.option(
    "--further",
    type=click.IntRange(min=0),
    default=50,
    show_default=True,
    metavar="N",
    help="How many exposures beyond the plans the curve goes on for.",
)
@click.option(
    "--step",
    type=click.IntRange(min=1),
    default=10,
    show_default=True,
    metavar="N",
    help="Exposures from one row of the table to the next.",
)
@click.option(
    "--detection",
    type=click.FloatRange(min=0, max=1, min_open=True),
    default=1.0,
    show_default=True,
    help="Probability that an examination finds what is there; 1 is more than any method has.",
)
@click.option(
    "--picture",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Also draw the curve, as a .html page or a .svg picture.",
)
@seed_option(default=0, show_default=True)
@register_option
@as_of_option
@format_option
def value(
    job: str | None,
    rules: str | None,
    further: int,
    step: int,
    detection: float,
    picture: Path | None,
    seed: int,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Show what the exposures planned and not made yet buy, and what further ones would.

    Expected, not promised: from the rates and factors that "plan why" prints for each spot.
    """
    from ndtstats.planning import plan_worth, worth_by_step  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.report.value_figures import value_text, write_value_picture  # noqa: PLC0415
    from ndtstats.rules import load_rules, rules_in_force  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job, as_of)
        chosen = load_rules(rules) if rules else rules_in_force(reg, job, as_of)
        if chosen is None:
            raise UseError(f"job {job} has no rules in force; name a file with --rules")
        worth = plan_worth(
            reg, job=job, rules=chosen, further=further, detection=detection, seed=seed,
            as_of=as_of,
        )  # fmt: skip
    note(worth.likelihood.sentence)
    if picture is not None:
        write_value_picture(worth, picture, step)
        note(f"Drawn in {picture}.")
    if fmt != "table":
        emit(worth.curve, fmt)
        return
    emit(worth_by_step(worth, step), fmt, columns=_COLUMNS, conclusion=worth.sentence)
    say(value_text(worth))
