"""Which sheet of a file holds a table, and what to say if none does."""

import re
from pathlib import Path
from typing import NamedTuple

from ndtstats.columns import Table
from ndtstats.errors import UseError
from ndtstats.intake.headings import (
    Header,
    find_header,
    folded,
    place_of,
    refuse_doubles,
    suggest_mapping,
)
from ndtstats.intake.mapping import Mapping
from ndtstats.intake.readers import Grid, read_grids


class Sheet(NamedTuple):
    """The sheet that holds a table, its headings, and what was passed over."""

    grid: Grid
    header: Header
    notes: list[str]


def choose_sheet(path: str | Path, table: Table, mapping: Mapping, sheet: str | None) -> Sheet:
    """Return the sheet of a file that has the headings of a table.

    Parameters
    ----------
    path : str or Path
        A CSV file or a spreadsheet.
    table : Table
        What is looked for.
    mapping : Mapping
        What the headings mean.
    sheet : str, optional
        The only sheet to look at.

    Raises
    ------
    UseError
        If there is none, or several with nothing to choose by; where headings are unknown, a
        suggested mapping has then been written beside the file, and the message names it.
    """
    grids = [grid for grid in read_grids(path, sheet=sheet or mapping.sheet) if grid.coded.rows]
    if not grids:
        raise UseError(f"{Path(path).name} holds no rows")
    found = [(grid, find_header(grid, table, mapping)) for grid in grids]
    grid, header = max(found, key=lambda pair: _fitness(pair[0], pair[1], table))
    if header.missing:
        raise UseError(_unknown_headings(grid, header, table, mapping))
    refuse_doubles(grid, header)
    return Sheet(grid, header, [*_other_sheets(found, grid, table), *_unused(header, mapping)])


def _fitness(grid: Grid, header: Header, table: Table) -> tuple[bool, bool, int]:
    """Return what ranks sheets: all headings there, the table's own name, most headings known."""
    named = (grid.sheet or "").strip().casefold() == table.name
    return not header.missing, named, len(header.columns)


def _other_sheets(found: list[tuple[Grid, Header]], chosen: Grid, table: Table) -> list[str]:
    """Return what to say of other sheets that could be meant; refuse to choose between equals."""
    ranks = {grid.sheet: _fitness(grid, header, table) for grid, header in found}
    best = ranks[chosen.sheet]
    others = [name for name, rank in ranks.items() if rank[0] and name != chosen.sheet]
    if best[1] or not others:
        return []
    listed = ", ".join(str(name) for name in others)
    if any(ranks[name] == best for name in others):
        raise UseError(
            f"{chosen.file}: the table {table.name} may be in sheet {chosen.sheet} or in "
            f"{listed}; name one with --sheet"
        )
    return [f"sheet {chosen.sheet} was read; {table.name} could also be in {listed}"]


def _unused(header: Header, mapping: Mapping) -> list[str]:
    there = {folded(text) for text in header.headings}
    # A heading may state its unit behind what the mapping calls it.
    there |= {folded(re.split(r"[\[(]", text)[0]) for text in header.headings}
    lacking = [theirs for theirs in mapping.columns if folded(theirs) not in there]
    return [f"the mapping names headings that are not there: {', '.join(lacking)}"] * bool(lacking)


def _unknown_headings(grid: Grid, header: Header, table: Table, mapping: Mapping) -> str:
    """Return what to say of missing headings, with a suggested mapping written to a file."""
    if mapping.header_row is not None and mapping.header_row > grid.coded.rows:
        return (
            f"{place_of(grid)} has {grid.coded.rows} rows; the mapping puts the headings into "
            f"row {mapping.header_row}"
        )
    missing = ", ".join(header.missing)
    text = f"{place_of(grid)}: table {table.name} needs {missing}, and no heading says so"
    if not any(header.ignored):
        return text + "; write the headings as ndtstats template does"
    suggestion = grid.path.with_suffix(f".{table.name}.mapping.toml")
    written = suggest_mapping(grid, header, table, mapping)
    try:
        if not suggestion.exists():
            suggestion.write_text(written, encoding="utf-8")
    except OSError:
        return text + f"; write a mapping file such as:\n{written}"
    return (
        f"{text}; a suggested mapping is in {suggestion}: check it, then load with "
        f"--mapping {suggestion}"
    )
