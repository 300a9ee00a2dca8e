"""The only module that prints: tables that fit a terminal, JSON and CSV for machines."""

import json
import math
import sys
import time
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import click

from ndtstats.progress import Progress, silent

if TYPE_CHECKING:
    import pandas as pd

Style = Literal["text", "count", "percent", "number", "mm", "m", "date"]

#: A spreadsheet would take a text cell that begins so as a formula, as in a file it is given
#: (ndtstats.intake.spreadsheet, which is too heavy to import here).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

#: Long work is silent this long before it shows progress.
PATIENCE_S = 1.0

#: Width used when nobody looks: a table in a file or a pipe is never folded.
PIPED_WIDTH = 1000


@dataclass(frozen=True, slots=True)
class Shown:
    """How one column is shown in a table: its heading, with the unit, and its style."""

    name: str
    heading: str
    style: Style = "text"


def say(text: str) -> None:
    """Print a line for the reader."""
    click.echo(_harmless(text))


def note(text: str) -> None:
    """Print a line beside the result, so that piped results stay clean."""
    click.echo(_harmless(text), err=True)


def emit(
    frame: "pd.DataFrame",
    fmt: str,
    *,
    columns: Sequence[Shown] | None = None,
    conclusion: str = "",
) -> None:
    """Print a frame.

    Parameters
    ----------
    frame : DataFrame
        The result at full precision; machines get all its columns.
    fmt : {"table", "json", "csv"}
        As chosen with ``--format``.
    columns : sequence of Shown, optional
        Columns of the table and how they look; None: all, as they come.
    conclusion : str
        One line before the table; machines do not get it.
    """
    if fmt == "json":
        click.echo(json.dumps(_records(frame), indent=2, ensure_ascii=False))
        return
    if fmt == "csv":
        click.echo(_neutral(frame).to_csv(index=False, lineterminator="\n"), nl=False)
        return
    if conclusion:
        say(conclusion)
    if len(frame):
        _print_table(frame, columns or [Shown(str(c), str(c)) for c in frame.columns])


def _records(frame: "pd.DataFrame") -> list[dict[str, Any]]:
    plain = frame.astype(object).where(frame.notna(), None)
    return [
        {str(key): _jsonable(value) for key, value in record.items()}
        for record in plain.to_dict(orient="records")
    ]


def _jsonable(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, (list, tuple)):
        return [_jsonable(item) for item in value]
    if isinstance(value, dict):
        return {key: _jsonable(item) for key, item in value.items()}
    if hasattr(value, "isoformat"):
        text: str = value.isoformat()
        return text.removesuffix("T00:00:00")
    return value.item() if hasattr(value, "item") else value


def _neutral(frame: "pd.DataFrame") -> "pd.DataFrame":
    """Return the frame with text that would become a formula marked as text."""
    import pandas as pd  # noqa: PLC0415

    def neutral(column: "pd.Series[Any]") -> "pd.Series[Any]":
        if pd.api.types.is_object_dtype(column.dtype):
            return column.map(_neutral_text)
        if not isinstance(column.dtype, pd.StringDtype):
            return column
        return column.where(~column.str.startswith(FORMULA_STARTS, na=False), "'" + column)

    return frame.apply(neutral)


def _neutral_text(value: Any) -> Any:
    risky = isinstance(value, str) and value.startswith(FORMULA_STARTS)
    return "'" + value if risky else value


def _print_table(frame: "pd.DataFrame", columns: Sequence[Shown]) -> None:
    from rich import box  # noqa: PLC0415  (only when a table is shown)
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table(box=box.SIMPLE, pad_edge=False, show_edge=False)
    for column in columns:
        right = column.style not in {"text", "date"}
        table.add_column(column.heading, justify="right" if right else "left", overflow="fold")
    cells = [_cells(frame[column.name], column.style) for column in columns]
    for row in zip(*cells, strict=True):
        table.add_row(*(Text(cell) for cell in row))
    width = None if sys.stdout.isatty() else PIPED_WIDTH
    Console(file=sys.stdout, width=width, highlight=False).print(table)


def _cells(values: "pd.Series[Any]", style: Style) -> list[str]:
    show = _STYLES[style]
    missing = values.isna()
    return ["" if gone else show(value) for value, gone in zip(values, missing, strict=True)]


_STYLES: dict[str, Callable[[Any], str]] = {
    "text": lambda value: _printable(str(value)),
    "count": lambda value: f"{value:,.0f}",
    "percent": lambda value: f"{100 * value:.1f} %",
    "number": lambda value: f"{value:.3g}",
    "mm": lambda value: f"{value:,.0f}",
    "m": lambda value: f"{value / 1000:,.2f}",
    "date": lambda value: f"{value:%Y-%m-%d}",
}


def _harmless(text: str) -> str:
    """Return lines that cannot steer the terminal, whatever a file or a cell is called."""
    return "\n".join(_printable(line) for line in text.split("\n"))


def _printable(text: str) -> str:
    """Return text that cannot steer the terminal or turn its writing direction."""
    # Blanks that do not break count as not printable, and are harmless.
    fine = (c.isprintable() or unicodedata.category(c) == "Zs" for c in text)
    return "".join(
        c if ok else "\N{REPLACEMENT CHARACTER}" for c, ok in zip(text, fine, strict=True)
    )


@contextmanager
def progress() -> Iterator[Progress]:
    """Yield a listener that shows progress on long work, and nothing when nobody looks."""
    if not sys.stderr.isatty():
        yield silent
        return
    started = time.monotonic()
    shown = False

    def tell(what: str, done: int, total: int) -> None:
        nonlocal shown
        spent = time.monotonic() - started
        if spent < PATIENCE_S or not done:
            return
        left = spent * (total - done) / done
        click.echo(f"\r\x1b[K{what}: {done:,} of {total:,}, {left:.0f} s left", nl=False, err=True)
        shown = True

    try:
        yield tell
    finally:
        if shown:
            click.echo("\r\x1b[K", nl=False, err=True)
