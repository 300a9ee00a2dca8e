"""The yard's register as one spreadsheet, the way yards keep it: a sheet for each table.

Titles above the headings, units in them, some stamps in lower case, blank rows and a total at the
end of the long ones. All of it loads as it is.
"""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xlsxwriter

from ndtstats.columns import TABLES
from ndtstats.demo.scenario import Yard
from ndtstats.intake import heading

#: Fixed, so that the same yard gives the same bytes.
_MADE = datetime(2026, 9, 14, tzinfo=UTC).replace(tzinfo=None)

_TITLE = "Yard register, {}: invented for demonstration"

#: Row of the headings, counted from 0: a title and a blank row stand above them.
_HEADINGS_AT = 2

#: Tables with more rows than this have a total below them.
_LONG = 100


def write_book(yard: Yard, path: Path) -> None:
    """Write the tables of the yard, and its visual examinations, as sheets of one spreadsheet."""
    with xlsxwriter.Workbook(path) as book:
        book.set_properties({"created": _MADE, "title": _TITLE.format("all tables")})
        formats = {
            "title": book.add_format({"bold": True, "font_size": 14}),
            "head": book.add_format({"bold": True, "bottom": 1}),
            "date": book.add_format({"num_format": "yyyy-mm-dd"}),
        }
        for name, table in yard.tables.items():
            _write_sheet(book, formats, name, _as_kept(name, table))
        _write_sheet(book, formats, "visual", _as_kept("examinations", yard.visual))


def _as_kept(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """Return a table under the headings, and with the small habits, of those who keep it."""
    columns = TABLES[name].columns
    filled = table.dropna(axis=1, how="all")
    titles = {column.name: heading(column) for column in columns}
    if name == "joints":
        filled = filled.assign(length_mm=filled["length_mm"] / 1000.0)
        titles |= {"length_mm": "length [m]", "thickness_mm": "thickness [mm]"}
    if name == "deposits":
        every = np.arange(len(filled))
        stamps = filled["welder"].where(every % 7 > 0, filled["welder"].str.lower())
        joints = filled["joint"].where(every % 11 > 0, filled["joint"] + " ")
        filled = filled.assign(welder=stamps, joint=joints)
    flags = [c.name for c in columns if c.kind == "flag" and c.name in filled]
    words = {flag: filled[flag].map({True: "yes", False: "no"}) for flag in flags}
    return filled.assign(**words).rename(columns=titles)


def _write_sheet(book: Any, formats: dict[str, Any], name: str, frame: pd.DataFrame) -> None:
    sheet = book.add_worksheet(name)
    sheet.write_string(0, 0, _TITLE.format(name), formats["title"])
    sheet.write_row(_HEADINGS_AT, 0, list(frame.columns), formats["head"])
    sheet.freeze_panes(_HEADINGS_AT + 1, 0)
    for number, title in enumerate(frame.columns):
        sheet.set_column(number, number, max(11, len(title) + 1))
        _write_column(sheet, number, frame[title], formats["date"])
    if len(frame) <= _LONG:
        return
    end = _HEADINGS_AT + 1 + len(frame)
    sheet.write_string(end + 2, 0, f"Total: {len(frame)} rows")
    if "length [m]" in frame:
        at = list(frame.columns).index("length [m]")
        sheet.write_number(end + 2, at, round(float(frame["length [m]"].sum()), 2))


def _write_column(sheet: Any, number: int, values: Any, date: Any) -> None:
    """Write one column of cells; xlsxwriter takes them one by one."""
    dated = pd.api.types.is_datetime64_any_dtype(values)
    plain = values.astype(object).where(values.notna(), None).tolist()
    for row, value in enumerate(plain, start=_HEADINGS_AT + 1):
        if value is None:
            continue
        if dated:
            sheet.write_datetime(row, number, value.to_pydatetime(), date)
        elif isinstance(value, str):
            sheet.write_string(row, number, value)
        else:
            sheet.write_number(row, number, value)
