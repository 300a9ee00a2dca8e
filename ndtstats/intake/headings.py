"""Finding the headings of a sheet, and which column of ours each of them is."""

import re
from dataclasses import dataclass, field

import pandas as pd

from ndtstats.columns import Column, Table
from ndtstats.errors import nearest
from ndtstats.intake.mapping import Mapping
from ndtstats.intake.readers import Grid
from ndtstats.units import MM_PER_UNIT

#: How far down a sheet its headings may stand, under titles.
DEEPEST_HEADER = 30

#: Column that a correction file adds; never read.
PROBLEM = "problem"

_UNIT = re.compile(r"^(?P<name>.*?)\s*[\[(]\s*(?P<unit>mm|cm|m|in)\s*[\])]\s*$", re.IGNORECASE)

#: Headings met in the trade, for suggestions only: common practice, no source.
_OTHER_WORDS: dict[str, tuple[str, ...]] = {
    "joint": ("weld", "weld no", "weld number", "joint no", "joint number", "seam", "weld id"),
    "job": ("hull", "contract", "project", "job no", "order"),
    "zone": ("area", "block", "compartment", "tank", "space"),
    "method": ("ndt", "ndt method", "technique", "test method", "examination"),
    "verdict": ("result", "evaluation", "assessment", "status", "acc/rej"),
    "date": ("date of test", "examined on", "exposed", "test date", "day", "date of exposure"),
    "report": ("report no", "report number", "rapport"),
    "exposure": ("film", "film no", "shot", "image", "film number"),
    "from_mm": ("from", "start", "begin", "location from", "pos from"),
    "to_mm": ("to", "end", "location to", "pos to", "until"),
    "imperfection": ("defect", "indication", "flaw", "iso 6520", "type of defect", "code"),
    "imp_from_mm": ("defect from", "indication from", "defect at"),
    "imp_length_mm": ("defect length", "indication length"),
    "technician": ("inspector", "examiner", "operator", "radiographer"),
    "technician_level": ("level",),
    "remark": ("remarks", "comment", "comments", "note", "notes"),
    "round": ("stage", "repair", "r no", "cycle"),
    "request": ("request no", "order no", "spot", "id"),
    "welder": ("stamp", "welder id", "welder no", "welder stamp"),
    "thickness_mm": ("thickness", "t", "wall", "wall thickness"),
    "length_mm": ("length", "weld length", "l"),
    "procedure": ("wps", "wps no"),
    "category": ("class", "cat", "extent class"),
    "joint_type": ("type", "weld type", "joint type"),
}


@dataclass(frozen=True, slots=True)
class Header:
    """Where the headings stand and what they mean.

    Attributes
    ----------
    at : int
        Position of the headings among the rows of the grid.
    columns : dict
        Column of ours to column number of the grid.
    units : dict
        Column of ours to the unit its heading states.
    ignored : list of str
        Headings that are no column of ours.
    missing : list of str
        Required columns that were not found.
    """

    at: int
    headings: list[str]
    columns: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    ignored: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)


def heading(column: Column) -> str:
    """Return the heading of a column as templates and requests write it, with its unit.

    Examples
    --------
    >>> from ndtstats.columns import TABLES
    >>> heading(TABLES["joints"].column("length_mm"))
    'length_mm [mm]'
    """
    return f"{column.name} [{column.unit}]" if column.unit else column.name


def find_header(grid: Grid, table: Table, mapping: Mapping) -> Header:
    """Return the row of headings that knows the most columns of the table.

    Titles above it are passed over: of rows that know the same number, which may be none, the one
    with the most cells filled counts, and of those the first.
    """
    if mapping.header_row is not None:
        rows = [min(mapping.header_row, len(grid.cells)) - 1]
    else:
        rows = list(range(min(DEEPEST_HEADER, len(grid.cells))))
    headers = [_header(grid, row, table, mapping) for row in rows]
    filled = [sum(bool(text) for text in header.headings) for header in headers]
    ranked = zip(headers, filled, strict=True)
    best = max(ranked, key=lambda pair: (len(pair[0].columns), pair[1]), default=(Header(0, []), 0))
    return best[0]


def _header(grid: Grid, row: int, table: Table, mapping: Mapping) -> Header:
    headings = [text.strip() for text in grid.cells.iloc[row]]
    # A unit that is no length, such as bar, needs no conversion: its heading is one word for us.
    declared = {_folded(heading(c)): c.name for c in table.columns if c.unit not in {None, "mm"}}
    declared |= {_folded(theirs): ours for theirs, ours in mapping.columns.items()}
    header = Header(row, headings)
    for number, text in enumerate(headings):
        name, unit = _meaning(text, declared, table)
        if name is None or name in header.columns:
            header.ignored.extend([text] if text and _folded(text) != PROBLEM else [])
            continue
        header.columns[name] = number
        if unit:
            header.units[name] = unit
    header.missing.extend(
        column.name
        for column in table.columns
        if column.required
        and column.name not in header.columns
        and column.name not in mapping.constants
    )
    return header


def _meaning(text: str, declared: dict[str, str], table: Table) -> tuple[str | None, str | None]:
    """Return the column that a heading names, and the unit it states, if any."""
    stated = _UNIT.match(text)
    unit = stated["unit"].lower() if stated else None
    if _folded(text) in declared:
        return declared[_folded(text)], unit
    plain = _folded(stated["name"] if stated else text)
    if plain in declared:
        return declared[plain], unit
    if plain in table.names:
        return plain, unit
    base, _, ending = plain.rpartition("_")
    if base and ending in MM_PER_UNIT and f"{base}_mm" in table.names:
        return f"{base}_mm", unit or ending
    # "length [m]" states its unit; a bare "length" does not, and is left to a mapping.
    if unit and f"{plain}_mm" in table.names:
        return f"{plain}_mm", unit
    return None, None


def _folded(text: str) -> str:
    return re.sub(r"[\s._\-/#:]+", "_", text.strip().casefold()).strip("_")


def suggest_mapping(grid: Grid, header: Header, table: Table) -> str:
    """Return a mapping file for the headings of a sheet, to be checked by a person.

    Each heading is given the column whose name, or whose usual names in the trade, are most like
    it; one that is like none is left as a comment.
    """
    free = {name for name in table.names if name not in header.columns}
    lines = []
    for text in dict.fromkeys(header.ignored):
        ours = _like(text, free)
        if ours:
            free.discard(ours)
        lines.append(f"{_quoted(text)} = {_quoted(ours)}" if ours else f'# {_quoted(text)} = ""')
    words = _verdict_words(grid, header, table, lines)
    return "\n".join(
        [
            f"# Suggested mapping of {_one_line(grid.file)} to the table {table.name}.",
            "# Check every line; each is a guess from the heading alone. Then load with --mapping.",
            "# Uncomment and complete what is needed.",
            '# dates = "dmy"      # dmy, mdy, iso or serial',
            '# decimal = ","      # the decimal mark',
            "",
            "[columns]",
            *lines,
            "",
            "[units]             # of lengths that are not in mm",
            '# from_mm = "cm"',
            "",
            "[constants]         # columns that the file lacks",
            *(f'# {name} = ""' for name in sorted(free) if table.column(name).required),
            *words,
            "",
        ]
    )


def _like(text: str, free: set[str]) -> str | None:
    folded = _folded(text).replace("_", " ")
    named = {name: name.removesuffix("_mm").replace("_", " ") for name in free}
    words = {word: name for name in free for word in (named[name], *_OTHER_WORDS.get(name, ()))}
    close = folded if folded in words else nearest(folded, set(words))
    return words[close] if close else None


def _verdict_words(grid: Grid, header: Header, table: Table, lines: list[str]) -> list[str]:
    """Return a table of the file's own verdict words, to be translated."""
    theirs = next((line.split(" = ")[0] for line in lines if line.endswith('"verdict"')), None)
    if theirs is None or "verdict" not in table.names:
        return []
    number = next(i for i, text in enumerate(header.headings) if _quoted(text) == theirs)
    words = grid.cells.iloc[header.at + 1 :, number].str.strip()
    allowed = table.column("verdict").allowed
    found = [word for word in pd.unique(words) if word and word not in allowed][:20]
    if not found:
        return []
    guesses = (nearest(word, allowed) or "" for word in found)
    return [
        "",
        f"[values.verdict]    # his words for: {', '.join(allowed)}",
        *(f"{_quoted(w)} = {_quoted(g)}" for w, g in zip(found, guesses, strict=True)),
    ]


def _quoted(text: str) -> str:
    escaped = _one_line(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _one_line(text: str) -> str:
    return "".join(char if char.isprintable() else " " for char in text)
