"""``ndtstats compare``."""

import math
from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

if TYPE_CHECKING:
    import pandas as pd

    from ndtstats.rates.compare import Comparison


@click.command()
@click.option("--method", required=True, metavar="METHOD", help="The method, such as RT.")
@click.option("--by", default="welder", show_default=True, metavar="COLUMN",
              help="What is compared: welder, process, procedure, zone …")  # fmt: skip
@click.option("--factors", default="category,process,position,thickness", show_default=True,
              metavar="COLUMN[,COLUMN]",
              help="What the work differs in, to be allowed for.")  # fmt: skip
@click.option("--limit", type=float, metavar="SHARE",
              help="Rate that ought not to be exceeded, such as 0.05.")  # fmt: skip
@click.option("--basis", type=click.Choice(["chosen", "described"]),
              help="Places that rules or chance chose, or everything; by default the first, "
                   "if there are any.")  # fmt: skip
@click.option("--level", type=float, default=0.95, show_default=True, help="Of the bounds.")
@click.option("--seed", type=click.IntRange(min=0), default=0, show_default=True,
              help="Of the simulated ranks.")  # fmt: skip
@job_option
@register_option
@as_of_option
@format_option
def compare(
    method: str,
    by: str,
    factors: str,
    limit: float | None,
    basis: str | None,
    level: float,
    seed: int,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Welders side by side: what they had to weld allowed for, and how sure it is.

    First examinations only. All jobs together, unless one is named.
    """
    from ndtstats.rates.compare import compare_welders, comparison_sentence  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    allowed = [name.strip() for name in factors.split(",") if name.strip()]
    with opened(register) as reg:
        job = require_job(reg, job, as_of) if job else None
        result = compare_welders(
            reg, method=method, job=job, by=by, factors=allowed, limit=limit, level=level,
            basis=basis, as_of=as_of, seed=seed,
        )  # fmt: skip
    if fmt != "table":
        emit(result.table, fmt)
        return
    emit(_readable(result), fmt, columns=_columns(result), conclusion=comparison_sentence(result))
    if len(result.table):
        say(f"In brackets: {100 * level:g} % bounds.")
    for remark in result.remarks:
        say(remark)


def _readable(result: "Comparison") -> "pd.DataFrame":
    """Return the table with each figure and its bounds in one cell."""
    table, ranks = result.table, result.table.round({"rank": 1})
    return table.assign(
        raw=_with_bounds(table, "rate", ("lower", "upper"), _percent),
        drawn=_with_bounds(table, "shrunk", ("shrunk_lower", "shrunk_upper"), _percent),
        place=_with_bounds(ranks, "rank", ("rank_lower", "rank_upper"), "{:g}".format),
        times=_with_bounds(table, "ratio", ("ratio_lower", "ratio_upper"), "{:.2f}".format),
    )


def _with_bounds(table: "pd.DataFrame", name: str, bounds: tuple[str, str], show: Any) -> list[str]:
    rows = zip(table[name], *(table[bound] for bound in bounds), strict=True)
    # With no reject anywhere nothing is expected, and there is no ratio.
    return [
        "" if math.isnan(value) else f"{show(value)} ({show(low)} to {show(high)})"
        for value, low, high in rows
    ]


def _percent(share: float) -> str:
    return f"{100 * share:.1f}"


def _columns(result: "Comparison") -> list[Shown]:
    limit = result.limit
    apart = not (result.table["design_effect"] > 1).any()
    effect = [] if apart else [Shown("design_effect", "design effect", "number")]
    over = [] if limit is None else [Shown("above", f"over {100 * limit:g} %", "percent")]
    return [
        Shown(result.by, result.by.replace("_", " ")),
        Shown("rejected", "rejected", "count"),
        Shown("examined", "examined", "count"),
        Shown("expected", "expected", "number"),
        Shown("times", "observed / expected"),
        Shown("adjusted_p", "adjusted p", "number"),
        Shown("stands_out", "stands out"),
        Shown("funnel", "funnel"),
        Shown("raw", "rate, %"),
        Shown("drawn", "shrunk rate, %"),
        *over,
        Shown("place", "rank"),
        *effect,
    ]
