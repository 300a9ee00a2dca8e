"""The cells of a sheet as numbers of their distinct texts: a long file needs little memory.

Of a million examinations a column holds few distinct texts: dates, verdicts, places. Each is kept
once, and each cell as its number, in as few bytes as the numbers need.
"""

from collections.abc import Iterable, Sequence
from itertools import zip_longest
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

Numbers = npt.NDArray[np.integer[Any]]

#: More combinations than this do not fit into an integer that can still be added to.
_MOST_COMBINED = 2**62

#: Fewer are held in half the memory.
_MOST_IN_FEW_BYTES = 2**32

_LOOKED_UP_AT_ONCE = 100_000


class _Numbering(dict[str, int]):
    """Distinct texts in the order in which they came; looking one up gives it a number."""

    def __missing__(self, text: str) -> int:
        number = self[text] = len(self)
        return number


class Cells:
    """The cells of a sheet: filled row by row, closed, and then read.

    Attributes
    ----------
    rows : int
        How many there are.

    Examples
    --------
    >>> cells = Cells()
    >>> cells.add([["joint", "verdict"], ["B-1", "accept"], ["B-2"]])
    >>> cells.close()
    >>> cells.row(2), cells.width
    (['B-2', ''], 2)
    """

    def __init__(self) -> None:
        self.rows = 0
        self._numberings: list[_Numbering] = []
        self._texts: list[list[str]] = []
        self._columns: list[Numbers] = []

    @property
    def width(self) -> int:
        """Number of columns, that of the widest row."""
        return len(self._columns)

    def add(self, records: Sequence[Sequence[str]]) -> None:
        """Add rows below; a short one is blank from its end on."""
        columns = list(zip_longest(*records, fillvalue=""))
        self._widen(len(columns))
        for at, texts in enumerate(columns):
            known = map(self._numberings[at].__getitem__, texts)
            self._put(at, np.fromiter(known, "uint32", len(records)))
        self.rows += len(records)

    def add_columns(self, columns: Sequence[npt.NDArray[Any]]) -> None:
        """Add rows below, given as columns of equal length."""
        self._widen(len(columns))
        for at, texts in enumerate(columns):
            numbers, distinct = pd.factorize(texts)
            known = map(self._numberings[at].__getitem__, distinct)
            self._put(at, np.fromiter(known, "uint32", len(distinct))[numbers])
        self.rows += len(columns[0])

    def _widen(self, width: int) -> None:
        while self.width < width:
            self._numberings.append(_Numbering({"": 0}))
            self._columns.append(np.zeros(0, dtype="uint8"))

    def _put(self, at: int, numbers: Numbers) -> None:
        """Write numbers below those of a column, in a longer or wider array where they need it."""
        column, end = self._columns[at], self.rows + len(numbers)
        least = np.min_scalar_type(len(self._numberings[at]))
        if end > len(column) or least.itemsize > column.itemsize:
            # Twice as long each time: memory that nothing was written to yet is not taken.
            longer = np.zeros(max(2 * end, len(column)), dtype=max(least, column.dtype))
            longer[: min(self.rows, len(column))] = column[: self.rows]
            self._columns[at] = column = longer
        column[self.rows : end] = numbers

    def close(self) -> None:
        """Take note that no rows follow: what finds the number of a text is let go of."""
        for at, column in enumerate(self._columns):
            if len(column) < self.rows:  # blank to its end
                self._put(at, np.zeros(0, dtype="uint8"))
        self._texts = [list(numbering) for numbering in self._numberings]
        self._numberings = []

    @property
    def longest(self) -> int:
        """Characters of the longest cell, while rows may follow."""
        return max((len(text) for texts in self._numberings for text in texts), default=0)

    def column(self, at: int) -> tuple[Numbers, list[str]]:
        """Return a column: for each row the number of its text, and the distinct texts."""
        return self._columns[at][: self.rows], self._texts[at]

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


def combined(columns: Iterable[Numbers]) -> Numbers:
    """Return one number for each row of several columns of numbers: equal rows, equal numbers.

    Examples
    --------
    >>> combined([np.array([0, 1, 1]), np.array([5, 5, 5])]).tolist()
    [5, 11, 11]
    """
    rows: Numbers = np.zeros(0, dtype="uint32")
    size = 1
    for numbers in columns:
        more = int(numbers.max(initial=0)) + 1
        if size * more > _MOST_COMBINED:
            distinct, rows = np.unique(rows, return_inverse=True)
            size = len(distinct)
        if size * more > _MOST_IN_FEW_BYTES:
            rows = rows.astype("int64", copy=False)
        rows = rows * more + numbers if len(rows) else numbers.astype(rows.dtype)
        size *= more
    return rows


class Groups(NamedTuple):
    """The rows whose number stands more than once, number by number.

    Attributes
    ----------
    rows : array of int
        The rows, those of one number together and in order.
    starts : array of int
        Where in ``rows`` each number begins.
    first : array of int
        For each of ``rows``, where its number begins.
    """

    rows: npt.NDArray[np.int64]
    starts: npt.NDArray[np.int64]
    first: npt.NDArray[np.int64]


def several(numbers: Numbers) -> Groups:
    """Return the rows whose number is that of another row.

    Examples
    --------
    >>> several(np.array([7, 5, 7, 3, 5])).rows.tolist()
    [1, 4, 0, 2]
    """
    rows = np.flatnonzero(_among(numbers, _repeated(numbers)))
    rows = rows[np.argsort(numbers[rows], kind="stable")]
    begins = np.ones(len(rows), dtype=bool)
    begins[1:] = numbers[rows[1:]] != numbers[rows[:-1]]
    starts = np.flatnonzero(begins)
    return Groups(rows, starts, starts[np.cumsum(begins) - 1])


def _repeated(numbers: Numbers) -> Numbers:
    ordered = np.sort(numbers)
    return np.unique(ordered[1:][ordered[1:] == ordered[:-1]])


def _among(numbers: Numbers, wanted: Numbers) -> npt.NDArray[np.bool_]:
    """Return which numbers are wanted, looked up a part at a time: sorting them all takes room."""
    found = np.zeros(len(numbers), dtype=bool)
    if len(wanted):
        for start in range(0, len(numbers), _LOOKED_UP_AT_ONCE):
            part = slice(start, start + _LOOKED_UP_AT_ONCE)
            found[part] = np.isin(numbers[part], wanted)
    return found
