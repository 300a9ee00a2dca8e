"""The cells of a sheet as numbers of their distinct texts: a long file needs little memory.

Of a million examinations a column holds few distinct texts: dates, verdicts, places. Each is kept
once, and each cell as its number, in as few bytes as the numbers need.
"""

from collections.abc import Sequence
from itertools import zip_longest
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Numbers = npt.NDArray[np.integer[Any]]

#: More combinations than this do not fit into an integer that can still be added to.
_MOST_COMBINED = 2**62


class _Numbering(dict[str, int]):
    """Distinct texts in the order in which they came; looking one up gives it a number."""

    def __missing__(self, text: str) -> int:
        number = self[text] = len(self)
        return number


class Cells:
    """The cells of a sheet, filled row by row.

    Attributes
    ----------
    rows : int
        How many there are.

    Examples
    --------
    >>> cells = Cells()
    >>> cells.add([["joint", "verdict"], ["B-1", "accept"], ["B-2"]])
    >>> cells.row(2), cells.width
    (['B-2', ''], 2)
    """

    def __init__(self) -> None:
        self.rows = 0
        self._numberings: list[_Numbering] = []
        self._pieces: list[list[Numbers]] = []
        self._texts: list[list[str]] = []

    @property
    def width(self) -> int:
        """Number of columns, that of the widest row."""
        return len(self._numberings)

    def add(self, records: Sequence[Sequence[str]]) -> None:
        """Add rows below; a short one is blank from its end on."""
        columns = list(zip_longest(*records, fillvalue=""))
        while self.width < len(columns):
            self._numberings.append(_Numbering({"": 0}))
            self._pieces.append([np.zeros(self.rows, dtype="uint8")])
            self._texts.append([])
        for at, numbering in enumerate(self._numberings):
            if at < len(columns):
                numbers = np.fromiter(
                    map(numbering.__getitem__, columns[at]), "uint32", len(records)
                )
                self._pieces[at].append(numbers.astype(_least_type(len(numbering))))
            else:
                self._pieces[at].append(np.zeros(len(records), dtype="uint8"))
        self.rows += len(records)

    def column(self, at: int) -> tuple[Numbers, list[str]]:
        """Return a column: for each row the number of its text, and the distinct texts."""
        pieces = self._pieces[at]
        if len(pieces) > 1:
            self._pieces[at] = pieces = [np.concatenate(pieces)]
        if len(self._texts[at]) < len(self._numberings[at]):
            self._texts[at] = list(self._numberings[at])
        return pieces[0], self._texts[at]

    def row(self, at: int) -> list[str]:
        """Return one row as text."""
        columns = map(self.column, range(self.width))
        return [texts[numbers[at]] for numbers, texts in columns]

    def frame(self, rows: Any = slice(None), columns: Sequence[int] | None = None) -> pd.DataFrame:
        """Return rows, and of them columns, as text; by default all of them."""
        chosen = range(self.width) if columns is None else columns
        index = pd.RangeIndex(self.rows)[rows]
        found = {}
        for at in chosen:
            numbers, texts = self.column(at)
            found[at] = pd.Series(texts, dtype="str").array.take(numbers[rows])
        return pd.DataFrame(found, index=index, columns=list(chosen), dtype="str")


def _least_type(distinct: int) -> str:
    return "uint8" if distinct <= 2**8 else "uint16" if distinct <= 2**16 else "uint32"


def combined(columns: Sequence[Numbers]) -> npt.NDArray[np.int64]:
    """Return one number for each row of several columns of numbers: equal rows, equal numbers.

    Examples
    --------
    >>> combined([np.array([0, 1, 1]), np.array([5, 5, 5])]).tolist()
    [5, 11, 11]
    """
    rows = np.zeros(len(columns[0]), dtype="int64")
    size = 1
    for numbers in columns:
        more = int(numbers.max(initial=0)) + 1
        if size * more > _MOST_COMBINED:
            distinct, rows = np.unique(rows, return_inverse=True)
            size = len(distinct)
        rows = rows * more + numbers
        size *= more
    return rows
