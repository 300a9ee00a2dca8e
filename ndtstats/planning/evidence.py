"""Production spots that keep a welder's qualification alive, where no test result does so yet.

ISO 9606-1 has two clocks (read in published accounts of it, not in the standard itself). Every six
months somebody confirms that the welder worked within his range (9.2). Under 9.3 b) a certificate
is prolonged by two years if two welds of the last six months were tested by radiography or
ultrasonics, and accepted. ISO 9606-2 follows the same pattern (from memory); ISO 9606-3 asks for
one weld. A confirmation by itself asks for no test; but a tested weld is evidence that nobody
disputes (common practice, no source), so one in each window is aimed for here. Which way of 9.3 was
agreed, the register does not say: the contract decides.
"""

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.intake.qualified import qualified
from ndtstats.places import filled_places, welders_of
from ndtstats.words import VOLUMETRIC

#: Months between confirmations, and before the end of validity in which tested welds count:
#: ISO 9606-1, 9.2 and 9.3 b).
MONTHS_9_2 = 6
#: Welds to be tested and accepted for a prolongation by two years: ISO 9606-1, 9.3 b).
TESTS_9_3_B = 2

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

_KEY = ["job", "joint"]


def windows(
    qualifications: pd.DataFrame, *, months: int = MONTHS_9_2, tests: int = TESTS_9_3_B
) -> pd.DataFrame:
    """Return the windows in which each certificate needs a tested weld.

    Parameters
    ----------
    qualifications : DataFrame
        Table of the register: a row for each welder, certificate and process.
    months : int
        Length of a window in calendar months; the day on which it closes belongs to it.
    tests : int
        Welds to be tested before ``valid_until``.

    Returns
    -------
    DataFrame
        Columns ``ticket`` (row of the certificate, from 0), ``certificate``, ``process``,
        ``welder``, ``window`` ("confirmation": since the test weld or the latest confirmation,
        one weld; "prolongation": before the end of validity, where one is stated), ``opens_on``
        (not part of it), ``closes_on`` and ``needed``.

    Examples
    --------
    >>> tickets = pd.DataFrame({"certificate": ["C-1"], "process": ["131"], "welder": ["K7"],
    ...     "qualified_on": pd.to_datetime(["2024-06-15"]),
    ...     "confirmed_on": pd.to_datetime(["2025-12-15"]),
    ...     "valid_until": pd.to_datetime(["2026-06-15"])})
    >>> windows(tickets)[["window", "opens_on", "closes_on", "needed"]]
             window   opens_on  closes_on  needed
    0  confirmation 2025-12-15 2026-06-15       1
    1  prolongation 2025-12-15 2026-06-15       2
    """
    tickets = qualifications.reset_index(drop=True)
    half_year = pd.DateOffset(months=months)
    last = tickets[["qualified_on", "confirmed_on"]].max(axis="columns")
    until = tickets["valid_until"]
    named = tickets[["certificate", "process", "welder"]].assign(ticket=tickets.index)
    both = pd.concat(
        [
            named.assign(
                window="confirmation", opens_on=last, closes_on=last + half_year, needed=1
            ),
            named.assign(
                window="prolongation", opens_on=until - half_year, closes_on=until, needed=tests
            ),
        ],
        ignore_index=True,
    )
    return both[both["closes_on"].notna()].reset_index(drop=True)


def evidence_spots(
    qualifications: pd.DataFrame,
    examinations: pd.DataFrame,
    deposits: pd.DataFrame,
    joints: pd.DataFrame,
    cells: pd.DataFrame,
    *,
    as_of_day: date,
    within_days: int,
    rng: np.random.Generator,
    planned: pd.DataFrame | None = None,
    months: int = MONTHS_9_2,
    tests: int = TESTS_9_3_B,
) -> pd.DataFrame:
    """Return a cell for each tested weld that a certificate lacks before its window closes.

    Parameters
    ----------
    qualifications, examinations, deposits, joints : DataFrame
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
    months, tests : int
        As for :func:`windows`.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`, what closes first before the rest. Where nothing fits, or too
        little, ``cell`` is missing and ``why`` says so. A cell may serve two certificates of its
        welder and stands twice then; one exposure answers both.

    Notes
    -----
    Evidence is a weld of the welder made in the window and within the range of the certificate
    (process, material group, joint type, position, thickness) with an accepted first examination by
    radiography or ultrasonics of a place that he alone welded: an image that cannot be tied to one
    welder proves nothing about him (common practice, no source). Two images of one joint are one
    weld. A cell fits if an accepted examination of it would be evidence, it is part of a butt weld,
    and nobody looked inside it yet.
    """
    due = windows(qualifications, months=months, tests=tests)
    today = pd.Timestamp(as_of_day)
    ahead = due["closes_on"].between(today, today + pd.Timedelta(days=within_days))
    due = due[ahead].sort_values(["closes_on", "welder", "certificate"], ignore_index=True)
    made = _pieces(deposits, joints)
    fits = _within_range(due, made, qualifications.reset_index(drop=True))
    looked = _inside(filled_places(examinations, joints))
    judged = looked[looked["verdict"].isin(["accept", "reject"])]
    accepted = judged[(judged["verdict"] == "accept") & (judged["round"] == 0)]
    asked = looked.iloc[:0] if planned is None else _inside(planned.reset_index(drop=True))
    asked = asked[~asked.index.isin(_touched(asked, [judged]))]
    proof = _welds(pd.concat([accepted, asked], ignore_index=True), made, fits[fits["covered"]])
    proof = proof.loc[proof["alone"], ["number", "weld"]].drop_duplicates()
    due = due.assign(lacking=due["needed"] - _counted(proof, due)).query("lacking > 0")
    free = _inside(cells)
    open_ = _welds(free, made, fits[fits["covered"] & (fits["joint_type"] == "butt")])
    open_ = open_.assign(unseen=~open_["place"].isin(_touched(free, [judged, asked])))
    open_ = open_.merge(proof.assign(proven=True), on=["number", "weld"], how="left")
    fitting = open_[open_["alone"] & open_["unseen"] & open_["proven"].isna()]
    chosen = _chosen(fitting, due, pd.Series(rng.permutation(len(cells)), cells.index))
    return _told(due, chosen, cells, _reasons(due, fits, open_))


def _key(frame: pd.DataFrame) -> "pd.Series[str]":
    """Return what tells one weld from another: joints of two jobs may share a number."""
    return frame["job"] + "\n" + frame["joint"]


def _pieces(deposits: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    """Return the pieces of work of all welders with what certificates range by."""
    of_joint = ["process", "position", "joint_type", "thickness_mm", "material"]
    made = deposits.reset_index(drop=True)
    known = joints.set_index(_key(joints))[of_joint].reindex(_key(made)).set_index(made.index)
    own = ["process", "position"]
    return made[["welder", "date", "from_mm", "to_mm"]].assign(
        weld=_key(made), **known.assign(**{name: made[name].fillna(known[name]) for name in own})
    )


def _within_range(due: pd.DataFrame, made: pd.DataFrame, tickets: pd.DataFrame) -> pd.DataFrame:
    """Return for each window (``number``) the pieces made in it, and whether they are in range."""
    opened = due[["ticket", "welder", "opens_on", "closes_on"]].reset_index(names="number")
    pairs = opened.merge(made.reset_index(names="piece"), on="welder")
    pairs = pairs[(pairs["date"] > pairs["opens_on"]) & (pairs["date"] <= pairs["closes_on"])]
    # Each certificate stands for a welder of its own, so that no other one covers his work.
    covered = qualified(pairs.assign(welder=pairs["ticket"]), tickets.assign(welder=tickets.index))
    return pairs[["number", "piece", "joint_type"]].assign(covered=covered)


def _inside(places: pd.DataFrame) -> pd.DataFrame:
    """Return the places that are looked into, each with its weld."""
    inside = places[places["method"].isin(VOLUMETRIC)]
    return inside.assign(weld=_key(inside))


def _welds(places: pd.DataFrame, made: pd.DataFrame, fits: pd.DataFrame) -> pd.DataFrame:
    """Return the places that show pieces which fit a window: ``number``, ``place``, ``weld``.

    ``alone`` says whether a place shows the work of that welder, and of nobody else.
    """
    at, by = places.assign(joint=places["weld"]), made.assign(joint=made["weld"])
    parts = welders_of(at, by)
    several = parts["cell"].duplicated(keep=False)
    sole = parts[~several & parts["shown"]].set_index("cell")["welder"]
    pairs = _overlaps(places, made.loc[fits["piece"].unique()].reset_index(names="piece"))
    shown = pairs.merge(fits[["number", "piece"]], on="piece")
    shown = shown.assign(alone=shown["place"].map(sole) == shown["welder"])
    keys = ["number", "place", "weld"]
    return shown.groupby(keys, as_index=False).agg(alone=("alone", "any"))


def _overlaps(places: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """Return each place (``place``: its index) beside the others of its weld that it touches."""
    mine = places[["weld", "from_mm", "to_mm"]].reset_index(names="place")
    pairs = mine.merge(others, on="weld", suffixes=("", "_other"))
    below = ~(pairs["from_mm_other"] >= pairs["to_mm"])
    return pairs[below & ~(pairs["to_mm_other"] <= pairs["from_mm"])]


def _touched(places: pd.DataFrame, others: list[pd.DataFrame]) -> Any:
    columns = ["weld", "from_mm", "to_mm"]
    both = pd.concat([other[columns] for other in others], ignore_index=True)
    return _overlaps(places, both)["place"].unique()


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
    since = due["opens_on"].dt.strftime("%Y-%m-%d")

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
    named += due["closes_on"].dt.strftime("%Y-%m-%d")
    more = left.astype("str") + " more needed for " + named + ": " + reasons
    none = ("none found for " + named + ": " + reasons).where(left == due["lacking"], more)
    found = due.assign(why="qualification evidence: " + named).loc[chosen["number"]]
    place = cells.loc[chosen["place"], ["job", "joint", "rule", "method", "from_mm", "to_mm"]]
    found = found.assign(cell=chosen["place"].to_numpy(), **place.set_axis(found.index))
    rows = pd.concat([found, due.assign(why=none)[left > 0]]).reset_index(names="number")
    rows = rows.sort_values("number", kind="stable", ignore_index=True)
    return rows.reindex(columns=list(COLUMNS)).astype(COLUMNS)
