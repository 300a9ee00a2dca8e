"""``ndtstats readers``."""

from pathlib import Path

import click

from ndtstats.cli.console import Shown, emit, say
from ndtstats.cli.options import format_option

_COLUMNS = (
    Shown("readers", "readers"),
    Shown("images", "images", "count"),
    Shown("agreed", "agreed", "percent"),
    Shown("by_chance", "by chance", "percent"),
    Shown("kappa", "kappa", "number"),
    Shown("lower", "lower", "number"),
    Shown("upper", "upper", "number"),
)


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--level", type=float, default=0.95, show_default=True, help="Of the bounds.")
@format_option
def readers(file: Path, level: float, fmt: str) -> None:
    """Whether readers of the same images agree, beyond what chance would make them.

    FILE has the headings image, reader and verdict; each image is read by two readers or more.
    """
    from ndtstats.intake.small import READINGS, read_small  # noqa: PLC0415
    from ndtstats.rates.readings import readers_agree, readers_sentence  # noqa: PLC0415

    result = readers_agree(read_small(file, READINGS), level=level)
    emit(result.table, fmt, columns=_COLUMNS, conclusion=readers_sentence(result))
    if fmt != "table":
        return
    if len(result.table) > 1:
        verdicts = zip(result.verdicts["verdict"], result.verdicts["kappa"], strict=True)
        say(f"Kappa by verdict: {', '.join(f'{name} {value:.2f}' for name, value in verdicts)}.")
    for remark in result.remarks:
        say(remark)
