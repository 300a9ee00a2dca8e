"""Files in: every cell as text that remembers its row; nothing is guessed into a number here.

Rows are counted as a spreadsheet shows them: in a CSV file each record is one row, also one with a
line break inside a quoted cell, and a blank line is a row of its own.
"""

import csv
import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import CannotGoOn, UseError, nearest
from ndtstats.intake.cell_errors import Failed, failed_cells

if TYPE_CHECKING:
    from python_calamine import CalamineWorkbook

DELIMITERS = (";", ",", "\t", "|")
SPREADSHEETS = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
TEXTS = (".csv", ".txt", ".tsv")


@dataclass(frozen=True, slots=True)
class Grid:
    """The cells of one sheet as text.

    Attributes
    ----------
    file, sheet : str
        What it was read from; ``sheet`` is None for a text file.
    cells : DataFrame
        One column of text for each column of the sheet, "" where blank.
    rows : array of int
        Row of each line of ``cells`` as the spreadsheet shows it, the first being 1.
    sha256 : str
        Digest of the file.
    delimiter : str or None
        Of a text file.
    """

    path: Path
    file: str
    sheet: str | None
    cells: pd.DataFrame
    rows: npt.NDArray[np.int64]
    sha256: str
    delimiter: str | None = None


def read_grids(path: str | Path, *, sheet: str | None = None) -> list[Grid]:
    """Return the sheets of a file: the one named, or all of them; a text file has one.

    Raises
    ------
    UseError
        If there is no such file or sheet, or it is not what its name says.
    """
    path = Path(path)
    content = _content(path)
    sha256 = hashlib.sha256(content).hexdigest()
    if path.suffix.lower() in SPREADSHEETS:
        return _spreadsheet(path, content, sha256, sheet)
    if path.suffix.lower() not in TEXTS:
        raise UseError(
            f"{path.name}: the kind of file is not known; load one of "
            f"{', '.join(TEXTS + SPREADSHEETS)}"
        )
    if sheet is not None:
        raise UseError(f"{path.name} is a text file without sheets; leave out --sheet")
    return [_text(path, content, sha256)]


def _content(path: Path) -> bytes:
    try:
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise UseError(f"there is no file {path}") from error
    except IsADirectoryError as error:
        raise UseError(f"{path} is a folder; name a file in it") from error
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be read: {error.strerror}") from error
    if not content.strip():
        raise UseError(f"{path.name} is empty")
    return content


def _text(path: Path, content: bytes, sha256: str) -> Grid:
    text = _decoded(path, content)
    delimiter = _delimiter(text)
    # A line break inside a quoted cell belongs to the cell, so the text is not split beforehand.
    # Strict, for a quotation mark that is never closed would swallow the rows after it in silence.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[list[str]] = []
    try:
        records.extend(reader)
    except csv.Error as error:
        raise UseError(
            f"{path.name}, row {len(records) + 1}: a quotation mark is not closed, or stands "
            "inside a quoted cell; close it, or write it twice"
        ) from error
    return _grid(path, None, records, sha256, delimiter)


def _decoded(path: Path, content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = content.decode("utf-16", errors="replace")
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            # What a spreadsheet on a western desktop writes when it does not write UTF-8.
            text = content.decode("cp1252", errors="replace")
    if "\x00" in text:
        raise UseError(f"{path.name} is not a text file; if it is a spreadsheet, name it .xlsx")
    return text


def _delimiter(text: str) -> str:
    """Return the delimiter that parts the most cells, and the same number in most lines."""
    lines = [line for line in text.splitlines()[:50] if line.strip()]
    counts = {mark: [line.count(mark) for line in lines] for mark in DELIMITERS}
    steady = {
        mark: sum(number == max(numbers, key=numbers.count) > 0 for number in numbers)
        for mark, numbers in counts.items()
        if numbers
    }
    best = max(steady, key=lambda mark: (steady[mark], max(counts[mark])), default=",")
    # A file of one column has no delimiter, whatever marks stand in its cells.
    return best if steady.get(best) else ","


def _spreadsheet(path: Path, content: bytes, sha256: str, sheet: str | None) -> list[Grid]:
    from python_calamine import CalamineError, CalamineWorkbook  # noqa: PLC0415

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        names = book.sheet_names
        if sheet is not None and sheet not in names:
            close = nearest(sheet, names)
            hint = f'did you mean "{close}"?' if close else f"it has {', '.join(names)}"
            raise UseError(f'{path.name} has no sheet "{sheet}"; {hint}')
        failed = failed_cells(content)
        return [
            _grid(path, name, _records(book, name, failed.get(name, {})), sha256, None)
            for name in (names if sheet is None else [sheet])
        ]
    except CalamineError as error:
        raise UseError(f"{path.name} is not a spreadsheet that can be read: {error}") from error


def _records(book: "CalamineWorkbook", sheet: str, failed: Failed) -> list[list[str]]:
    cells = book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    records = [[_cell_text(value) for value in row] for row in cells]
    for (row, column), text in failed.items():
        if row < len(records) and column < len(records[row]):
            records[row][column] = text
    return records


def _cell_text(value: Any) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        # Beyond 2^53 a spreadsheet has lost the last digits of a number; it shows that.
        return str(int(value)) if value.is_integer() and abs(value) < 2**53 else repr(value)
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    return "" if value is None else str(value)


def _grid(
    path: Path,
    sheet: str | None,
    records: Sequence[Sequence[str]],
    sha256: str,
    delimiter: str | None,
) -> Grid:
    width = max((len(record) for record in records), default=0)
    filled = [[*record, *[""] * (width - len(record))] for record in records]
    cells = pd.DataFrame(filled, columns=range(width), dtype="str")
    return Grid(path, path.name, sheet, cells, np.arange(1, len(records) + 1), sha256, delimiter)
