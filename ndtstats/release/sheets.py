"""The list to walk with as a file: a page to print, or sheets to fill in that load back."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from ndtstats.columns import TABLES, Column, Table
from ndtstats.intake import Sheet, heading, write_sheets
from ndtstats.release.pages import template, write_page
from ndtstats.release.walk import walk_sentence
from ndtstats.request.cautions import DECISION, PRESSURE, RADIOGRAPHY
from ndtstats.visual.said import place

#: What is ticked on the sheet of everything; it stays in the yard and is not loaded.
_TICKED = Table(
    "walk", "what is to be done", (),
    (Column("done", "text", "tick", allowed=("done", "not done")),),
)  # fmt: skip

#: The method that needs radiation.
_RADIATION = "RT"


@dataclass(frozen=True, slots=True)
class Walk:
    """A list to walk with, and what stands above it.

    Attributes
    ----------
    job, zone : str
        Where one walks.
    at : datetime
        The instant of which it speaks.
    rows : DataFrame
        As :func:`ndtstats.release.walk.walk_list` gives them.
    """

    job: str
    zone: str
    at: datetime
    rows: pd.DataFrame

    @property
    def said(self) -> str:
        """The conclusion in a sentence."""
        return walk_sentence(self.rows, self.zone)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What keeps people from harm, as far as the list asks for it."""
        tests = (self.rows["do"] == "test").any()
        rays = (self.rows["method"] == _RADIATION).any()
        return (*(RADIOGRAPHY if rays else ()), *(PRESSURE if tests else ()), *DECISION)


def write_walk(walk: Walk, path: str | Path) -> None:
    """Write a list as ``.html`` (to print, with boxes) or ``.xlsx`` (to fill in).

    Of the spreadsheet the sheet ``visual`` loads back into the examinations, and the sheet
    ``beads`` into the beads; rows without an answer are passed over.

    Raises
    ------
    UseError
        If the file is there already, or has another ending.
    CannotGoOn
        If it cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() == ".xlsx":
        write_sheets(path, sheets_of(walk), pages={"cautions": walk.cautions})
        return
    write_page(path, walk_page(walk))


def walk_page(walk: Walk) -> str:
    """Return a list as one HTML page without scripts, to be printed on A4."""
    rows = walk.rows.assign(place=_places(walk.rows))
    zones = [
        (str(zone), part[["joint", "place", "what"]].fillna("").to_dict("records"))
        for zone, part in rows.groupby("zone", sort=False)
    ]
    return template("walk").render(walk=walk, zones=zones)


def _places(rows: pd.DataFrame) -> "pd.Series[str]":
    where = place(rows).where(rows["from_mm"].notna(), "")
    side = (", " + rows["side"] + " side").fillna("")
    return (where + side).str.removeprefix(", ")


def sheets_of(walk: Walk) -> list[Sheet]:
    """Return the sheets of a list: everything to tick, and what is to be filled in and loaded."""
    rows = walk.rows
    everything = pd.DataFrame(
        {
            "zone": rows["zone"], "joint": rows["joint"], "place": _places(rows),
            "what to do": rows["what"], "done": None, "date": None, "inspector": None,
            "remark": None,
        }
    ).astype("str")  # fmt: skip
    above = [[f"Job {walk.job}, zone {walk.zone}, {walk.at:%Y-%m-%d %H:%M} UTC"], [walk.said]]
    made = [Sheet("walk", everything, _TICKED, above, to_print=True)]
    for name, table, frame in (
        ("visual", TABLES["examinations"], _to_look_at(walk)),
        ("beads", TABLES["beads"], _to_measure(walk)),
    ):
        if len(frame):
            made.append(Sheet(name, frame, table, to_print=True))
    return made


def _to_look_at(walk: Walk) -> pd.DataFrame:
    rows = walk.rows[walk.rows["do"] == "look"]
    filled = {
        "job": walk.job, "joint": rows["joint"], "method": "VT", "from_mm": rows["from_mm"],
        "to_mm": rows["to_mm"], "round": rows["round"].fillna(0).astype("int64"),
    }  # fmt: skip
    blank = ("verdict", "date", "report", "technician", "remark")
    return _filled(TABLES["examinations"], rows, filled, blank)


def _to_measure(walk: Walk) -> pd.DataFrame:
    """Return a row for each bead to be measured; one to be measured again keeps its place."""
    rows = walk.rows[walk.rows["do"].isin(["measure", "mend"])]
    number = rows["beads"].fillna(1).astype("int64").clip(lower=1)
    rows = rows.loc[rows.index.repeat(number)]
    short = rows["fault"] == "short"
    filled = {
        "job": walk.job, "joint": rows["joint"], "side": rows["side"],
        "from_mm": rows["from_mm"].where(short),
    }  # fmt: skip
    blank = ("length_mm", "wrapped", "date", "inspector")
    return _filled(TABLES["beads"], rows, filled, blank)


def _filled(
    table: Table, rows: pd.DataFrame, filled: dict[str, Any], blank: tuple[str, ...]
) -> pd.DataFrame:
    """Return rows under the headings of a table, with what to do beside what it loads."""
    shown = pd.DataFrame(filled, index=rows.index)
    empty = {name: pd.Series(None, rows.index, dtype="str") for name in blank}
    frame = shown.assign(**empty)
    frame.columns = pd.Index([heading(table.column(name)) for name in frame.columns])
    told: pd.DataFrame = frame.assign(zone=rows["zone"], **{"what to do": rows["what"]})
    return told.reset_index(drop=True)
