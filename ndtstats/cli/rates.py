"""``ndtstats rates``."""

from datetime import datetime
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, Style, emit, say
from ndtstats.cli.options import (
    as_of_option,
    format_option,
    job_option,
    opened,
    register_option,
)

if TYPE_CHECKING:
    import pandas as pd

#: Heading of numerator, denominator and rate, and how they are shown, by measure.
_SHOWN: dict[str, tuple[tuple[str, Style], tuple[str, Style], tuple[str, Style]]] = {
    "spots": (("rejected", "count"), ("examined", "count"), ("rate", "percent")),
    "joints": (("rejected", "count"), ("examined", "count"), ("rate", "percent")),
    "length": (("rejectable, mm", "mm"), ("examined, mm", "mm"), ("rate", "percent")),
    "per-metre": (("rejectable", "count"), ("examined, m", "number"), ("per metre", "number")),
}


@click.command()
@click.option("--by", "by_text", default="welder", show_default=True, metavar="COLUMN[,COLUMN]",
              help="welder, process, position, thickness, category, zone, month …")  # fmt: skip
@click.option("--measure", default="spots", show_default=True,
              type=click.Choice(["spots", "joints", "length", "per-metre"]))  # fmt: skip
@click.option("--method", metavar="METHOD", help="Only this method, such as RT.")
@click.option("--level", type=float, default=0.95, show_default=True, help="Confidence level.")
@click.option("--interval", default="clopper-pearson", show_default=True,
              type=click.Choice(["clopper-pearson", "wilson", "jeffreys", "mid-p"]))  # fmt: skip
@click.option("--sides", default="two", show_default=True, type=click.Choice(["two", "upper"]))
@click.option("--apart", is_flag=True,
              help="What is counted apart instead: repairs, re-shoots, not done.")  # fmt: skip
@job_option
@register_option
@as_of_option
@format_option
def rates(
    by_text: str,
    measure: str,
    method: str | None,
    level: float,
    interval: str,
    sides: str,
    apart: bool,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Reject rates of first examinations, with bounds and the basis they stand on.

    Unbiased: what the rules require and what chance drew, weighted. Described: everything that was
    examined. All jobs together, unless one is named.
    """
    from ndtstats import rates as answer  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    by = [name.strip() for name in by_text.split(",") if name.strip()]
    with opened(register, way=measure) as reg:
        job = require_job(reg, job, as_of) if job else None
        if apart:
            emit(
                answer.set_aside(
                    reg, by=by, method=method, job=job, as_of=as_of, level=level,
                    interval=interval, sides=sides,
                ),
                fmt, columns=_apart_columns(by, level),
            )  # fmt: skip
            return
        table = answer.rates(
            reg, by=by, measure=measure, method=method, level=level, interval=interval,
            sides=sides, job=job, as_of=as_of,
        )  # fmt: skip
        aside = answer.set_aside(reg, method=method, job=job, as_of=as_of, level=level)
    emit(table, fmt, columns=_columns(by, measure, level), conclusion=answer.sentence(table, by))
    if fmt == "table":
        if wide := answer.worth(table, by):
            say(wide)
        say(_counted_apart(aside))


def _counted_apart(aside: "pd.DataFrame") -> str:
    counts = zip(aside["what"], aside["count"], aside["of"], strict=True)
    return f"Counted apart: {', '.join(f'{what} {k:,} of {n:,}' for what, k, n in counts)}."


def _columns(by: list[str], measure: str, level: float) -> list[Shown]:
    (bad, bad_style), (looked, looked_style), (rate, rate_style) = _SHOWN[measure]
    return [
        *(Shown(name, name.replace("_", " ")) for name in by),
        Shown("basis", "basis"),
        Shown("rejected", bad, bad_style),
        Shown("examined", looked, looked_style),
        Shown("rate", rate, rate_style),
        Shown("lower", f"lower, {100 * level:g} %", rate_style),
        Shown("upper", f"upper, {100 * level:g} %", rate_style),
        Shown("joints", "joints", "count"),
        Shown("shared", "shared", "count"),
        Shown("design_effect", "design effect", "number"),
    ]


def _apart_columns(by: list[str], level: float) -> list[Shown]:
    return [
        *(Shown(name, name.replace("_", " ")) for name in by),
        Shown("what", "what"),
        Shown("count", "count", "count"),
        Shown("of", "of", "count"),
        Shown("rate", "rate", "percent"),
        Shown("lower", f"lower, {100 * level:g} %", "percent"),
        Shown("upper", f"upper, {100 * level:g} %", "percent"),
    ]
