"""The only module that prints: tables that fit a terminal, JSON and CSV for machines."""

import json
import math
import os
import shutil
import sys
import threading
import time
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, TextIO

import click

from ndtstats.cli.pace import Marks, Pace
from ndtstats.progress import Progress, silent

if TYPE_CHECKING:
    import pandas as pd

Style = Literal["text", "plain", "count", "percent", "number", "mm", "m", "date"]

#: A spreadsheet would take a text cell that begins so as a formula, as in a file it is given
#: (ndtstats.intake.spreadsheet, which is too heavy to import here).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

#: Long work is silent this long before it shows progress, and shows it anew as often.
PATIENCE_S, ANEW_S = 1.0, 0.2

#: Sentences on a terminal are no wider than this, however wide it is.
WIDEST = 100


@dataclass(frozen=True, slots=True)
class Shown:
    """How one column is shown in a table: its heading, with the unit, and its style."""

    name: str
    heading: str
    style: Style = "text"


def say(text: str, *, colour: str | None = None) -> None:
    """Print a line for the reader, in a colour where he has a terminal that shows it."""
    _print(text, sys.stdout, colour)


def note(text: str, *, colour: str | None = None) -> None:
    """Print a line beside the result, so that piped results stay clean."""
    _print(text, sys.stderr, colour)


def _print(text: str, stream: TextIO, colour: str | None) -> None:
    shown = "\n".join(_laid(_printable(line), stream) for line in text.split("\n"))
    coloured = colour is not None and stream.isatty() and not os.environ.get("NO_COLOR")
    with _line.paused() if _line else nullcontext():
        click.echo(click.style(shown, fg=colour) if coloured else shown, file=stream)


def _laid(line: str, stream: TextIO) -> str:
    """Return a line broken between words where a terminal is narrower; piped, it stays whole."""
    width = min(shutil.get_terminal_size().columns, WIDEST)
    if len(line) <= width or not stream.isatty():
        return line
    from ndtstats.cli.layout import wrapped  # noqa: PLC0415  (only for a long line)

    return "\n".join(wrapped(line, width))


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
    from ndtstats.cli.layout import Laid, table_lines  # noqa: PLC0415  (only for a table)

    laid = [
        Laid(
            column.heading,
            _cells(frame[column.name], column.style),
            column.style not in {"text", "date"},
        )
        for column in columns
    ]
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    with _line.paused() if _line else nullcontext():
        click.echo("\n".join(table_lines(laid, width)))


def _cells(values: "pd.Series[Any]", style: Style) -> list[str]:
    show = _STYLES[style]
    missing = values.isna()
    return ["" if gone else show(value) for value, gone in zip(values, missing, strict=True)]


def _number(value: float) -> str:
    """Return a number with three digits that count, never with a power of ten.

    Examples
    --------
    >>> _number(12345.6), _number(0.0625), _number(0.00002), _number(-0.00002), _number(0.0)
    ('12,346', '0.0625', '< 0.0001', '> -0.0001', '0')
    """
    if abs(value) >= 1000:
        return f"{value:,.0f}"
    if 0 < abs(value) < 0.0001:
        return "< 0.0001" if value > 0 else "> -0.0001"
    return f"{value:.3g}"


_STYLES: dict[str, Callable[[Any], str]] = {
    "text": lambda value: _printable(str(value)),
    "plain": lambda value: f"{value}",
    "count": lambda value: f"{value:,.0f}",
    "percent": lambda value: f"{100 * value:.1f} %",
    "number": _number,
    "mm": lambda value: f"{value:,.0f}",
    "m": lambda value: f"{value / 1000:,.2f}",
    "date": lambda value: f"{value:%Y-%m-%d}",
}


def _printable(text: str) -> str:
    """Return text that cannot steer the terminal or turn its writing direction."""
    # Blanks that do not break count as not printable, and are harmless.
    fine = (c.isprintable() or unicodedata.category(c) == "Zs" for c in text)
    return "".join(
        c if ok else "\N{REPLACEMENT CHARACTER}" for c, ok in zip(text, fine, strict=True)
    )


@dataclass(slots=True)
class _Line:
    """The line of a terminal on which long work tells how far it is."""

    began: float = field(default_factory=time.monotonic)
    since: float = 0.0
    what: str = ""
    done: int = 0
    total: int = 0
    shown: bool = False
    pace: Pace | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)
    over: threading.Event = field(default_factory=threading.Event)

    def tell(self, what: str, done: int, total: int) -> None:
        """Take note of how far the work is."""
        # Steps of other names that are counted on are one piece of work.
        if not self.what or total != self.total or done < self.done:
            self.since = time.monotonic()
        self.what, self.done, self.total = what, done, total

    def run(self) -> None:
        """Show it anew until it is over."""
        while not self.over.wait(ANEW_S):
            if time.monotonic() - self.began >= PATIENCE_S:
                with self.lock:
                    click.echo(f"\r\x1b[K{self.text()}", nl=False, err=True)
                    self.shown = True

    def text(self) -> str:
        """Return what is to be shown: the time left where it can be told, else the time spent."""
        if self.pace is not None and (foreseen := self.pace.text()):
            return foreseen
        if not (self.what and 0 < self.done <= self.total):
            return f"at work for {time.monotonic() - self.began:.0f} s"
        left = (time.monotonic() - self.since) * (self.total - self.done) / self.done
        return f"{self.what}: {self.done:,} of {self.total:,}, {left:.0f} s left"

    @contextmanager
    def paused(self) -> Iterator[None]:
        """Leave the line free, for something to be printed in its place."""
        with self.lock:
            if self.shown:
                click.echo("\r\x1b[K", nl=False, err=True)
                self.shown = False
            yield


#: The line that is shown, if any: a terminal has one.
_line: _Line | None = None


@contextmanager
def progress() -> Iterator[Progress]:
    """Yield a listener that shows progress on long work, and nothing when nobody looks."""
    global _line  # noqa: PLW0603  (a terminal has one line at which work is told)
    if not sys.stderr.isatty():
        yield silent
        return
    if _line is not None:
        yield _line.tell
        return
    _line = _Line()
    teller = threading.Thread(target=_line.run, daemon=True)
    teller.start()
    try:
        yield _line.tell
    finally:
        _line.over.set()
        teller.join()
        with _line.paused():
            _line = None


@contextmanager
def paced(marks: Marks) -> Iterator[Progress]:
    """Yield a listener for a register; with marks, what it tells is shown as the time left."""
    with progress():
        if _line is None or not marks:
            yield silent
            return
        _line.pace = Pace(marks)
        yield _line.pace.tell
