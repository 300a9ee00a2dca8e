"""``ndtstats rates``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, Style, emit, say
from ndtstats.cli.options import (
    as_of_option,
    format_option,
    job_option,
    opened,
    register_option,
)

#: Heading of numerator, denominator and rate, and how they are shown, by measure.
_SHOWN: dict[str, tuple[tuple[str, Style], tuple[str, Style], tuple[str, Style]]] = {
    "spots": (("rejected", "count"), ("examined", "count"), ("rate", "percent")),
    "joints": (("rejected", "count"), ("examined", "count"), ("rate", "percent")),
    "length": (("rejectable [mm]", "mm"), ("examined [mm]", "mm"), ("rate", "percent")),
    "per-metre": (("rejectable", "count"), ("examined [m]", "number"), ("per metre", "number")),
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
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Reject rates of first examinations, with bounds and the basis they stand on."""
    from ndtstats.rates import rates as reject_rates  # noqa: PLC0415
    from ndtstats.rates import sentence, set_aside  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    by = [name.strip() for name in by_text.split(",") if name.strip()]
    with opened(register) as reg:
        job = require_job(reg, job, as_of) if job else None
        table = reject_rates(
            reg, by=by, measure=measure, method=method, level=level, interval=interval,
            sides=sides, job=job, as_of=as_of,
        )  # fmt: skip
        aside = set_aside(reg, method=method, job=job, as_of=as_of, level=level)
    emit(table, fmt, columns=_columns(by, measure, level), conclusion=sentence(table, by))
    if fmt == "table":
        counted = ", ".join(
            f"{row['what']} {row['count']:,} of {row['of']:,}" for _, row in aside.iterrows()
        )
        say(f"Counted apart: {counted}.")


def _columns(by: list[str], measure: str, level: float) -> list[Shown]:
    (bad, bad_style), (looked, looked_style), (rate, rate_style) = _SHOWN[measure]
    return [
        *(Shown(name, name.replace("_", " ")) for name in by),
        Shown("basis", "basis"),
        Shown("rejected", bad, bad_style),
        Shown("examined", looked, looked_style),
        Shown("rate", rate, rate_style),
        Shown("lower", f"lower {level:g}", rate_style),
        Shown("upper", f"upper {level:g}", rate_style),
        Shown("shared", "shared", "count"),
    ]
