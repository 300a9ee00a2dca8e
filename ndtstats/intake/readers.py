"""Files in: every cell as text that remembers its row; nothing is guessed into a number here.

Rows are counted as a spreadsheet shows them: in a CSV file each record is one row, also one with a
line break inside a quoted cell, and a blank line is a row of its own.
"""

import codecs
import csv
import hashlib
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import CannotGoOn, UseError, nearest
from ndtstats.intake.cells import Cells
from ndtstats.unpacking import LONGEST_CELL, MOST_COLUMNS, TooMuch, refuse_too_much, unpack

DELIMITERS = (";", ",", "\t", "|")
SPREADSHEETS = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
TEXTS = (".csv", ".txt", ".tsv")

#: Bytes of a file, at most: ten times what a million examinations need.
LARGEST_FILE = 2**30

#: Rows read at a time, and bytes.
CHUNK = 20_000
_BLOCK = 2**20


@dataclass(frozen=True, slots=True)
class Grid:
    """The cells of one sheet as text.

    Attributes
    ----------
    path : Path
        Where the file is.
    file, sheet : str
        What it was read from; ``sheet`` is None for a text file.
    coded : Cells
        The cells; the first row of the sheet is row 0 of them.
    sha256 : str
        Digest of the file.
    delimiter : str or None
        Of a text file.
    """

    path: Path
    file: str
    sheet: str | None
    coded: Cells
    sha256: str
    delimiter: str | None = None

    @property
    def cells(self) -> pd.DataFrame:
        """All cells as text, a column for each column of the sheet, "" where blank."""
        return self.coded.frame()

    @property
    def rows(self) -> npt.NDArray[np.int64]:
        """Row of each line of ``cells`` as the spreadsheet shows it, the first being 1."""
        return np.arange(1, self.coded.rows + 1)


def read_grids(path: str | Path, *, sheet: str | None = None) -> list[Grid]:
    """Return the sheets of a file: the one named, or all of them; a text file has one.

    Raises
    ------
    UseError
        If there is no such file or sheet, or it is not what its name says.
    """
    path = Path(path)
    before = _looked_at(path)
    if path.suffix.lower() in SPREADSHEETS:
        content = _content(path)
        return _spreadsheet(path, content, hashlib.sha256(content).hexdigest(), sheet)
    _require_text(path, sheet)
    grid = _text(path)
    if _looked_at(path) != before:
        raise CannotGoOn(f"{path} was changed while it was read; load it again")
    return [grid]


def text_sha256(path: Path, sheet: str | None) -> str | None:
    """Return the digest of a text file without reading its rows; None for any other file.

    Raises
    ------
    UseError
        If there is no such file, or it cannot be read as text.
    """
    _looked_at(path)
    if path.suffix.lower() in SPREADSHEETS:
        return None
    _require_text(path, sheet)
    return _survey(path).sha256


def _require_text(path: Path, sheet: str | None) -> None:
    if path.suffix.lower() not in TEXTS:
        raise UseError(
            f"{shown(path)}: the kind of file is not known; load one of "
            f"{', '.join(TEXTS + SPREADSHEETS)}"
        )
    if sheet is not None:
        raise UseError(f"{shown(path)} is a text file without sheets; leave out --sheet")


def shown(path: Path) -> str:
    """Return the name of a file as it may be told and kept, whatever somebody called it."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in path.name)


def _looked_at(path: Path) -> tuple[int, int]:
    """Return size and time of the last change of a file that may be read."""
    try:
        about = path.stat()
    except FileNotFoundError as error:
        raise UseError(f"there is no file {path}") from error
    except OSError as error:
        raise _cannot_read(path, error) from error
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
    return about.st_size, about.st_mtime_ns


def _cannot_read(path: Path, error: OSError) -> CannotGoOn:
    return CannotGoOn(f"{path} cannot be read: {error.strerror}")


def _content(path: Path) -> bytes:
    content = b"".join(_blocks(path))
    if not content.strip():
        raise UseError(f"{shown(path)} is empty")
    return content


def _blocks(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK):
                yield block
    except OSError as error:
        raise _cannot_read(path, error) from error


def _text(path: Path) -> Grid:
    text = _survey(path)
    try:
        with path.open(encoding=text.encoding, newline="") as file:
            start = file.read(_BLOCK)
            delimiter = _delimiter(start)
            cells = _plain_records(path, text, delimiter, start) if text.plain else None
            if cells is None:
                file.seek(0)
                cells = _records(path, file, delimiter)
    except OSError as error:
        raise _cannot_read(path, error) from error
    cells.close()
    return Grid(path, shown(path), None, cells, text.sha256, delimiter)


def _plain_records(path: Path, text: "_Survey", delimiter: str, start: str) -> Cells | None:
    """Return the cells of a file without quoted cells, read quickly.

    None if some row is wider than those at its start, or some cell too long: then it is read with
    more care.
    """
    width = 1 + max(line.count(delimiter) for line in start.split("\n"))
    if width > MOST_COLUMNS:
        return None
    cells = Cells()
    try:
        with pd.read_csv(
            path, sep=delimiter, header=None, names=list(range(width)), dtype="str",
            na_filter=False, quoting=csv.QUOTE_NONE, skip_blank_lines=False,
            encoding=text.encoding, chunksize=CHUNK,
        ) as pieces:  # fmt: skip
            for piece in pieces:
                cells.add_columns([piece[number].to_numpy(dtype=object) for number in piece])
    except pd.errors.ParserError:
        return None
    return cells if cells.longest <= LONGEST_CELL else None


def _records(path: Path, file: Iterable[str], delimiter: str) -> Cells:
    # A line break inside a quoted cell belongs to the cell, so the text is not split beforehand.
    # Strict, for a quotation mark that is never closed would swallow the rows after it in silence.
    reader = csv.reader(file, delimiter=delimiter, strict=True)
    cells = Cells()
    records = [[""]]
    while records:
        records, broken = _some(reader)
        try:
            _refuse_too_much(records, cells.rows)
        except TooMuch as error:
            raise UseError(f"{shown(path)} has too much in it: {error}") from error
        cells.add(records)
        if broken is not None:
            # A mark that is never closed makes one long cell of all that follows.
            also = ", or a cell is far too long" if "limit" in str(broken) else ""
            raise UseError(
                f"{shown(path)}, row {cells.rows + 1}: a quotation mark is not closed, or stands "
                f"inside a quoted cell{also}; close it, or write it twice"
            ) from broken
    return cells


def _some(reader: Iterator[list[str]]) -> tuple[list[list[str]], csv.Error | None]:
    """Return the next records, and what ended them if it was not their number."""
    records: list[list[str]] = []
    try:
        for record in islice(reader, CHUNK):
            records.append(record)  # noqa: PERF402  (what came before an error is kept)
    except csv.Error as error:
        return records, error
    return records, None


def _refuse_too_much(records: list[list[str]], before: int) -> None:
    """Refuse records that no table has; the first follows so many others."""
    widest = max(map(len, records), default=0)
    longest = max(map(len, chain.from_iterable(records)), default=0)
    if widest > MOST_COLUMNS or longest > LONGEST_CELL:
        for row, record in enumerate(records, start=before + 1):
            refuse_too_much(record, row)


class _Survey(NamedTuple):
    """What reading a text file as bytes shows: how to read it, whether nothing in it is quoted."""

    encoding: str
    sha256: str
    plain: bool


def _survey(path: Path) -> _Survey:
    sha256, start, before = hashlib.sha256(), b"", b""
    filled = null = quoted = False
    for block in _blocks(path):
        sha256.update(block)
        start = start or block[:2]
        filled = filled or not block.isspace()
        null = null or b"\x00" in block
        # A return without a line feed ends a row for some readers and not for others.
        lone = block.count(b"\r") > block.count(b"\r\n") or before.endswith(b"\r")
        quoted = quoted or lone or b'"' in block
        before = block[-1:]
    if not filled:
        raise UseError(f"{shown(path)} is empty")
    wide = start in {b"\xff\xfe", b"\xfe\xff"}
    encoding = None if null and not wide else _encoding_that_reads(path, wide=wide)
    if encoding is None or (wide and any("\x00" in text for text in _decoded(path, encoding))):
        raise UseError(f"{shown(path)} is not a text file; if it is a spreadsheet, name it .xlsx")
    return _Survey(encoding, sha256.hexdigest(), not (wide or quoted))


def _encoding_that_reads(path: Path, *, wide: bool) -> str:
    row = _unreadable_row(path, "utf-16" if wide else "utf-8")
    if row is None:
        return "utf-16" if wide else "utf-8-sig"
    # Halves of characters could be read as cp1252, and are no text in it either.
    if not wide and _unreadable_row(path, "utf-8", "surrogatepass") is not None:
        # What a spreadsheet on a western desktop writes when it does not write UTF-8.
        row = _unreadable_row(path, "cp1252")
        if row is None:
            return "cp1252"
    raise UseError(
        f"{shown(path)}, row {row}: a character cannot be read; save the file as CSV in UTF-8"
    )


def _unreadable_row(path: Path, encoding: str, errors: str = "strict") -> int | None:
    """Return the row of the first character that cannot be read; None if all can."""
    row = 1
    try:
        for text in _decoded(path, encoding, errors):
            row += text.count("\n")
    except UnicodeDecodeError as error:
        return row + error.object[: error.start].count(b"\n")
    return None


def _decoded(path: Path, encoding: str, errors: str = "strict") -> Iterator[str]:
    decoder = codecs.getincrementaldecoder(encoding)(errors)
    for block in _blocks(path):
        yield decoder.decode(block)
    yield decoder.decode(b"", final=True)


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
    return [
        Grid(path, shown(path), name, _coded(records), sha256) for name, records in sheets.items()
    ]


def _coded(records: list[list[str]]) -> Cells:
    cells = Cells()
    for start in range(0, len(records), CHUNK):
        cells.add(records[start : start + CHUNK])
    cells.close()
    return cells
