"""Writing tables that people fill in: templates, correction files, and requests alike."""

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from ndtstats.columns import TABLES, Column, Table
from ndtstats.errors import CannotGoOn, UseError
from ndtstats.intake.headings import heading

#: A spreadsheet takes text that begins so as a formula; some take the wide signs of East Asian
#: typing for the same (OWASP, CSV injection; from memory).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

#: Rows of a template that have drop-downs.
TEMPLATE_ROWS = 2000

_NEGATIVE = re.compile(r"-[0-9]+([.,][0-9]+)?")

#: What the name of a sheet may not hold.
_NO_SHEET_NAME = re.compile(r"[\[\]:*?/\\]")

#: Width of a column in characters, at most.
_WIDEST = 40

#: Fixed, so that the same content gives the same bytes.
_MADE = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as it lies on a sheet.

    Attributes
    ----------
    name : str
        Name of the sheet.
    frame : DataFrame
        Cells as they are to stand, under headings as its columns are named.
    table : Table
        Gives the allowed words of those columns whose heading it knows.
    above : sequence of rows of text
        Titles above the headings.
    rows : int or None
        How many rows have drop-downs; None: those of the frame.
    to_print : bool
        Whether it is printed: A4 on its side, one page wide, its headings on every page.
    """

    name: str
    frame: pd.DataFrame
    table: Table
    above: Sequence[Sequence[str]] = ()
    rows: int | None = None
    to_print: bool = False


def write_template(table: str, path: str | Path) -> None:
    """Write an empty table to fill in.

    Parameters
    ----------
    table : str
        Name of a table of :data:`ndtstats.columns.TABLES`.
    path : str or Path
        ``.xlsx``: with drop-downs for allowed words, units in the headings, and a sheet that
        explains each column; ``.csv``: the headings.

    Raises
    ------
    UseError
        If the kind of file is another, or the file is there already.
    """
    path = Path(path)
    if table not in TABLES:
        raise UseError(f'"{table}" is not a table; there are {", ".join(TABLES)}')
    shape = TABLES[table]
    empty = pd.DataFrame(columns=[heading(column) for column in shape.columns], dtype="str")
    write_table(path, empty, shape, explain=True, rows=TEMPLATE_ROWS)


def write_table(
    path: Path,
    frame: pd.DataFrame,
    table: Table,
    *,
    explain: bool = False,
    rows: int | None = None,
    pages: Mapping[str, Sequence[str]] | None = None,
    above: Sequence[Sequence[str]] = (),
    sheet: str | None = None,
    overwrite: bool = False,
    delimiter: str = ",",
) -> None:
    """Write a frame whose column names are headings, with drop-downs where the table has words.

    Parameters
    ----------
    path : Path
        Ends in ``.xlsx`` or ``.csv``.
    frame : DataFrame
        Cells as they are to stand; text stays text, whatever it begins with.
    table : Table
        Gives the allowed words of those columns whose heading it knows.
    explain : bool
        Add a sheet that explains each column (``.xlsx`` only).
    rows : int, optional
        How many rows have drop-downs; by default those of the frame.
    pages : mapping, optional
        Further sheets of text, one line a row (``.xlsx`` only).
    above : sequence of rows of text
        Titles above the headings.
    sheet : str, optional
        Name of the sheet; by default that of the table.
    overwrite : bool
        Replace a file that is there.
    delimiter : str
        Of a ``.csv`` file.
    """
    if path.exists() and not overwrite:
        raise UseError(f"{path} is there already; name another file, or remove it first")
    try:
        if path.suffix.lower() == ".csv":
            _write_csv(path, frame, above, delimiter)
        elif path.suffix.lower() == ".xlsx":
            one = Sheet(sheet or table.name, frame, table, above, rows)
            _write_book(path, [one], pages=pages or {}, explain=table if explain else None)
        else:
            raise UseError(f"{path.name}: write an .xlsx or a .csv file")
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be written: {error.strerror}") from error


def _write_csv(
    path: Path, frame: pd.DataFrame, above: Sequence[Sequence[str]], delimiter: str
) -> None:
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter, lineterminator="\r\n")
        cells = frame.astype("str").fillna("").to_numpy().tolist()
        for row in [*above, list(frame.columns), *cells]:
            writer.writerow([_marked(cell) for cell in row])


def _marked(cell: str) -> str:
    """Return text that would become a formula marked as text; numbers such as -3 are none."""
    risky = cell.startswith(FORMULA_STARTS) and not _NEGATIVE.fullmatch(cell)
    return "'" + cell if risky else cell


def write_sheets(
    path: Path, sheets: Sequence[Sheet], *, pages: Mapping[str, Sequence[str]] | None = None
) -> None:
    """Write several tables as the sheets of one spreadsheet, each as :func:`write_table` does.

    Parameters
    ----------
    path : Path
        Ends in ``.xlsx``.
    sheets : sequence of Sheet
        The tables, the first one in front.
    pages : mapping, optional
        Further sheets of text, one line a row.

    Raises
    ------
    UseError
        If the kind of file is another, or the file is there already.
    """
    if path.suffix.lower() != ".xlsx":
        raise UseError(f"{path.name}: write an .xlsx file")
    if path.exists():
        raise UseError(f"{path} is there already; name another file, or remove it first")
    try:
        _write_book(path, sheets, pages=pages or {})
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be written: {error.strerror}") from error


def _write_book(
    path: Path,
    sheets: Sequence[Sheet],
    *,
    pages: Mapping[str, Sequence[str]],
    explain: Table | None = None,
) -> None:
    import xlsxwriter  # noqa: PLC0415

    with xlsxwriter.Workbook(
        path, {"strings_to_formulas": False, "strings_to_urls": False}
    ) as book:
        book.set_properties({"created": _MADE})
        bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        # Else a spreadsheet makes 7 of the joint 007, and a day of the joint 1-2.
        text = book.add_format({"num_format": "@"})
        for one in sheets:
            _write_sheet(book, one, bold, text)
        if explain is not None:
            _explain(book, bold, explain)
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        for name, lines in pages.items():
            page = book.add_worksheet(name)
            page.set_column(0, 0, 100)
            for number, line in enumerate(lines):
                page.write_string(number, 0, line, bold if number == 0 else wrapped)


def _write_sheet(book: Any, one: Sheet, bold: Any, text: Any) -> None:
    sheet = book.add_worksheet(_NO_SHEET_NAME.sub(" ", one.name)[:31])
    top = len(one.above)
    sheet.freeze_panes(top + 1, 0)
    if one.to_print:
        sheet.set_landscape()
        sheet.set_paper(9)  # A4
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0, top)
    for number, line in enumerate([*one.above, list(one.frame.columns)]):
        sheet.write_row(number, 0, line, bold if number == top else None)
    known = {heading(column): column for column in one.table.columns}
    for number, title in enumerate(one.frame.columns):
        column = known.get(title)
        worded = column is None or column.kind in {"text", "numbers"}
        width = max(12, min(len(title) + 2, _WIDEST))
        sheet.set_column(number, number, width, text if worded else None)
        _write_column(sheet, number, one.frame.iloc[:, number], top + 1, text if worded else None)
        _drop_down(sheet, number, column, top + 1, one.rows or len(one.frame))


def _write_column(sheet: Any, number: int, values: "pd.Series[Any]", first: int, text: Any) -> None:
    numeric = pd.api.types.is_numeric_dtype(values)
    for row, value in enumerate(values.astype(object).where(values.notna(), None), start=first):
        if value is None or value == "":
            continue
        if numeric:
            sheet.write_number(row, number, value)
        else:
            sheet.write_string(row, number, str(value), text)


def _drop_down(sheet: Any, number: int, column: Column | None, first: int, rows: int) -> None:
    words = ("yes", "no") if column and column.kind == "flag" else column.allowed if column else ()
    if words and rows:
        rule = {"validate": "list", "source": list(words), "ignore_blank": True}
        sheet.data_validation(first, number, first + rows - 1, number, rule)


def _explain(book: Any, bold: Any, table: Table) -> None:
    page = book.add_worksheet("columns")
    page.freeze_panes(1, 0)
    page.write_row(0, 0, ["column", "required", "type", "unit", "allowed", "meaning"], bold)
    page.set_column(0, 4, 18)
    page.set_column(5, 5, 70)
    for row, column in enumerate(table.columns, start=1):
        allowed = ", ".join(column.allowed) or _bound(column)
        required = "yes" if column.required else "no"
        cells = [heading(column), required, column.kind, column.unit or "", allowed, column.meaning]
        for number, text in enumerate(cells):
            page.write_string(row, number, text)


def _bound(column: Column) -> str:
    if column.kind == "flag":
        return "yes, no"
    if column.above is not None:
        return f"> {column.above:g}"
    if column.at_least is not None:
        return f">= {column.at_least:g}"
    if column.beyond:
        return f"> {column.beyond}"
    return f">= {column.not_below}" if column.not_below else ""
