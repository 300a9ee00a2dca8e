"""``ndtstats detection``."""

import re
from pathlib import Path

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import format_option
from ndtstats.errors import UseError

_SIZES = (
    Shown("what", "size"),
    Shown("pod", "found", "percent"),
    Shown("confidence", "confidence", "percent"),
    Shown("size_mm", "mm", "number"),
)


def _counts(
    _ctx: click.Context, _param: click.Parameter, value: str | None
) -> tuple[int, int] | None:
    if value is None:
        return None
    match = re.fullmatch(r"\s*(\d+)\s*/\s*(\d+)\s*", value)
    if not match or not int(match[1]) <= int(match[2]) or not int(match[2]):
        raise UseError(
            f'rate "{value}" is not K/N; write rejected/examined as whole numbers: 45/150'
        )
    return int(match[1]), int(match[2])


@click.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--rate", callback=_counts, metavar="K/N",
              help="Rejected of examined, to be set right for misses and false calls.")  # fmt: skip
@click.option("--sensitivity", type=float, metavar="SHARE",
              help="Share of the bad places that are rejected.")  # fmt: skip
@click.option("--specificity", type=float, metavar="SHARE",
              help="Share of the good places that are accepted.")  # fmt: skip
@format_option
def detection(
    file: Path | None,
    rate: tuple[int, int] | None,
    sensitivity: float | None,
    specificity: float | None,
    fmt: str,
) -> None:
    """Which sizes a method finds; what its misses and false calls do to a reject rate.

    FILE lists known flaws under the headings size_mm and found (yes or no), each looked at once.
    Without a file, a rate is set right: --rate 45/150 --sensitivity 0.96 --specificity 0.89.
    """
    if (file is None) == (rate is None):
        raise UseError("give a FILE of known flaws, or --rate K/N; one of the two")
    if rate is None:
        assert file is not None  # noqa: S101  (one of the two is given)
        _show_trial(file, fmt)
        return
    if sensitivity is None or specificity is None:
        raise UseError("--rate needs --sensitivity and --specificity, such as 0.96 and 0.89")
    _show_rate(rate, sensitivity, specificity, fmt)


def _show_trial(file: Path, fmt: str) -> None:
    from ndtstats.intake.small import FLAWS, read_small  # noqa: PLC0415
    from ndtstats.rates.trial import trial_of, trial_sentence  # noqa: PLC0415

    trial = trial_of(read_small(file, FLAWS))
    emit(trial.table, fmt, columns=_SIZES, conclusion=trial_sentence(trial))
    if fmt == "table":
        for remark in trial.remarks:
            say(remark)


def _show_rate(rate: tuple[int, int], sensitivity: float, specificity: float, fmt: str) -> None:
    from ndtstats.rates.trial import corrected_rate  # noqa: PLC0415

    found = corrected_rate(*rate, sensitivity=sensitivity, specificity=specificity)
    columns = [
        Shown("rejected", "rejected", "count"),
        Shown("examined", "examined", "count"),
        Shown("rate", "rate", "percent"),
        Shown("true_rate", "bad places", "percent"),
        Shown("lower", "lower 0.95", "percent"),
        Shown("upper", "upper 0.95", "percent"),
    ]
    emit(found.table, fmt, columns=columns, conclusion=found.sentence)
    if fmt == "table":
        say("Sensitivity and specificity are taken as known; the bounds do not hold their error.")
