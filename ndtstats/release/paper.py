"""A list to walk with, as a spreadsheet or as a page to print: each line with a box to tick."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ndtstats.columns import Column, Table
from ndtstats.intake import write_table
from ndtstats.release.pages import template, write_page

_BOX = "done"


@dataclass(frozen=True, slots=True)
class Paper:
    """What stands on a list.

    Attributes
    ----------
    title, said : str
        The heading, and the conclusion in a sentence.
    parts : tuple of (str, DataFrame)
        Tables, each with its title; the column names are the headings. Each row gets a box.
    cautions : sequence of str
        What keeps people from harm, a paragraph each.
    basis : sequence of (str, str)
        What it rests on: instant, hashes, version.
    """

    title: str
    said: str
    parts: tuple[tuple[str, pd.DataFrame], ...]
    cautions: Sequence[str]
    basis: Sequence[tuple[str, str]]


def write_paper(paper: Paper, path: str | Path) -> None:
    """Write a list as ``.html`` (to print) or ``.xlsx`` (a sheet with a box for each line).

    Raises
    ------
    UseError
        If the file is there already, or has another ending.
    CannotGoOn
        If it cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() == ".xlsx":
        _write_sheet(paper, path)
    else:
        write_page(path, page_of(paper))


def page_of(paper: Paper) -> str:
    """Return a list as one HTML page without scripts, to be printed on A4."""
    parts = [
        (title, [str(name) for name in frame.columns], _cells(frame))
        for title, frame in paper.parts
    ]
    return template("list").render(paper=paper, parts=parts)


def _cells(frame: pd.DataFrame) -> list[tuple[str, ...]]:
    text = frame.astype("str").fillna("")
    return list(text.itertuples(index=False, name=None))


def _write_sheet(paper: Paper, path: Path) -> None:
    # A list on which nothing stands says so, and is written all the same.
    none = pd.DataFrame({"list": pd.Series(dtype="str")})
    named = [frame.assign(list=title) for title, frame in paper.parts]
    rows = pd.concat([none, *named], ignore_index=True)
    names = ["list", *(str(name) for name in rows.columns if name != "list")]
    sheet = rows[names].astype("str").assign(**{_BOX: None})
    shape = Table(
        "list",
        "what is to be done",
        (),
        (Column(_BOX, "text", "tick when it is done", allowed=("done",)),),
    )
    above = [[paper.title], [paper.said], *([f"{name}: {value}"] for name, value in paper.basis)]
    write_table(
        path, sheet, shape, above=above, sheet="list", pages={"cautions": list(paper.cautions)}
    )
