"""``ndtstats hidden``."""

from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

if TYPE_CHECKING:
    from ndtstats.rates.hidden import Hidden


@click.command()
@click.option("--method", required=True, metavar="METHOD", help="The method, such as RT.")
@click.option("--by", "by_text", default="zone", show_default=True, metavar="COLUMN[,COLUMN]",
              help="job, zone, category, joint_type.")  # fmt: skip
@click.option(
    "--detection",
    type=float,
    metavar="SHARE",
    help="Share of the rejectable imperfections that the method finds, such as 0.8.",
)
@click.option(
    "--detection-beta",
    nargs=2,
    type=float,
    metavar="A B",
    help="The same if it is uncertain: Beta(A, B), such as 16.5 4.5 for 16 of 20.",
)
@click.option("--level", type=float, default=0.90, show_default=True, help="Of the bound.")
@click.option("--seed", type=click.IntRange(min=0), default=0, show_default=True,
              help="Of sums so long that they are simulated.")  # fmt: skip
@job_option
@register_option
@as_of_option
@format_option
def hidden(
    method: str,
    by_text: str,
    detection: float | None,
    detection_beta: tuple[float, float] | None,
    level: float,
    seed: int,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """How many rejectable imperfections are likely hidden where nobody looked.

    And, with --detection, those that the method missed where it did look. All jobs together, unless
    one is named.
    """
    from ndtstats.rates.hidden import hidden as answer  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    by = [name.strip() for name in by_text.split(",") if name.strip()]
    with opened(register) as reg:
        job = require_job(reg, job, as_of) if job else None
        result = answer(
            reg, method=method, by=by, detection=_detection(detection, detection_beta),
            level=level, seed=seed, job=job, as_of=as_of,
        )  # fmt: skip
    emit(result.table, fmt, columns=_columns(by, level), conclusion=_conclusion(result, method))
    if fmt == "table":
        for remark in result.remarks:
            say(remark)
        if detection is None and detection_beta is None:
            say(f"What {method.upper()} missed is not counted; give --detection to count it.")


def _detection(share: float | None, beta: tuple[float, float] | None) -> Any:
    from ndtstats.errors import UseError  # noqa: PLC0415
    from ndtstats.statistics import BetaDetection  # noqa: PLC0415

    if share is not None and beta is not None:
        raise UseError("give --detection or --detection-beta, not both")
    if beta is not None:
        return BetaDetection(*beta)
    return 1.0 if share is None else share


def _conclusion(result: "Hidden", method: str) -> str:
    from ndtstats.statistics import hidden_sentence  # noqa: PLC0415

    return hidden_sentence(result.total.to_dict(), method.upper())


def _columns(by: list[str], level: float) -> list[Shown]:
    return [
        *(Shown(name, name.replace("_", " ")) for name in by),
        Shown("found", "found", "count"),
        Shown("examined_m", "rate rests on, m", "number"),
        Shown("looked_at_m", "examined, m", "number"),
        Shown("unexamined_m", "not examined, m", "number"),
        Shown("mean_unexamined", "hidden there", "number"),
        Shown("mean_missed", "missed", "number"),
        Shown("upper", f"at most ({100 * level:g} %)", "count"),
        Shown("none", "none at all", "percent"),
    ]
