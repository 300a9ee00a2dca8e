"""Production spots that keep a welder's qualification alive, where no test result does so yet.

Which windows a certificate has, and what serves in them, is told in
:mod:`ndtstats.qualification.proof`. A confirmation by itself asks for no test; one tested weld in
each window is aimed for here all the same, for it is evidence that nobody disputes.
"""

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.places import filled_places
from ndtstats.qualification import proof as prove

#: Columns of the proposals, and their types.
COLUMNS: dict[str, str] = {
    "certificate": "str",
    "process": "str",
    "welder": "str",
    "window": "str",
    "closes_on": "datetime64[s]",
    "job": "str",
    "joint": "str",
    "rule": "str",
    "method": "str",
    "from_mm": "float64",
    "to_mm": "float64",
    "cell": "Int64",
    "why": "str",
}


def evidence_spots(
    qualifications: pd.DataFrame,
    confirmations: pd.DataFrame,
    examinations: pd.DataFrame,
    deposits: pd.DataFrame,
    joints: pd.DataFrame,
    cells: pd.DataFrame,
    *,
    as_of_day: date,
    within_days: int,
    rng: np.random.Generator,
    planned: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return a cell for each tested weld that a certificate lacks before its window closes.

    Parameters
    ----------
    qualifications, confirmations, examinations, deposits, joints : DataFrame
        Tables of the register, of all jobs: a weld of any job is evidence. Blank places of
        examinations and deposits mean the whole joint.
    cells : DataFrame
        Cells of a frame that are not drawn yet: ``job``, ``joint``, ``rule``, ``method``,
        ``from_mm``, ``to_mm``; the index names the cell.
    as_of_day : date
        The day from which on one looks ahead.
    within_days : int
        Windows that close on that day or up to so many days later are looked at.
    rng : Generator
        Chooses among the cells that fit: nobody points at a place.
    planned : DataFrame, optional
        Spots that are asked for: ``job``, ``joint``, ``method``, ``from_mm``, ``to_mm``. One that
        nobody looked into yet, and that would be evidence if accepted, needs no other beside it.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`, what closes first before the rest. Where nothing fits, or too
        little, ``cell`` is missing and ``why`` says so. A cell may serve two certificates of its
        welder and stands twice then; one exposure answers both.

    Notes
    -----
    A cell fits if an accepted examination of it would be evidence, it is part of a butt weld, and
    nobody looked inside it yet.
    """
    due = prove.windows(qualifications, confirmations, on=as_of_day)
    ahead = due["closes_on"] <= pd.Timestamp(as_of_day) + pd.Timedelta(days=within_days)
    due = due[ahead].sort_values(["closes_on", "welder", "certificate"], ignore_index=True)
    made = prove.made_by_all(deposits, joints)
    fits = prove.in_windows(due, made, qualifications.reset_index(drop=True))
    looked = prove.looked_inside(filled_places(examinations, joints))
    judged = looked[looked["verdict"].isin(["accept", "reject"])]
    accepted = prove.first_accepted(judged)
    asked = looked.iloc[:0] if planned is None else _asked(planned)
    asked = asked[~asked.index.isin(_touched(asked, [judged]))]
    both = pd.concat([accepted, asked], ignore_index=True)
    proof = prove.shown_in(both, made, fits[fits["covered"]])
    proof = proof.loc[proof["alone"], ["number", "weld"]].drop_duplicates()
    due = due.assign(lacking=due["needed"] - _counted(proof, due)).query("lacking > 0")
    free = prove.looked_inside(cells)
    open_ = prove.shown_in(free, made, fits[fits["covered"] & (fits["joint_type"] == "butt")])
    open_ = open_.assign(unseen=~open_["place"].isin(_touched(free, [judged, asked])))
    open_ = open_.merge(proof.assign(proven=True), on=["number", "weld"], how="left")
    fitting = open_[open_["alone"] & open_["unseen"] & open_["proven"].isna()]
    chosen = _chosen(fitting, due, pd.Series(rng.permutation(len(cells)), cells.index))
    return _told(due, chosen, cells, _reasons(due, fits, open_))


def _asked(planned: pd.DataFrame) -> pd.DataFrame:
    return prove.looked_inside(planned.reset_index(drop=True))


def _touched(places: pd.DataFrame, others: list[pd.DataFrame]) -> Any:
    columns = ["weld", "from_mm", "to_mm"]
    both = pd.concat([other[columns] for other in others], ignore_index=True)
    return prove.overlaps(places, both)["place"].unique()


def _counted(proof: pd.DataFrame, due: pd.DataFrame) -> "pd.Series[int]":
    return proof["number"].value_counts().reindex(due.index, fill_value=0)


def _chosen(fitting: pd.DataFrame, due: pd.DataFrame, chance: "pd.Series[int]") -> pd.DataFrame:
    """Return the cells taken for each window: by chance, each of another weld.

    Chance orders all cells once, so that two certificates of a welder meet in one cell where they
    can.
    """
    ranked = fitting.assign(chance=fitting["place"].map(chance))
    ranked = ranked.sort_values(["number", "chance"]).drop_duplicates(["number", "weld"])
    wanted = ranked["number"].map(due["lacking"]).fillna(0)
    return ranked[ranked.groupby("number").cumcount() < wanted]


def _reasons(due: pd.DataFrame, fits: pd.DataFrame, open_: pd.DataFrame) -> Any:
    """Return why no cell, or no further one, fits each window."""
    since = due["opens_on"].dt.strftime("%Y-%m-%d").astype("str")

    def none(rows: pd.DataFrame) -> Any:
        return ~due.index.isin(rows["number"])

    covered = fits[fits["covered"]]
    cases = [
        (fits, "the register has no weld of his made after " + since),
        (covered, "no weld of his made after " + since + " is within its range"),
        (covered[covered["joint_type"] == "butt"], "no butt weld of his is within its range"),
        (open_, "no cell that is not drawn yet shows such a weld by RT or UT"),
        (open_[open_["unseen"]], "each such place was looked into, or is asked for, already"),
        (open_[open_["unseen"] & open_["alone"]], "each such place shows another welder too"),
    ]
    missing = [none(rows) for rows, _ in cases]
    reason = np.select(missing, [text for _, text in cases], "there is no other weld that fits")
    return pd.Series(reason, index=due.index, dtype="str")


def _told(
    due: pd.DataFrame, chosen: pd.DataFrame, cells: pd.DataFrame, reasons: "pd.Series[str]"
) -> pd.DataFrame:
    """Return the chosen cells, and after them what each window still lacks, in words."""
    left = due["lacking"] - _counted(chosen, due)
    named = "certificate " + due["certificate"] + ", window closes "
    named += due["closes_on"].dt.strftime("%Y-%m-%d").astype("str")
    more = left.astype("str") + " more needed for " + named + ": " + reasons
    none = ("none found for " + named + ": " + reasons).where(left == due["lacking"], more)
    found = due.assign(why="qualification evidence: " + named).loc[chosen["number"]]
    place = cells.loc[chosen["place"], ["job", "joint", "rule", "method", "from_mm", "to_mm"]]
    found = found.assign(cell=chosen["place"].to_numpy(), **place.set_axis(found.index))
    rows = pd.concat([found, due.assign(why=none)[left > 0]]).reset_index(names="number")
    rows = rows.sort_values("number", kind="stable", ignore_index=True)
    return rows.reindex(columns=list(COLUMNS)).astype(COLUMNS)
