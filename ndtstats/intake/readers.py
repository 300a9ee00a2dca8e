"""Files in: every cell as text that remembers its row; nothing is guessed into a number here.

Rows are counted as a spreadsheet shows them: in a CSV file each record is one row, also one with a
line break inside a quoted cell, and a blank line is a row of its own.
"""

import csv
import hashlib
import io
import stat
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import CannotGoOn, UseError, nearest
from ndtstats.unpacking import TooMuch, refuse_too_much, unpack

DELIMITERS = (";", ",", "\t", "|")
SPREADSHEETS = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
TEXTS = (".csv", ".txt", ".tsv")

#: Bytes of a file, at most: ten times what a million examinations need.
LARGEST_FILE = 2**30


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
            f"{shown(path)}: the kind of file is not known; load one of "
            f"{', '.join(TEXTS + SPREADSHEETS)}"
        )
    if sheet is not None:
        raise UseError(f"{shown(path)} is a text file without sheets; leave out --sheet")
    return [_text(path, content, sha256)]


def shown(path: Path) -> str:
    """Return the name of a file as it may be told and kept, whatever somebody called it."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in path.name)


def _content(path: Path) -> bytes:
    try:
        about = path.stat()
        if stat.S_ISDIR(about.st_mode):
            raise UseError(f"{shown(path)} is a folder; name a file in it")
        # A pipe or a device may never end.
        if not stat.S_ISREG(about.st_mode):
            raise UseError(f"{shown(path)} is not a file; name one")
        if about.st_size > LARGEST_FILE:
            raise UseError(
                f"{shown(path)} has {about.st_size / 2**30:.1f} GB, {LARGEST_FILE / 2**30:.0f} GB "
                "may be read; load it in parts"
            )
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise UseError(f"there is no file {path}") from error
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be read: {error.strerror}") from error
    if not content.strip():
        raise UseError(f"{shown(path)} is empty")
    return content


def _text(path: Path, content: bytes, sha256: str) -> Grid:
    text = _decoded(path, content)
    delimiter = _delimiter(text)
    # A line break inside a quoted cell belongs to the cell, so the text is not split beforehand.
    # Strict, for a quotation mark that is never closed would swallow the rows after it in silence.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[list[str]] = []
    try:
        for record in reader:
            refuse_too_much(record, len(records) + 1)
            records.append(record)
    except csv.Error as error:
        # A mark that is never closed makes one long cell of all that follows.
        also = ", or a cell is far too long" if "limit" in str(error) else ""
        raise UseError(
            f"{shown(path)}, row {len(records) + 1}: a quotation mark is not closed, or stands "
            f"inside a quoted cell{also}; close it, or write it twice"
        ) from error
    except TooMuch as error:
        raise UseError(f"{shown(path)} has too much in it: {error}") from error
    return _grid(path, None, records, sha256, delimiter)


def _decoded(path: Path, content: bytes) -> str:
    wide = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    no_text = UseError(f"{shown(path)} is not a text file; if it is a spreadsheet, name it .xlsx")
    if b"\x00" in content and not wide:
        raise no_text
    try:
        try:
            text = content.decode("utf-16" if wide else "utf-8-sig")
        except UnicodeDecodeError:
            if wide or _has_half_characters(content):
                raise
            # What a spreadsheet on a western desktop writes when it does not write UTF-8.
            text = content.decode("cp1252")
    except UnicodeDecodeError as error:
        row = content[: error.start].count(b"\n") + 1
        raise UseError(
            f"{shown(path)}, row {row}: a character cannot be read; save the file as CSV in UTF-8"
        ) from error
    if "\x00" in text:
        raise no_text
    return text


def _has_half_characters(content: bytes) -> bool:
    """Return whether bytes are UTF-8 but for halves of characters (surrogates)."""
    try:
        content.decode("utf-8", errors="surrogatepass")
    except UnicodeDecodeError:
        return False
    return True


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
    names, sheets = unpack(shown(path), content, sheet)
    if sheet is not None and sheet not in names:
        close = nearest(sheet, names)
        hint = f'did you mean "{close}"?' if close else f"it has {', '.join(names)}"
        raise UseError(f'{shown(path)} has no sheet "{sheet}"; {hint}')
    return [_grid(path, name, records, sha256, None) for name, records in sheets.items()]


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
    return Grid(path, shown(path), sheet, cells, np.arange(1, len(records) + 1), sha256, delimiter)
