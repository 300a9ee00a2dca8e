"""Cells of a workbook whose formula failed: the reader of spreadsheets gives them as blank.

A blank place means the whole joint, so a failed formula must not pass for one.
"""

import html
import io
import posixpath
import re
import zipfile

#: Row and column of a cell, from 0, and what it shows, such as ``#DIV/0!``.
Failed = dict[tuple[int, int], str]

_SHEET = re.compile(rb"<(?:\w+:)?sheet\b[^>]*>")
_RELATION = re.compile(rb"<(?:\w+:)?Relationship\b[^>]*>")
_ATTRIBUTE = re.compile(rb"""([\w:]+)\s*=\s*(?:"([^"]*)"|'([^']*)')""")
_FAILED = re.compile(
    rb"""<(?:\w+:)?c\b(?=[^>]*\bt=["']e["'])[^>]*\br=["']([A-Z]+)([0-9]+)["'][^>/]*>(.*?)"""
    rb"</(?:\w+:)?c>",
    re.DOTALL,
)
_VALUE = re.compile(rb"<(?:\w+:)?v>(.*?)</")


def failed_cells(content: bytes) -> dict[str, Failed]:
    """Return the cells with an error of each sheet of an .xlsx or .xlsm workbook, by its name.

    Raises
    ------
    zipfile.BadZipFile, zlib.error
        If a sheet is damaged, or longer than the workbook says. Not every version of the reader of
        spreadsheets minds, and what failed in such a sheet would pass for blank.
    """
    try:
        book = zipfile.ZipFile(io.BytesIO(content))
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        return {}  # an older kind of spreadsheet, or none
    with book:
        try:
            return {name: _failed(book.read(path)) for name, path in _paths(book).items()}
        except (LookupError, ValueError, RuntimeError):
            return {}  # another kind of spreadsheet, or what the reader says is wrong


def _paths(book: zipfile.ZipFile) -> dict[str, str]:
    relations = map(_attributes, _RELATION.findall(book.read("xl/_rels/workbook.xml.rels")))
    target = {relation["Id"]: relation["Target"] for relation in relations}
    sheets = map(_attributes, _SHEET.findall(book.read("xl/workbook.xml")))
    return {
        sheet["name"]: posixpath.join("xl", target[_relation(sheet)]).lstrip("/")
        for sheet in sheets
    }


def _relation(sheet: dict[str, str]) -> str:
    """Return the id of the relation: the attribute "id" of another namespace, mostly "r:id"."""
    return next((value for name, value in sheet.items() if name.endswith(":id")), "")


def _attributes(tag: bytes) -> dict[str, str]:
    found = _ATTRIBUTE.findall(tag)
    return {name.decode(): html.unescape((one or two).decode()) for name, one, two in found}


def _failed(sheet: bytes) -> Failed:
    found: Failed = {}
    some = b't="e"' in sheet or b"t='e'" in sheet
    for column, row, inside in _FAILED.findall(sheet) if some else ():
        number = 0
        for letter in column:
            number = number * 26 + letter - ord("A") + 1
        value = _VALUE.search(inside)
        found[int(row) - 1, number - 1] = value[1].decode() if value else "#ERROR"
    return found
