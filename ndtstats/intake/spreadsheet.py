"""Writing tables that people fill in: templates, correction files, and requests alike."""

import csv
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from ndtstats.columns import TABLES, Column, Table
from ndtstats.errors import CannotGoOn, UseError
from ndtstats.intake.headings import heading

#: A spreadsheet takes text that begins so as a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

#: Rows of a template that have drop-downs.
TEMPLATE_ROWS = 2000

#: Fixed, so that the same content gives the same bytes.
_MADE = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)


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
    overwrite : bool
        Replace a file that is there.
    delimiter : str
        Of a ``.csv`` file.
    """
    if path.exists() and not overwrite:
        raise UseError(f"{path} is there already; name another file, or remove it first")
    try:
        if path.suffix.lower() == ".csv":
            _write_csv(path, frame, delimiter)
        elif path.suffix.lower() == ".xlsx":
            _write_xlsx(path, frame, table, explain, rows or len(frame), pages or {})
        else:
            raise UseError(f"{path.name}: write an .xlsx or a .csv file")
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be written: {error.strerror}") from error


def _write_csv(path: Path, frame: pd.DataFrame, delimiter: str) -> None:
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter, lineterminator="\r\n")
        writer.writerow(frame.columns)
        cells = frame.astype("str").fillna("")
        # An apostrophe marks text in a spreadsheet; numbers such as -3 need none.
        risky = cells.apply(lambda c: c.str.startswith(FORMULA_STARTS))
        risky &= ~cells.apply(lambda c: c.str.fullmatch(r"-?\d+([.,]\d+)?"))
        writer.writerows(cells.where(~risky, "'" + cells).to_numpy().tolist())


def _write_xlsx(
    path: Path,
    frame: pd.DataFrame,
    table: Table,
    explain: bool,
    rows: int,
    pages: Mapping[str, Sequence[str]],
) -> None:
    import xlsxwriter  # noqa: PLC0415

    with xlsxwriter.Workbook(
        path, {"strings_to_formulas": False, "strings_to_urls": False}
    ) as book:
        book.set_properties({"created": _MADE})
        bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        sheet = book.add_worksheet(table.name)
        sheet.freeze_panes(1, 0)
        sheet.write_row(0, 0, list(frame.columns), bold)
        known = {heading(column): column for column in table.columns}
        for number, title in enumerate(frame.columns):
            sheet.set_column(number, number, max(12, len(title) + 2))
            _write_column(sheet, number, frame[title])
            _drop_down(sheet, number, known.get(title), rows)
        if explain:
            _explain(book, bold, table)
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        for name, lines in pages.items():
            page = book.add_worksheet(name)
            page.set_column(0, 0, 100)
            for number, line in enumerate(lines):
                page.write_string(number, 0, line, bold if number == 0 else wrapped)


def _write_column(sheet: Any, number: int, values: "pd.Series[Any]") -> None:
    numeric = pd.api.types.is_numeric_dtype(values)
    for row, value in enumerate(values.astype(object).where(values.notna(), None), start=1):
        if value is None or value == "":
            continue
        if numeric:
            sheet.write_number(row, number, value)
        else:
            sheet.write_string(row, number, str(value))


def _drop_down(sheet: Any, number: int, column: Column | None, rows: int) -> None:
    words = ("yes", "no") if column and column.kind == "flag" else column.allowed if column else ()
    if words and rows:
        rule = {"validate": "list", "source": list(words), "ignore_blank": True}
        sheet.data_validation(1, number, rows, number, rule)


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
