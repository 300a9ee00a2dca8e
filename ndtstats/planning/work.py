"""Who welded a cell, and whether it is somebody's first work: from the deposits of the register."""

from typing import Any

import pandas as pd

from ndtstats.places import welders_of


def leading_welder(cells: pd.DataFrame, deposits: pd.DataFrame) -> Any:
    """Return under whose name each cell is drawn, "" where nobody is known.

    Of several welders whose work a cell shows it is the one with the least work in all: so that his
    work, which is hard to find elsewhere, has cells of its own to be drawn from.
    """
    parts = welders_of(cells, deposits)
    in_all = parts.groupby("welder")["length_mm"].transform("sum")
    ranked = parts.assign(in_all=in_all, hidden=~parts["shown"]).sort_values(
        ["cell", "hidden", "in_all", "welder"]
    )
    first = ranked.drop_duplicates("cell").set_index("cell")["welder"]
    return first.reindex(cells.index).astype("str").fillna("")


def lead_for_all(
    lead: "pd.Series[str]",
    cells: pd.DataFrame,
    deposits: pd.DataFrame,
    *,
    spot_length_mm: Any,
    least: int,
) -> "pd.Series[str]":
    """Return under whose name each cell is drawn so that nobody is left without cells.

    Who never has the least work of those about him leads no cell, and chance may pass him by. Half
    of his full cells are drawn under his name instead, if their leader keeps ``least`` of his own;
    if he has no more, they are all drawn, and show both.

    Parameters
    ----------
    lead : Series
        As :func:`leading_welder` returns it.
    cells, deposits : DataFrame
        As for :func:`welders_of`.
    spot_length_mm : float or array_like
        A cell is full if it is as long as that, or a whole joint, and shows who welded half of it.
    least : int
        How many cells each welder must lead, where he has as many.
    """
    length = cells["to_mm"] - cells["from_mm"]
    full = (length >= spot_length_mm - 1.0) | ~cells["joint"].duplicated(keep=False)
    parts = welders_of(cells[full], deposits)
    parts = parts[parts["shown"]]
    lead = lead.copy()
    theirs = parts.groupby("welder")["cell"]
    led = parts[parts["cell"].map(lead) == parts["welder"]]["welder"].value_counts()
    left_out = theirs.size().clip(upper=least) - led.reindex(theirs.size().index, fill_value=0)
    for welder in left_out.index[left_out > 0]:
        mine = theirs.get_group(welder)
        leader = lead[mine]
        spare = leader.map(lead[full[full].index].value_counts()) - least
        others = leader[(leader != welder) & (leader.groupby(leader).cumcount() < spare)]
        lead[others.index[::2]] = welder
    return lead


def first_joints(deposits: pd.DataFrame, of: str, number: int) -> pd.DataFrame:
    """Return the first joints of each welder or procedure, in the order in which they were welded.

    Parameters
    ----------
    deposits : DataFrame
        Columns ``joint``, ``date`` and the one named by ``of``.
    of : {"welder", "procedure"}
        Whose first joints.
    number : int
        How many of them.

    Returns
    -------
    DataFrame
        Columns ``joint`` and ``of``.
    """
    known = deposits[deposits[of].notna()]
    begun = known.groupby([of, "joint"], as_index=False).agg(date=("date", "min"))
    begun = begun.sort_values([of, "date", "joint"])
    return begun[begun.groupby(of).cumcount() < number][["joint", of]]
