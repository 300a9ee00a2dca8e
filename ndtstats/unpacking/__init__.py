"""Reading spreadsheets in a process of its own, with bounded memory and time.

A spreadsheet is a packed file of somebody else: it can unpack to more than any memory holds, name a
cell in the last corner of the sheet, or bring the reader down. Here that ends a small process and
is told as a sentence. The process imports nothing but the reader, so that it starts at once.
"""

import marshal
import subprocess
import sys
from typing import Any, Final, NamedTuple

from ndtstats.errors import UseError

#: Characters in a cell, at most: a letter that somebody pasted, and not a book. Spreadsheets
#: themselves hold 32,767 (from memory).
LONGEST_CELL: Final = 100_000

#: Columns of a table, at most; nobody reads a wider one.
MOST_COLUMNS: Final = 1_000


class Unpacked(NamedTuple):
    """A spreadsheet: the names of its sheets, and the rows of text of those that were read."""

    names: list[str]
    sheets: dict[str, list[list[str]]]


class TooMuch(Exception):  # noqa: N818  (reads as the sentence it is)
    """A row or a cell that no table has."""


def refuse_too_much(record: list[str], row: int) -> None:
    """Cut blank cells off the end of a wide row, and refuse what no table has.

    Raises
    ------
    TooMuch
        If the row is still too wide, or a cell too long.
    """
    if len(record) > MOST_COLUMNS:
        while record and not record[-1]:
            record.pop()
    if len(record) > MOST_COLUMNS:
        raise TooMuch(f"row {row} has {len(record):,} columns, {MOST_COLUMNS:,} may be read")
    longest = max(map(len, record), default=0)
    if longest > LONGEST_CELL:
        raise TooMuch(
            f"row {row} has a cell of {longest:,} characters, {LONGEST_CELL:,} may be read"
        )


def unpack(name: str, content: bytes, sheet: str | None) -> Unpacked:
    """Return the cells of a spreadsheet as text.

    Parameters
    ----------
    name : str
        How messages call the file.
    content : bytes
        The file.
    sheet : str or None
        The only sheet to read; one that does not exist is left out.

    Raises
    ------
    UseError
        If it cannot be read, or needs more memory or time than is allowed.
    """
    command = [sys.executable, "-P", "-m", "ndtstats.unpacking"]
    # Own program, own arguments.
    done = subprocess.run(  # noqa: S603
        [*command, sheet or ""], input=content, capture_output=True, check=False
    )
    if done.returncode != 0:
        raise UseError(
            f"{name} cannot be unpacked within the memory and time that a table may need; if it is "
            "sound, save the sheet as .csv and load that"
        )
    answer: dict[str, Any] = marshal.loads(done.stdout)  # noqa: S302  (written by ourselves)
    if answer["wrong"]:
        raise UseError(f"{name} {answer['wrong']}")
    return Unpacked(answer["names"], answer["sheets"])
