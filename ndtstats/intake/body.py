"""The rows under the headings of a sheet, held as numbers of distinct texts and their meanings.

What a text means is worked out once for the whole file; which rows it stands in is arithmetic on
numbers. Rows are decoded a piece at a time, so that a long file needs little memory.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.columns import Column, Table
from ndtstats.errors import UseError
from ndtstats.findings import CODES, Finding
from ndtstats.intake.cells import Numbers
from ndtstats.intake.convert import Unread, clean_text, convert_distinct
from ndtstats.intake.headings import Header, heading
from ndtstats.intake.mapping import Mapping
from ndtstats.intake.readers import Grid
from ndtstats.register.frames import typed

Mask = npt.NDArray[np.bool_]
Places = npt.NDArray[np.integer[Any]]

#: A row is a total if it says so and has no key of its own: common practice, no source.
_TOTAL = re.compile(r"(?i)^(?:sub)?(?:totals?|sum|summe|gesamt)\b.*")

#: A longer cell is shown shortened in a finding.
LONGEST_VALUE = 100

#: Rows decoded at a time.
PIECE = 25_000


@dataclass(slots=True)
class Coded:
    """One column: the number of the text of each row, and what each text is.

    Attributes
    ----------
    numbers : array of int
        For each row of the sheet, so that nothing is copied; or for all of them the same.
    texts : list of str
        The distinct texts, cleaned.
    values : Series
        What each text means, typed.
    blank : array of bool
        Which texts stand for nothing.
    """

    numbers: Numbers
    texts: list[str]
    values: Any
    blank: Mask


@dataclass(slots=True)
class Body:
    """The rows of a file on their way into the register.

    Attributes
    ----------
    table : Table
        What they are rows of.
    grid, header
        Where they came from.
    lines : array of int
        Row of the sheet in which each row stands, counted from 0.
    columns : dict
        The columns of the table; those that the file lacks are missing throughout.
    there : set of str
        Those that the file has.
    findings : list of Finding
        All that is wrong with them.
    notes : list of str
        What was left out without being wrong: blank rows, totals, other columns.
    """

    table: Table
    grid: Grid
    header: Header
    lines: Places
    columns: dict[str, Coded] = field(default_factory=dict)
    there: set[str] = field(default_factory=set)
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.lines)

    @property
    def places(self) -> Places:
        """Row of each as the spreadsheet shows it."""
        return self.lines + 1

    def numbers(self, name: str, rows: Any = slice(None)) -> Numbers:
        """Return the number of the text of each row in a column."""
        numbers: Numbers = self.columns[name].numbers[self.lines[rows]]
        return numbers

    def where(self, name: str, said: Any, rows: Any = slice(None)) -> Mask:
        """Return a mask of the rows whose text in a column is marked in ``said``."""
        marked: Mask = np.asarray(said, dtype=bool)[self.numbers(name, rows)]
        return marked

    def filled(self, name: str, rows: Any = slice(None)) -> Mask:
        """Return a mask of the rows that have a value in a column."""
        return self.where(name, self.columns[name].values.notna(), rows)

    def value_numbers(self, name: str, rows: Any = slice(None)) -> Numbers:
        """Return a number for the value of each row in a column, 0 where it is missing."""
        codes, _ = pd.factorize(self.columns[name].values)
        numbers: Numbers = (codes + 1).astype("uint32")[self.numbers(name, rows)]
        return numbers

    def numbers_of(self, name: str, values: "pd.Series[Any]") -> Numbers:
        """Return for values of a column from elsewhere the number that they would have here.

        All values that the file does not have get one number, higher than any other.
        """
        _, distinct = pd.factorize(self.columns[name].values)
        at = pd.Index(distinct).get_indexer(pd.Index(values))
        numbers = np.where(at >= 0, at + 1, len(distinct) + 1)
        return np.where(values.isna().to_numpy(), 0, numbers).astype("uint32")

    def values(self, name: str, rows: Any = slice(None)) -> Any:
        """Return the values of rows in a column, labelled by the number of their row."""
        index = pd.RangeIndex(len(self))[rows]
        taken = self.columns[name].values.array.take(self.numbers(name, rows))
        return pd.Series(taken, index=index, copy=False)

    def frame(self, rows: Any = slice(None), names: Iterable[str] | None = None) -> pd.DataFrame:
        """Return rows, and of them columns, typed; by default all of them."""
        chosen = self.table.names if names is None else names
        index = pd.RangeIndex(len(self))[rows]
        return pd.DataFrame({name: self.values(name, rows) for name in chosen}, index=index)

    def pieces(self) -> Iterator[slice]:
        """Yield the rows a piece at a time."""
        for start in range(0, len(self), PIECE):
            yield slice(start, min(start + PIECE, len(self)))

    def fill(self, name: str, rows: Places, source: Places) -> None:
        """Let rows have the values of others in a column; what stood in them stays shown."""
        column = self.columns[name]
        distinct, which = np.unique(self.numbers(name, source), return_inverse=True)
        first = len(column.texts)
        column.texts = [*column.texts, *[""] * len(distinct)]
        column.blank = np.append(column.blank, np.ones(len(distinct), dtype=bool))
        column.values = pd.concat([column.values, column.values.take(distinct)], ignore_index=True)
        if len(column.texts) > np.iinfo(column.numbers.dtype).max:
            column.numbers = column.numbers.astype("uint32")
        column.numbers = column.numbers.copy()
        column.numbers[self.lines[rows]] = first + which

    def tell(
        self, code: str, rows: Places, column: str | None, reasons: Any, remedies: Any
    ) -> None:
        """Add a finding for each of some rows; reasons and remedies are for all or for each."""
        if column in self.there:
            texts = self.columns[column].texts
            shown = [_shortened(texts[n]) for n in self.numbers(column, rows).tolist()]
        else:
            shown = [""] * len(rows)
        severity = CODES[code].severity
        told = zip(
            self.places[rows].tolist(), shown, _each(reasons, rows), _each(remedies, rows),
            strict=True,
        )  # fmt: skip
        file, sheet = self.grid.file, self.grid.sheet
        self.findings += [
            Finding(code, severity, why, what, file, sheet, row, column, value or None)
            for row, value, why, what in told
        ]

    @property
    def bad(self) -> Mask:
        """Mask of the rows that some error is about."""
        wrong = [f.row for f in self.findings if f.severity == "error" and f.row is not None]
        mask = np.zeros(len(self), dtype=bool)
        mask[np.searchsorted(self.places, np.array(wrong, dtype="int64"))] = True
        return mask


def _each(text: Any, rows: Places) -> list[str]:
    return [text] * len(rows) if isinstance(text, str) else list(text)


def _shortened(text: str) -> str:
    """Return a cell as a message can hold it: somebody pastes a whole letter into one."""
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 1] + "…"


# ------------------------------------------------------------------ from a sheet


def make_body(grid: Grid, header: Header, table: Table, mapping: Mapping) -> Body:
    """Return the rows under the headings, converted; what cannot be read is told."""
    sheet = [_cleaned(grid, number) for number in range(grid.coded.width)]
    below = np.arange(header.at + 1, grid.coded.rows, dtype="int32")
    body = Body(table, grid, header, below)
    for name, number in header.columns.items():
        body.columns[name] = sheet[number]
    for name, constant in mapping.constants.items():
        if name not in header.columns:
            body.columns[name] = _everywhere(constant.strip(), grid.coded.rows)
    body.there = set(body.columns)
    kept = _without_fillers(body, sheet)
    open_ = kept & _unanswered(body)
    if open_.any():
        body.notes.append(_not_answered(below[open_] + 1))
    body.lines = below[kept & ~open_]
    if not len(body) and not open_.any():
        body.notes.append("there are no rows below the headings")
    if header.ignored:
        body.notes.append(f"columns not read: {', '.join(dict.fromkeys(header.ignored))}")
    for column in table.columns:
        _convert(body, column, mapping)
    return body


def _cleaned(grid: Grid, number: int) -> Coded:
    numbers, raw = grid.coded.column(number)
    # Most are clean already; then both are one text.
    texts = [text if (clean := clean_text(text)) == text else clean for text in raw]
    return Coded(numbers, texts, None, np.array([text == "" for text in texts], dtype=bool))


def _everywhere(text: str, rows: int) -> Coded:
    numbers = np.broadcast_to(np.uint8(0), (rows,))
    return Coded(numbers, [text], None, np.array([text == ""]))


def _without_fillers(body: Body, sheet: Sequence[Coded]) -> Mask:
    """Return a mask without blank rows, totals and repeated headings, and note them."""
    blank = np.ones(len(body), dtype=bool)
    # A long sheet is printed with its headings on every page, and some keep them in the file.
    again = blank.copy()
    for column, title in zip(sheet, body.header.headings, strict=True):
        numbers = column.numbers[body.lines]
        blank &= column.blank[numbers]
        again &= np.array([text == title for text in column.texts], dtype=bool)[numbers]
    total = _totals(body, sheet, blank)
    for number, what in ((int(total.sum()), "totals"), (int(again.sum()), "repeated headings")):
        if number:
            body.notes.append(f"{number} row{'s' if number > 1 else ''} of {what} left out")
    return ~(blank | total | again)


def _totals(body: Body, sheet: Sequence[Coded], blank: Mask) -> Mask:
    required = [c.name for c in body.table.columns if c.required and c.name in body.header.columns]
    lacking = np.zeros(len(body), dtype="uint8")
    for name in required:
        lacking += body.where(name, body.columns[name].blank)
    # A total has no key of its own: at least half of what every row must have is blank.
    hollow = ~blank & (2 * lacking >= len(required)) & bool(required)
    # Only the few hollow rows are looked at cell by cell.
    rows = np.flatnonzero(hollow)
    says_so = np.zeros(len(rows), dtype=bool)
    for column in sheet:
        distinct, which = np.unique(column.numbers[body.lines[rows]], return_inverse=True)
        said = [_TOTAL.match(column.texts[n]) is not None for n in distinct.tolist()]
        says_so |= np.array(said, dtype=bool)[which]
    hollow[rows] = says_so
    return hollow


def _unanswered(body: Body) -> Mask:
    """Return a mask of the rows that ask a question nobody answered yet.

    A list that is handed out comes back with some rows filled in; a row half filled in is one of
    them, so that what is blank there is told.
    """
    there = [name for name in body.table.answers if name in body.there]
    nothing = np.full(len(body), bool(there))
    for name in there:
        nothing &= body.where(name, body.columns[name].blank)
    return nothing


def _not_answered(places: Places) -> str:
    number = len(places)
    rows = summary(map(str, places.tolist()))
    return f"{number} row{'s' if number > 1 else ''} not answered yet passed over: row {rows}"


def _convert(body: Body, column: Column, mapping: Mapping) -> None:
    """Convert one column and tell what cannot be read in it."""
    name = column.name
    if name not in body.there:
        coded = _everywhere("", body.grid.coded.rows)
        coded.values = typed(pd.DataFrame(index=[0]), [column])[name]
        body.columns[name] = coded
        return
    coded = body.columns[name]
    words = {t.casefold(): ours for t, ours in mapping.values.get(name, {}).items()}
    texts = [words.get(text.casefold(), text) for text in coded.texts] if words else coded.texts
    coded.blank = np.array([text == "" for text in texts], dtype=bool)
    # What stands above the headings or in totals only says nothing about the column.
    used = np.zeros(len(texts), dtype=bool)
    used[body.numbers(name)] = True
    distinct = pd.Series(texts, dtype="str")
    done = convert_distinct(
        distinct[used].drop_duplicates(),
        column,
        unit=_unit(body, column, mapping),
        decimal=mapping.decimal,
        dates=mapping.dates,
        points=body.grid.delimiter in {None, ","},
    )
    meaning = pd.Series(done.values.array, index=pd.Index(distinct[done.values.index], dtype="str"))
    values = meaning.reindex(distinct).reset_index(drop=True)
    coded.values = typed(values.to_frame(name), [column])[name]
    _tell_unread(body, name, texts, done.unread)


def _tell_unread(body: Body, name: str, texts: list[str], unread: dict[str, Unread]) -> None:
    for code in sorted({why.code for why in unread.values()}):
        told = np.array([text in unread and unread[text].code == code for text in texts])
        rows = np.flatnonzero(body.where(name, told))
        whys = [unread[texts[number]] for number in body.numbers(name, rows).tolist()]
        reasons, remedies = [why.reason for why in whys], [why.remedy for why in whys]
        body.tell(code, rows, name, reasons, remedies)


def _unit(body: Body, column: Column, mapping: Mapping) -> str | None:
    stated, declared = body.header.units.get(column.name), mapping.units.get(column.name)
    if stated and declared and stated != declared:
        raise UseError(
            f"{body.grid.file}: the heading of {column.name} states {stated}, "
            f"the mapping declares {declared}; mend one of them"
        )
    return declared or stated


def tell_missing(body: Body) -> None:
    """Tell the required cells that are blank and that no other row of the same key fills in."""
    for column in body.table.columns:
        if column.required and column.name in body.there:
            coded = body.columns[column.name]
            rows = np.flatnonzero(body.where(column.name, coded.blank & coded.values.isna()))
            what = f"fill in {heading(column)}: {column.meaning}"
            body.tell("MISSING", rows, column.name, "is blank", what)


def summary(items: Iterable[str], most: int = 5) -> str:
    """Return the first few items and how many more there are."""
    listed = list(items)
    more = f" and {len(listed) - most} more" if len(listed) > most else ""
    return ", ".join(listed[:most]) + more
