"""The contractor's part: a request comes back filled in, from what is really in the welds."""

from pathlib import Path

import numpy as np
import pandas as pd

from ndtstats.columns import TABLES
from ndtstats.demo.frames import later
from ndtstats.demo.results import examined, numbered, signed, weekly_report, written
from ndtstats.demo.scenario import Yard
from ndtstats.intake import heading, write_table
from ndtstats.intake.readers import read_grids

#: The letter that the reports of a method begin with.
_REPORTS = {"RT": "X", "PT": "P", "UT": "U"}

#: How far a place lies beside what was asked for, and how much of its length is missing, if it is.
_BESIDE_MM, _SHORT_MM = 80.0, 70.0

_TITLES = {column.name: heading(column) for column in TABLES["examinations"].columns}


def answer(
    asked: pd.DataFrame,
    yard: Yard,
    *,
    series: str,
    seed: int,
    after: pd.Timestamp,
    last_unreached: bool = False,
) -> pd.DataFrame:
    """Return the examinations that answer a request.

    Parameters
    ----------
    asked : DataFrame
        ``request``, ``job``, ``joint``, ``method``, ``from_mm``, ``to_mm``, ``round``.
    yard : Yard
        Whose truth decides what the images show.
    series : str
        Tells the report numbers of one request from those of another.
    seed : int
        Chance of images taken again, of places out of reach, and of the days.
    after : Timestamp
        The day of the request: the examiners come after it, and after each joint was welded.
    last_unreached : bool
        The last place could not be reached yet, and nothing else goes amiss.
    """
    rng = np.random.default_rng([seed, *series.encode()])
    made = yard.tables["deposits"].groupby(["job", "joint"])["date"].max()
    welded = made.reindex(pd.MultiIndex.from_frame(asked[["job", "joint"]])).set_axis(asked.index)
    ready = welded.where(welded > after, after)
    date = later(ready, rng.integers(3, 9, len(asked)))
    report = weekly_report(asked["method"].map(_REPORTS) + series, date)
    asked = asked if last_unreached else _not_quite(asked, rng)
    places = asked.assign(date=date, report=report).sort_values(["date", "joint", "from_mm"])
    first, again = places[places["round"] == 0], places[places["round"] > 0]
    if last_unreached:
        rows = [_with_last_unreached(first, yard.truth)]
    else:
        rows = [examined(first.reset_index(drop=True), yard.truth, rng)]
    # The repairs of this yard turn out well.
    rows.append(numbered(again, "R").assign(verdict="accept"))
    return signed(pd.concat(rows, ignore_index=True))


def _not_quite(asked: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return places of which a few images come out short, or lie beside what was asked for."""
    chance = pd.Series(rng.random(len(asked)), asked.index)
    film = (asked["method"] == "RT") & (asked["round"] == 0) & (asked["from_mm"] >= _BESIDE_MM)
    beside, short = film & (chance < 0.03), film & (chance >= 0.03) & (chance < 0.06)
    shift = beside * _BESIDE_MM
    end = asked["to_mm"] - shift - short * _SHORT_MM
    return asked.assign(from_mm=asked["from_mm"] - shift, to_mm=end)


def _with_last_unreached(places: pd.DataFrame, truth: pd.DataFrame) -> pd.DataFrame:
    """Return places as written, but for the last one."""
    done = written(numbered(places[:-1]).reset_index(drop=True), truth)
    waits = places[-1:].assign(verdict="not done", remark="staging is not up yet")
    return pd.concat([done, waits], ignore_index=True)


def fill_request(
    asked: Path,
    filled: Path,
    yard: Yard,
    *,
    series: str,
    seed: int,
    after: pd.Timestamp,
    last_unreached: bool = False,
) -> int:
    """Write a request as it comes back, and return how many rows it has; see :func:`answer`.

    Columns of the request that are not to be filled in stay as they were.
    """
    sheet = _read(asked)
    ours = {title: name for name, title in _TITLES.items()}
    table = sheet.rename(columns=ours)
    numbers = table[["from_mm", "to_mm"]].astype(float)
    places = table[["request", "job", "joint", "method"]].assign(
        **numbers, round=table["round"].astype(int)
    )
    rows = answer(
        places, yard, series=series, seed=seed, after=after, last_unreached=last_unreached
    )
    order = pd.Series(np.arange(len(table)), index=table["request"])
    rows = rows.assign(date=rows["date"].dt.strftime("%Y-%m-%d"), order=rows["request"].map(order))
    rows["imp_rejectable"] = rows["imp_rejectable"].map({True: "yes", False: "no"})
    rows = rows.sort_values(["order"], kind="stable")
    kept = table.set_index("request")[[name for name in table if name not in _TITLES]]
    shown = rows.drop(columns="order").join(kept, on="request")
    titles = [ours.get(title, title) for title in map(str, sheet)]
    write_table(filled, shown[titles].rename(columns=_TITLES), TABLES["examinations"])
    return len(rows)


def correct_answer(sent: Path, corrected: Path, *, rows: int, technician: str) -> None:
    """Write an answer as its sender corrects it: somebody else took the first radiographs.

    Parameters
    ----------
    sent, corrected : Path
        The answer as it was sent, and what is sent after it.
    rows : int
        How many rows are corrected.
    technician : str
        Who is named in them.
    """
    sheet = _read(sent)
    films = sheet.index[sheet[_TITLES["method"]] == "RT"][:rows]
    named = sheet[_TITLES["technician"]].mask(sheet.index.isin(films), technician)
    mended = sheet.assign(**{_TITLES["technician"]: named})
    write_table(corrected, mended, TABLES["examinations"])


def fill_walk(asked: Path, filled: Path, *, day: pd.Timestamp, inspector: str) -> int:
    """Write what was looked at on a walk as it comes back: all accepted; return how many.

    Parameters
    ----------
    asked : Path
        A list to walk with, whose sheet ``visual`` is filled in.
    day : Timestamp
        The day of the walk.
    inspector : str
        Who walked.
    """
    sheet = _read(asked, "visual")
    said = {
        "verdict": "accept",
        "date": f"{day:%Y-%m-%d}",
        "report": f"VT-{day:%y-%m-%d}",
        "technician": inspector,
    }
    answered = sheet.assign(**{_TITLES[name]: text for name, text in said.items()})
    write_table(filled, answered, TABLES["examinations"])
    return len(answered)


def _read(path: Path, sheet: str | None = None) -> pd.DataFrame:
    """Return a sheet of a file, the first if none is named, as text under its headings."""
    grids = [grid for grid in read_grids(path) if sheet in {None, grid.sheet}]
    cells = grids[0].cells
    return cells[1:].set_axis(list(cells.iloc[0]), axis=1).reset_index(drop=True)
