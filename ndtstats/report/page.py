"""What a page is made of: sections of sentences, figures and tables, declared and not yet drawn.

A page is built by a function of its own (:mod:`ndtstats.report.qa`,
:mod:`ndtstats.report.management`) and turned into a file by :mod:`ndtstats.report.render`, which
adds what all pages share: landmarks, styles, script, definitions, limits, cautions, provenance.
Text in it is plain and is escaped when it is drawn; words that need a definition become links to it
by themselves (:mod:`ndtstats.report.terms`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

#: Rows of a table on a page; the rest is counted below it.
MOST_ROWS = 200


class Link(NamedTuple):
    """A cell or an item that leads to a place of this page ("#owed") or to a page beside it."""

    text: str
    to: str


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table.

    Attributes
    ----------
    heading : str
        With the unit, where the cells do not say it.
    cells : sequence of str or Link
        As they are read: numbers are formatted already.
    number : bool
        Set to the right, so that digits stand below each other.
    marked : sequence of bool
        The cells that ask for attention, by weight and colour besides what they say; or none.
    """

    heading: str
    cells: Sequence[str | Link]
    number: bool = False
    marked: Sequence[bool] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """A table. Its first column names the rows; it shows at most :data:`MOST_ROWS` of them.

    Attributes
    ----------
    caption : str
        What it is, with the confidence level of any bounds in it.
    columns : tuple of Column
        All of the same length.
    roomy : bool
        Holds long text: on a narrow screen it is rolled sideways rather than squeezed.
    """

    caption: str
    columns: tuple[Column, ...]
    roomy: bool = False

    @property
    def rows(self) -> list[tuple[tuple[Column, str | Link, bool], ...]]:
        """Column, cell, and whether it is marked, row by row, as many as are shown."""
        return list(zip(*(_cells(column) for column in self.columns), strict=True))

    @property
    def left(self) -> int:
        """How many rows are not shown."""
        return max(len(self.columns[0].cells) - MOST_ROWS, 0)


def _cells(column: Column) -> list[tuple[Column, str | Link, bool]]:
    cells = column.cells[:MOST_ROWS]
    marked = column.marked or (False,) * len(cells)
    return [(column, cell, bool(mark)) for cell, mark in zip(cells, marked, strict=False)]


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; ``note`` sets it small."""

    text: str
    note: bool = False


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading within a section."""

    text: str


class Point(NamedTuple):
    """An item of a list, and where there is more of it."""

    text: str
    more: Link | None = None


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list."""

    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure, and the table that says the same.

    Attributes
    ----------
    name : str
        Short and once on the page: part of the identifiers.
    figure : plotly Figure or None
        None where there is nothing to draw: only the table, or ``empty``, stands then.
    label : str
        What a screen reader says instead of it.
    caption : str
        How to read it.
    table : Table or None
        The same numbers; None where there are none.
    empty : str
        The sentence in place of figure and table where there is nothing.
    folded : bool
        The table is opened by a click: for one that is long beside its figure.
    """

    name: str
    figure: Any
    label: str
    caption: str
    table: Table | None
    empty: str = ""
    folded: bool = False


@dataclass(frozen=True, slots=True)
class Fold:
    """Blocks that are opened by a click on the summary; on paper only if ``open``."""

    summary: str
    blocks: "tuple[Block, ...]"
    open: bool = False


@dataclass(frozen=True, slots=True)
class Partial:
    """A block with a template of its own, for what the others cannot say.

    Attributes
    ----------
    template : str
        Name of a file in the templates folder.
    data : mapping
        What the template sees, besides what all templates see.
    """

    template: str
    data: Mapping[str, Any]


Block = Text | Heading | Bullets | Figure | Table | Fold | Partial


@dataclass(frozen=True, slots=True)
class Section:
    """A section; ``anchor`` is its identifier, ``short`` its name in the contents."""

    anchor: str
    heading: str
    blocks: tuple[Block, ...]
    short: str = ""


@dataclass(frozen=True, slots=True)
class Page:
    """A page.

    Attributes
    ----------
    file : str
        Name of the file without its ending, whatever characters it has: they are made safe.
    kind : str
        For whom it is.
    title : str
        The heading.
    as_of : datetime
        The instant of which it speaks.
    headline : tuple of str
        The conclusion, in one paragraph each.
    sections : tuple of Section
        In the order of reading.
    provenance : tuple of (str, str)
        Hashes, seeds, versions: name and value.
    """

    file: str
    kind: str
    title: str
    as_of: datetime
    headline: tuple[str, ...]
    sections: tuple[Section, ...]
    provenance: tuple[tuple[str, str], ...]

    @property
    def figures(self) -> dict[str, Any]:
        """All figures to be drawn, by name."""
        drawn: dict[str, Any] = {}
        for section in self.sections:
            _gather(section.blocks, drawn)
        return drawn


def _gather(blocks: "tuple[Block, ...]", into: dict[str, Any]) -> None:
    for block in blocks:
        if isinstance(block, Fold):
            _gather(block.blocks, into)
        elif isinstance(block, Figure) and block.figure is not None:
            into[block.name] = block.figure
