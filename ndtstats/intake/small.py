"""Small files that answer one question and stay outside the register: trials and double readings.

They are read as every other file is: any spreadsheet or CSV file, all its problems told at once.
"""

from pathlib import Path

import pandas as pd

from ndtstats.columns import Column, Table
from ndtstats.errors import UseError
from ndtstats.intake.body import make_body
from ndtstats.intake.draft import Draft, draft_of, tell_bounds
from ndtstats.intake.headings import find_header, heading, place_of, refuse_doubles
from ndtstats.intake.mapping import Mapping
from ndtstats.intake.readers import read_grids

#: Problems told at once; the rest is counted.
MOST_TOLD = 40

#: The same images read by two readers or more.
READINGS = Table(
    "readings",
    "the same images read by several readers, each by himself",
    ("image", "reader"),
    (
        Column("image", "text", "number of the image", required=True),
        Column("reader", "text", "who read it", required=True),
        Column("verdict", "text", "accept, reject or re-shoot", required=True,
               allowed=("accept", "reject", "re-shoot")),
    ),
)  # fmt: skip

#: Flaws that are known to be there, and whether a method found them.
FLAWS = Table(
    "flaws",
    "known flaws of a trial, each looked at once",
    (),
    (
        Column("size_mm", "number", "size of the flaw", required=True, unit="mm", above=0.0),
        Column("found", "flag", "whether the method found it", required=True),
    ),
)


def read_small(path: str | Path, table: Table) -> pd.DataFrame:
    """Return the rows of a small file, typed.

    Parameters
    ----------
    path : str or Path
        A CSV file, or a spreadsheet whose first sheet with the headings is read.
    table : Table
        What stands in it: :data:`READINGS` or :data:`FLAWS`.

    Raises
    ------
    UseError
        If the file cannot be read, a column is missing, or a cell is wrong: all such cells, each
        with its row and column.
    """
    grids = [grid for grid in read_grids(path) if grid.coded.rows]
    found = [(grid, find_header(grid, table, Mapping())) for grid in grids]
    if not found:
        raise UseError(f"{Path(path).name} holds no rows")
    grid, header = min(found, key=lambda pair: len(pair[1].missing))
    if header.missing:
        lacking = ", ".join(header.missing)
        headings = ", ".join(heading(column) for column in table.columns)
        raise UseError(
            f"{place_of(grid)}: no heading says {lacking}; write the headings {headings}"
        )
    refuse_doubles(grid, header)
    body = make_body(grid, header, table, Mapping())
    tell_bounds(body)
    draft = draft_of(body)
    _check(draft)
    if draft.frame.empty:
        raise UseError(f"{place_of(grid)}: there are no rows below the headings")
    return draft.frame


def _check(draft: Draft) -> None:
    """Refuse blank cells, doubles and all that conversion found, at once."""
    table, body = draft.table, draft.body
    for column in table.columns:
        if column.required:
            blank = body.where(column.name, body.columns[column.name].blank)
            draft.tell("MISSING", blank, column.name, "is blank", f"fill in {column.meaning}")
    keys = list(table.key)
    if keys:
        whole = draft.frame[keys].notna().all(axis=1)
        twice = draft.frame.duplicated(keys) & whole
        reason = f"stands twice with the same {' and '.join(keys)}"
        draft.tell("TWICE", twice, keys[0], reason, "keep one of them")
    if not body.findings:
        return
    told = [str(found) for found in sorted(body.findings, key=lambda one: one.row or 0)]
    more = [f"and {len(told) - MOST_TOLD:,} more"] if len(told) > MOST_TOLD else []
    raise UseError("\n".join([*told[:MOST_TOLD], *more]))
