"""``ndtstats trend``."""

from datetime import datetime

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import as_of_option, format_option, job_option, opened, register_option

_MONTHS = (
    Shown("month", "month"),
    Shown("rejected", "rejected", "count"),
    Shown("examined", "examined", "count"),
    Shown("share", "rate", "percent"),
    Shown("lower", "lower limit", "percent"),
    Shown("upper", "upper limit", "percent"),
    Shown("signal", "signal"),
    Shown("per_m", "per metre", "number"),
    Shown("per_m_lower", "lower limit", "number"),
    Shown("per_m_upper", "upper limit", "number"),
    Shown("per_m_signal", "signal"),
    Shown("ewma", "EWMA", "number"),
    Shown("ewma_upper", "limit ±", "number"),
    Shown("ewma_signal", "signal"),
)
_WELDERS = (
    Shown("welder", "welder"),
    Shown("rejected", "rejected", "count"),
    Shown("examined", "examined", "count"),
    Shown("value", "CUSUM now", "number"),
    Shown("limit", "limit", "number"),
    Shown("signals", "signals", "count"),
    Shown("last_signal", "last signal"),
    Shown("examinations", "rejects behind it"),
)
_SIGNALS = (
    Shown("chart", "chart"),
    Shown("when", "when"),
    Shown("welder", "welder"),
    Shown("direction", "direction"),
    Shown("rejected", "rejected", "count"),
    Shown("examined", "examined", "count"),
    Shown("examinations", "rejects behind it"),
)
#: Signals told in sentences; --show signals lists them all.
_MOST_TOLD = 10


@click.command()
@click.option("--method", required=True, metavar="METHOD", help="The method, such as RT.")
@click.option("--welder", metavar="STAMP", help="Only what is charged to this welder.")
@click.option("--show", type=click.Choice(["months", "welders", "signals"]), default="months",
              show_default=True,
              help="Which table: months, each welder's CUSUM, all signals.")  # fmt: skip
@click.option("--good", type=float, default=0.03, show_default=True, metavar="SHARE",
              help="Rate of a welder that is borne.")  # fmt: skip
@click.option("--bad", type=float, default=0.10, show_default=True, metavar="SHARE",
              help="Rate of a welder that is to be told of quickly.")  # fmt: skip
@click.option("--false-alarm", type=float, default=1000, show_default=True, metavar="SPOTS",
              help="Spots of good work between two false alarms, on average.")  # fmt: skip
@click.option("--basis", type=click.Choice(["chosen", "described"]),
              help="Places that rules or chance chose, or everything; by default the first, "
                   "if there are any.")  # fmt: skip
@job_option
@register_option
@as_of_option
@format_option
def trend(
    method: str,
    welder: str | None,
    show: str,
    good: float,
    bad: float,
    false_alarm: float,
    basis: str | None,
    job: str | None,
    register: str,
    as_of: datetime | None,
    fmt: str,
) -> None:
    """Which months lie outside what chance allows, and whose rate has gone up.

    First examinations only. A signal names the rejected examinations behind it. All jobs together,
    unless one is named.
    """
    from ndtstats.rates.trend_charts import signal_sentences, trend_of, trend_sentence  # noqa: PLC0415
    from ndtstats.register import require_job  # noqa: PLC0415

    with opened(register) as reg:
        job = require_job(reg, job, as_of) if job else None
        result = trend_of(
            reg, method=method, job=job, welder=welder, good=good, bad=bad,
            spots_between_false_alarms=false_alarm, basis=basis, as_of=as_of,
        )  # fmt: skip
    table, columns = {
        "months": (result.months, _MONTHS),
        "welders": (result.welders, _WELDERS),
        "signals": (result.signals, _SIGNALS),
    }[show]
    emit(table, fmt, columns=columns, conclusion=trend_sentence(result))
    if fmt != "table":
        return
    told = signal_sentences(result) if show == "months" else []
    if len(told) > _MOST_TOLD:
        say(f"The last {_MOST_TOLD} of {len(told):,} signals; --show signals lists them all.")
    for text in (*told[-_MOST_TOLD:], *result.remarks):
        say(text)
