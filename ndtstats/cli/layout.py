"""Tables of text: whole where nobody looks, and on a terminal laid out so that no word is broken.

What does not fit on a terminal is made narrower in this order: columns without content go, gaps
shrink, headings and long texts take more lines, and at last whole columns stand below their row.
"""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace

from rich.cells import cell_len

#: Blanks between columns, and where there is little room.
_GAP, _LITTLE = 3, 2

#: A column of text may be made so narrow, and no narrower; a word of a cell is whole up to so long.
_LEAST, _WORD = 18, 30

#: What stands before a value below its row.
_BELOW = "    "


@dataclass(frozen=True, slots=True)
class Laid:
    """A column as text: heading, cells, and whether they are set to the right."""

    heading: str
    cells: list[str]
    right: bool

    @property
    def width(self) -> int:
        """Letters of the longest cell."""
        return max(map(cell_len, self.cells), default=0)


def table_lines(columns: Sequence[Laid], width: int | None) -> list[str]:
    """Return the lines of a table.

    Parameters
    ----------
    columns : sequence of Laid
        All of the same length.
    width : int, optional
        Of the terminal; None: there is none, and every row stands on one line.

    Examples
    --------
    >>> for line in table_lines([Laid("welder", ["K7"], False), Laid("m", ["1.5"], True)], None):
    ...     print(line)
    welder     m
    ────────────
    K7       1.5
    """
    whole = [max(column.width, cell_len(column.heading)) for column in columns]
    if width is None or _taken(whole, _GAP) <= width:
        return _drawn(columns, whole, _GAP, [])
    filled = [column for column in columns if column.width]
    below: list[Laid] = []
    while (widths := _narrowed(filled, width)) is None:
        # Of equal ones the last: what is told first matters most.
        widest = max(reversed(filled[1:]), key=lambda column: (not column.right, column.width))
        filled = [column for column in filled if column is not widest]
        below.append(widest)
    return _drawn(filled, widths, _LITTLE, below)


def _taken(widths: Sequence[int], gap: int) -> int:
    return sum(widths) + gap * (len(widths) - 1)


def _narrowed(columns: Sequence[Laid], width: int) -> list[int] | None:
    """Return widths with which the columns fit, long texts narrowed; None if there are none."""
    widths = [max(column.width, _longest_word(column.heading)) for column in columns]
    least = [
        full
        if column.right
        else min(full, max(_LEAST, _longest_word(column.heading), _word(column)))
        for column, full in zip(columns, widths, strict=True)
    ]
    spare = width - _taken(least, _LITTLE)
    if len(columns) > 1 and spare < 0:
        return None
    # What room is left goes to the texts from left to right, and then to the headings.
    headings = [cell_len(column.heading) for column in columns]
    for number, full in [*enumerate(widths), *enumerate(headings)]:
        more = max(min(full - least[number], spare), 0)
        least[number] += more
        spare -= more
    return least


def _longest_word(text: str) -> int:
    return max(map(cell_len, text.replace(" %", "_%").split()), default=0)


def _word(column: Laid) -> int:
    """Return the room that the longest word of a column needs."""
    return min(max(map(_longest_word, column.cells), default=0), _WORD)


def _drawn(
    columns: Sequence[Laid], widths: Sequence[int], gap: int, below: Sequence[Laid]
) -> list[str]:
    """Return heading, rule and rows; what stands below a row is named."""
    heads = [replace(column, cells=[column.heading]) for column in columns]
    lines = _row(heads, widths, gap, 0, at_foot=True)
    lines.append("─" * _taken(widths, gap))
    room = _taken(widths, gap)
    for number in range(len(columns[0].cells)):
        lines += _row(columns, widths, gap, number)
        for column in below:
            if column.cells[number]:
                lines += _named(f"{column.heading}: {column.cells[number]}", room)
    return lines


def _row(
    columns: Sequence[Laid], widths: Sequence[int], gap: int, number: int, *, at_foot: bool = False
) -> list[str]:
    """Return the lines of one row; headings stand at the foot of theirs."""
    parts = [
        _broken(column.cells[number], width) for column, width in zip(columns, widths, strict=True)
    ]
    deep = max(map(len, parts))
    filled = [
        [""] * (deep - len(part)) + part if at_foot else part + [""] * (deep - len(part))
        for part in parts
    ]
    lines = []
    for line in zip(*filled, strict=True):
        cells = [
            " " * (width - cell_len(cell)) + cell
            if column.right
            else cell + " " * (width - cell_len(cell))
            for column, width, cell in zip(columns, widths, line, strict=True)
        ]
        lines.append((" " * gap).join(cells).rstrip())
    return lines


def _broken(cell: str, width: int) -> list[str]:
    """Return a cell broken between words; a word that is longer than the column is broken too."""
    if cell_len(cell) <= width:
        return [cell]
    return wrapped(cell, max(width, 1)) or [""]


def wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Return text in lines broken between words, and never between a number and its per cent.

    Examples
    --------
    >>> wrapped("a limit of 10 % is borne", 13)
    ['a limit of', '10 % is borne']
    """
    lines = textwrap.wrap(
        text.replace(" %", "\N{NO-BREAK SPACE}%"), width, initial_indent=first,
        subsequent_indent=rest, break_on_hyphens=False, replace_whitespace=False,
    )  # fmt: skip
    return [line.replace("\N{NO-BREAK SPACE}%", " %") for line in lines]


def _named(text: str, room: int) -> list[str]:
    return wrapped(text, max(room, 40), _BELOW, f"{_BELOW}  ")
