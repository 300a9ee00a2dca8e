"""The cells of a spreadsheet as text, read by what stands in them and not by how they look."""

import io
import zipfile
from datetime import date, datetime, time
from typing import Any, Final

from python_calamine import CalamineWorkbook

from ndtstats.unpacking import TooMuch, refuse_too_much
from ndtstats.unpacking.cell_errors import Failed, failed_cells

#: Bytes of a workbook when unpacked, at most.
MOST_UNPACKED: Final = 2 * 2**30

#: How an encrypted workbook begins, and what stands in it: it is a compound file with one stream.
_COMPOUND: Final = bytes.fromhex("D0CF11E0A1B11AE1")
_ENCRYPTED: Final = "EncryptedPackage".encode("utf-16-le")


def read_cells(content: bytes, sheet: str | None) -> dict[str, Any]:
    """Return ``names`` of the sheets, ``sheets`` by name as rows of text, and what is ``wrong``.

    Never raises for the content of a file, whatever it is; what breaks the process is told by whom
    started it.
    """
    answer: dict[str, Any] = {"names": [], "sheets": {}, "wrong": _unreadable(content)}
    if answer["wrong"]:
        return answer
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        answer["names"] = list(book.sheet_names)
        failed = failed_cells(content)
        for name in answer["names"] if sheet is None else [sheet]:
            if name in answer["names"]:
                answer["sheets"][name] = _records(book, name, failed.get(name, {}))
    except (KeyboardInterrupt, MemoryError):
        raise
    except TooMuch as error:
        answer["wrong"] = f"has too much in it: {error}"
    except BaseException as error:  # the reader's own breakdowns are no Exceptions
        answer["wrong"] = f"is not a spreadsheet that can be read: {_first_line(error)}"
    return answer


def _unreadable(content: bytes) -> str | None:
    if content.startswith(_COMPOUND) and _ENCRYPTED in content:
        return "is encrypted; save it without a password and load that"
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as book:
            size = sum(part.file_size for part in book.infolist())
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        return None  # an older kind of spreadsheet, or none: the reader says
    if size > MOST_UNPACKED:
        return f"unpacks to {size / 2**30:.1f} GB, which no table needs; save the sheet as .csv"
    return None


def _first_line(error: BaseException) -> str:
    lines = str(error).splitlines()
    return lines[0][:200] if lines else type(error).__name__


def _records(book: CalamineWorkbook, sheet: str, failed: Failed) -> list[list[str]]:
    cells = book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    records: list[list[str]] = []
    for number, row in enumerate(cells, start=1):
        record = [cell_text(value) for value in row]
        refuse_too_much(record, number)
        records.append(record)
    for (at, column), text in failed.items():
        if at < len(records) and column < len(records[at]):
            records[at][column] = text
    return records


def cell_text(value: Any) -> str:
    """Return a cell as text.

    Examples
    --------
    >>> cell_text(12.0), cell_text(True), cell_text(date(2026, 3, 1))
    ('12', 'yes', '2026-03-01')
    """
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
