"""Finding the headings of a sheet, and which column of ours each of them is."""

import re
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ndtstats.columns import Column, Table
from ndtstats.errors import UseError, nearest
from ndtstats.intake.cells import Cells
from ndtstats.intake.convert import clean_text
from ndtstats.intake.mapping import Mapping
from ndtstats.intake.readers import Grid
from ndtstats.units import MM_PER_UNIT

#: How far down a sheet its headings may stand, under titles.
DEEPEST_HEADER = 30

#: Column that a correction file adds; never read.
PROBLEM = "problem"

_LETTERS = re.compile(r"[^\W\d_]")

_UNIT = re.compile(r"^(?P<name>.*?)\s*[\[(]\s*(?P<unit>mm|cm|m|in)\s*[\])]\s*$", re.IGNORECASE)

#: Headings met in the trade, for suggestions only: common practice, no source.
_OTHER_WORDS: dict[str, tuple[str, ...]] = {
    "joint": ("weld", "weld no", "weld number", "joint no", "joint number", "seam", "weld id"),
    "job": ("hull", "contract", "project", "job no", "order"),
    "zone": ("area", "block", "compartment", "tank", "space"),
    "method": ("ndt", "ndt method", "technique", "test", "test method", "examination"),
    "verdict": ("result", "evaluation", "assessment", "status", "acc/rej"),
    "date": ("date of test", "examined on", "exposed", "test date", "day", "date of exposure"),
    "report": ("report no", "report number", "protocol", "certificate no"),
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
    again : dict
        Column of ours to further columns of the grid that are called the same.
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
    again: dict[str, list[int]] = field(default_factory=dict)
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
    with the most cells of words counts, and of those the first.
    """
    if mapping.header_row is None:
        rows = range(min(DEEPEST_HEADER, grid.coded.rows))
    elif mapping.header_row <= grid.coded.rows:
        rows = range(mapping.header_row - 1, mapping.header_row)
    else:
        rows = range(0)
    nothing = Header(0, [], missing=[c.name for c in table.columns if c.required])
    headers = [_header(grid, row, table, mapping) for row in rows]
    worded = [sum(bool(_LETTERS.search(text)) for text in header.headings) for header in headers]
    ranked = zip(headers, worded, strict=True)
    best = max(ranked, key=lambda pair: (len(pair[0].columns), pair[1]), default=(nothing, 0))
    return best[0]


def _header(grid: Grid, row: int, table: Table, mapping: Mapping) -> Header:
    headings = [clean_text(text) for text in grid.coded.row(row)]
    declared = {folded(theirs): ours for theirs, ours in mapping.columns.items()}
    header = Header(row, headings)
    meanings = [_meaning(text, declared, table) for text in headings]
    # What a person declared counts before what a heading happens to be called.
    mapped = {name for name, _, is_declared in meanings if is_declared}
    for number, (name, unit, is_declared) in enumerate(meanings):
        text = headings[number]
        if name is None or (name in mapped and not is_declared):
            header.ignored.extend([text] if text and folded(text) != PROBLEM else [])
        elif name in header.columns:
            header.again.setdefault(name, []).append(number)
        else:
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


def _meaning(
    text: str, declared: dict[str, str], table: Table
) -> tuple[str | None, str | None, bool]:
    """Return the column that a heading names, the unit it states, and whether it is declared."""
    if not text:
        return None, None, False
    stated = _UNIT.match(text)
    unit = stated["unit"].lower() if stated else None
    plain = folded(stated["name"] if stated else text)
    for theirs in (folded(text), plain):
        if theirs in declared:
            return declared[theirs], unit, True
    # A unit that is no length, such as bar, needs no conversion: its heading is one word for us.
    ours = {folded(heading(c)): c.name for c in table.columns if c.unit not in {None, "mm"}}
    if folded(text) in ours:
        return ours[folded(text)], None, False
    return *_own_name(plain, unit, table), False


def _own_name(plain: str, unit: str | None, table: Table) -> tuple[str | None, str | None]:
    if plain in table.names:
        return plain, unit
    base, _, ending = plain.rpartition("_")
    if base and ending in MM_PER_UNIT and f"{base}_mm" in table.names:
        return f"{base}_mm", unit or ending
    # "length [m]" states its unit; a bare "length" does not, and is left to a mapping.
    if unit and f"{plain}_mm" in table.names:
        return f"{plain}_mm", unit
    return None, None


def folded(text: str) -> str:
    """Return a heading without what people write one way or the other."""
    return re.sub(r"[\s._\-/#:]+", "_", text.strip().casefold()).strip("_")


def refuse_doubles(grid: Grid, header: Header) -> None:
    """Refuse a column that stands twice, unless both hold the same.

    Raises
    ------
    UseError
        Naming both columns by their letters.
    """
    for name, others in header.again.items():
        first = header.columns[name]
        for other in others:
            if not _same(grid.coded, first, other, header.at + 1):
                raise UseError(
                    f"{place_of(grid)}: columns {letters(first)} and {letters(other)} are both "
                    f"{name} and do not hold the same; rename the one that is not meant"
                )


def _same(cells: Cells, first: int, other: int, start: int) -> bool:
    """Return whether two columns hold the same from a row on."""
    (ours, texts), (theirs, other_texts) = cells.column(first), cells.column(other)
    pairs = np.unique(ours[start:].astype("int64") * len(other_texts) + theirs[start:])
    return all(
        clean_text(texts[pair // len(other_texts)])
        == clean_text(other_texts[pair % len(other_texts)])
        for pair in pairs.tolist()
    )


def place_of(grid: Grid) -> str:
    """Return a sheet as messages name it."""
    return grid.file + (f", sheet {grid.sheet}" if grid.sheet else "")


def letters(number: int) -> str:
    """Return a column as a spreadsheet names it.

    Examples
    --------
    >>> letters(0), letters(27)
    ('A', 'AB')
    """
    text = ""
    while number >= 0:
        text = chr(ord("A") + number % 26) + text
        number = number // 26 - 1
    return text


def suggest_mapping(grid: Grid, header: Header, table: Table, mapping: Mapping) -> str:
    """Return a mapping file for the headings of a sheet, to be checked by a person.

    Each heading is given the column whose name, or whose usual names in the trade, are most like
    it; one that is like none is left as a comment. What a mapping declared already is kept.
    """
    free = {name for name in table.names if name not in header.columns}
    lines = [f"{_quoted(theirs)} = {_quoted(ours)}" for theirs, ours in mapping.columns.items()]
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
    plain = folded(text).replace("_", " ")
    named = {name: name.removesuffix("_mm").replace("_", " ") for name in free}
    words = {word: name for name in free for word in (named[name], *_OTHER_WORDS.get(name, ()))}
    close = plain if plain in words else nearest(plain, set(words))
    return words[close] if close else None


def _verdict_words(grid: Grid, header: Header, table: Table, lines: list[str]) -> list[str]:
    """Return a table of the file's own verdict words, to be translated."""
    theirs = next((line.split(" = ")[0] for line in lines if line.endswith('"verdict"')), None)
    if theirs is None or "verdict" not in table.names:
        return []
    number = next((n for n, text in enumerate(header.headings) if _quoted(text) == theirs), None)
    if number is None:
        return []
    numbers, texts = grid.coded.column(number)
    words = dict.fromkeys(clean_text(texts[n]) for n in pd.unique(numbers[header.at + 1 :]))
    allowed = table.column("verdict").allowed
    found = [word for word in words if word and word not in allowed][:20]
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
