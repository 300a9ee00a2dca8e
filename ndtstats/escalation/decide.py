"""What rejects set in motion: a pure function of the examinations in time order.

The same function tells what is owed today, what was owed on a past day, and what a simulated yard
would owe. It reads no clock and no register. The order of the rows does not matter, and what was
owed once stays an item for good: open, or closed by examinations that it names.
"""

import math
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.escalation.adjacent import neighbours
from ndtstats.escalation.coverage import covered_mm, gaps, overlaps
from ndtstats.escalation.items import ITEM_COLUMNS, SLIVER_MM, as_items, waive_items
from ndtstats.rules import Procedure

#: A place counts as examined if at least this share of it is: common practice, no source.
_EXAMINED = 0.5

#: What is decided by: columns of the examinations, beside the lot and the day of welding.
DECIDED_BY = (
    "ref", "joint", "from_mm", "to_mm", "rejected", "bad_from_mm", "bad_to_mm", "date", "report",
    "sequence", "role", "answers",
)  # fmt: skip

_Columns = dict[str, npt.NDArray[Any]]


def decide(
    examinations: pd.DataFrame,
    population: pd.DataFrame,
    procedure: Procedure,
    waived: Mapping[str, pd.Timestamp] | None = None,
) -> pd.DataFrame:
    """Return everything that one procedure ever owed for some lots, and what is left of it.

    Parameters
    ----------
    examinations : DataFrame
        First examinations by one method that accepted or rejected, once for each lot they belong
        to. Columns: ``ref`` (text that names it), ``lot``, ``joint``, ``from_mm``, ``to_mm``,
        ``rejected`` (charged to this lot), ``bad_from_mm``, ``bad_to_mm`` (where the indications
        lie, or missing), ``date``, ``report``, ``sequence`` (order within a report, such as an
        id), ``role`` ("initial": planned as a first examination; "extra": made for an owed item;
        "unknown": no plan tells), ``answers`` (the owed item it was made for, "" if none), and
        ``welded`` (the day, or missing).
    population : DataFrame
        What the lots consist of, a row for each place that can be examined: ``lot``, ``joint``,
        ``from_mm``, ``to_mm``, ``length_mm`` (of the joint), ``welded``. Places of one joint and
        lot do not overlap.
    procedure : Procedure
        Its parameters.
    waived : mapping of str to Timestamp, optional
        Items that are not asked for any more, and the day of that decision: what was examined
        later answers the items behind them.

    Returns
    -------
    DataFrame
        Columns :data:`~ndtstats.escalation.items.ITEM_COLUMNS`; "extra" and "whole lot" items.

    Notes
    -----
    An examination answers the item it was made for. One that no plan tells of (or that was made
    for another lot) answers the oldest item of its lot that still lacks one, if the item is owed
    from an earlier day, or an earlier report of the same day, and its place had not been examined
    before: what was examined together with the reject is no answer to it, and neither is the same
    place again. All others are first examinations of their own, and a reject among them begins the
    procedure anew.

    A reject among the extras of the last stage makes the whole lot owed: what was welded by that
    day. A reject found in it is repaired and begins nothing; what is welded later is judged anew
    (ASME B31.3, 341.3.4(e), (f); seen).

    Examples
    --------
    Progressive examination of piping, ASME B31.3, 341.3.4: one bad weld, two more by the same
    welder.

    >>> from ndtstats.rules.procedures import PRESETS
    >>> films = pd.DataFrame({"ref": ["J1"], "lot": ["A"], "joint": ["J1"], "from_mm": [0.0],
    ...     "to_mm": [350.0], "rejected": [True], "bad_from_mm": [None], "bad_to_mm": [None],
    ...     "date": pd.to_datetime(["2026-03-01"]), "report": ["R-1"], "sequence": [1],
    ...     "role": ["initial"], "answers": [""], "welded": pd.to_datetime(["2026-02-20"])})
    >>> welds = pd.DataFrame({"lot": "A", "joint": [f"J{n}" for n in range(1, 11)],
    ...     "from_mm": 0.0, "to_mm": 350.0, "length_mm": 350.0,
    ...     "welded": pd.Timestamp("2026-02-20")})
    >>> decide(films, welds, PRESETS["progressive-piping"])[["what", "round", "count", "state"]]
        what  round  count state
    0  extra      1      2  open
    """
    if not examinations["rejected"].any():
        return as_items([])
    ordered = _in_order(examinations)
    waived = waived or {}
    if procedure.where == "adjacent":
        return waive_items(neighbours(ordered, population, procedure), waived)
    mine, cells, looked, lots = _coded(ordered, population)
    mine = mine.assign(fresh=_fresh(mine))
    cells = cells.assign(free=_free(cells, looked))
    size = cells.groupby("lot")["free"].agg(["size", "sum"]).to_dict("index")
    rows: list[tuple[Any, ...]] = []
    wholes: list[_Whole] = []
    for number, columns in _by_lot(mine):
        known = size.get(number, {"size": 0, "sum": 0})
        walk = _Walk(str(lots[number]), columns, procedure, int(known["size"]), waived)
        rows += _extras_told(walk, int(known["sum"]))
        wholes += walk.wholes
    told = [as_items(rows), _wholes_told(wholes, mine, cells, looked, procedure.stages + 1, lots)]
    return waive_items(pd.concat(told, ignore_index=True), waived)


def _in_order(examinations: pd.DataFrame) -> pd.DataFrame:
    """Return the examinations in time order, with ``moment``: the report that brought them."""
    rows = examinations.astype({"from_mm": "float64", "to_mm": "float64"})
    report = pd.factorize(rows["report"], sort=True)[0]
    rows = rows.iloc[np.lexsort((rows["sequence"], report, rows["date"]))].reset_index(drop=True)
    moment = rows[["date", "report"]].ne(rows[["date", "report"]].shift()).any(axis=1).cumsum() - 1
    rows = rows.assign(moment=moment)
    # Few rows are alike in all that; only they are worth the rest of the sorting.
    keys = ["moment", "sequence"]
    alike = np.flatnonzero(rows.duplicated(keys, keep=False))
    if len(alike):
        sorted_ = rows.iloc[alike].sort_values([*keys, "joint", "from_mm", "ref", "lot"])
        position = np.arange(len(rows))
        position[alike] = sorted_.index
        rows = rows.iloc[position].reset_index(drop=True)
    return rows.assign(order=np.arange(len(rows)))


def _coded(
    ordered: pd.DataFrame, population: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, "pd.Index[str]"]:
    """Return the examinations and places of lots with a reject, all that was examined, and names.

    Lots and joints are numbers, for text is slow to compare; ``weld`` names the joint.
    """
    codes, lots = pd.factorize(ordered["lot"], sort=True)
    concerned = np.bincount(codes, ordered["rejected"], len(lots)) > 0
    among = lots.get_indexer(pd.Index(population["lot"]))
    inside = (among >= 0) & concerned[among]
    joints, _ = pd.factorize(pd.concat([ordered["joint"], population["joint"]]))
    rows = ordered.assign(lot=codes, joint=joints[: len(ordered)])
    looked = rows.rename(columns={"from_mm": "low_mm", "to_mm": "high_mm"})
    looked = looked[["ref", "joint", "low_mm", "high_mm", "order"]].drop_duplicates("ref")
    mine = rows[concerned[codes]].sort_values("lot", kind="stable", ignore_index=True)
    cells = population[["from_mm", "to_mm", "welded"]].assign(
        lot=among, joint=joints[len(ordered) :], weld=population["joint"]
    )
    return mine, cells[inside].reset_index(drop=True), looked, lots


def _fresh(rows: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Return which examinations look at a place that no earlier one of the lot had looked at."""
    places = rows[["lot", "joint", "from_mm", "to_mm", "order"]]
    places = places[places.duplicated(["lot", "joint"], keep=False)]
    pairs = (
        places.rename_axis("row")
        .reset_index()
        .merge(places, on=["lot", "joint"], suffixes=("", "_before"))
    )
    pairs = pairs[pairs["order_before"] < pairs["order"]]
    shared = np.minimum(pairs["to_mm"], pairs["to_mm_before"]) - np.maximum(
        pairs["from_mm"], pairs["from_mm_before"]
    )
    seen = pairs.loc[shared >= _EXAMINED * (pairs["to_mm"] - pairs["from_mm"]), "row"]
    return ~np.isin(np.arange(len(rows)), seen)


def _free(cells: pd.DataFrame, looked: pd.DataFrame) -> "pd.Series[bool]":
    """Return which places of the lots are still to be examined."""
    seen = covered_mm(cells, overlaps(cells[["joint", "from_mm", "to_mm"]], looked))
    return seen < _EXAMINED * (cells["to_mm"] - cells["from_mm"])


def _by_lot(rows: pd.DataFrame) -> Iterator[tuple[int, _Columns]]:
    """Yield each lot with its columns as arrays: a frame for each of many lots would be slow."""
    names = ("ref", "rejected", "role", "answers", "moment", "fresh", "welded", "date")
    columns = {name: rows[name].to_numpy() for name in names}
    lots = rows["lot"].to_numpy()
    first = np.flatnonzero(lots[1:] != lots[:-1]) + 1
    for start, end in pairwise([0, *first, len(lots)]):
        yield int(lots[start]), {name: column[start:end] for name, column in columns.items()}


# ------------------------------------------------------------------ one lot, in time order


@dataclass(slots=True)
class _Item:
    """What one reject asks for (or several at once, where the rule asks for a share)."""

    name: str
    stage: int
    needed: int
    moment: int
    because: list[str]
    answers: list[str] = field(default_factory=list)
    taken_by: str = ""
    waived: Any = None

    @property
    def missing(self) -> int:
        return 0 if self.taken_by else max(self.needed - len(self.answers), 0)


@dataclass(slots=True)
class _Whole:
    """The whole lot owed: what was welded by a day, and after the whole lot owed before it."""

    name: str
    lot: str
    because: str
    until: Any
    position: int


class _Walk:
    """The examinations of one lot in turn: which item each answers, and what a reject opens.

    While nothing is owed, only rejects matter, so that a long clean record costs nothing.
    """

    def __init__(
        self,
        lot: str,
        columns: _Columns,
        procedure: Procedure,
        places: int,
        waived: Mapping[str, pd.Timestamp],
    ) -> None:
        self.lot, self.procedure, self.places, self.waived = lot, procedure, places, waived
        self.rows = columns
        self.items: dict[str, _Item] = {}
        self.open: deque[_Item] = deque()
        self.wholes: list[_Whole] = []
        rejects = np.flatnonzero(columns["rejected"])
        position = self._next(rejects, -1)
        while position < len(columns["ref"]):
            self._take(position)
            position = position + 1 if self.open else self._next(rejects, position)

    def _next(self, rejects: npt.NDArray[np.intp], position: int) -> int:
        at = int(np.searchsorted(rejects, position, side="right"))
        return int(rejects[at]) if at < len(rejects) else len(self.rows["ref"])

    def _take(self, position: int) -> None:
        if self._in_whole(position):
            return
        item = self._answered(position)
        ref = str(self.rows["ref"][position])
        if item is not None:
            item.answers.append(ref)
            if not item.missing and item in self.open:
                self.open.remove(item)
        if self.rows["rejected"][position]:
            self._set_off(position, ref, item.stage + 1 if item else 1)

    def _in_whole(self, position: int) -> bool:
        if not self.wholes:
            return False
        welded = self.rows["welded"][position]
        return bool(pd.isna(welded) or welded <= self.wholes[-1].until)

    def _answered(self, position: int) -> _Item | None:
        """Return the item that an examination answers, None if it stands for itself."""
        if self.rows["role"][position] == "initial":
            return None
        named = self.items.get(str(self.rows["answers"][position]))
        if named is not None:
            return named
        while self.open and self._given_up(self.open[0], position):
            self.open.popleft()
        first = self.open[0] if self.open else None
        # Items stand in the order in which they were opened: if the first is too young, all are.
        if first is None or first.moment >= self.rows["moment"][position]:
            return None
        return first if self.rows["fresh"][position] else None

    def _given_up(self, item: _Item, position: int) -> bool:
        return item.waived is not None and bool(self.rows["date"][position] > item.waived)

    def _set_off(self, position: int, ref: str, stage: int) -> None:
        procedure = self.procedure
        if stage > procedure.stages:
            until = self.rows["date"][position]
            self.wholes.append(_Whole(f"{self.lot}#{ref} whole", self.lot, ref, until, position))
            for item in self.open:
                item.taken_by = ref
            self.open.clear()
            return
        if procedure.extra_shares:
            # A share is asked for once, however many rejects there were.
            same = next((item for item in self.open if item.stage == stage), None)
            if same is not None:
                same.because.append(ref)
                return
        name = f"{self.lot}#{ref}"
        moment = int(self.rows["moment"][position])
        day = self.waived.get(name)
        item = _Item(
            name, stage, self._needed(stage), moment, [ref],
            waived=None if day is None else day.to_datetime64(),
        )  # fmt: skip
        self.items[name] = item
        if item.missing:
            self.open.append(item)

    def _needed(self, stage: int) -> int:
        shares = self.procedure.extra_shares
        if not shares:
            return self.procedure.extras_per_reject
        share = shares[min(stage, len(shares)) - 1]
        # 0.1 × 30 is a hair over 3 in binary figures and still means three.
        return math.ceil(share * self.places - 1e-9)


def _extras_told(walk: _Walk, free: int) -> Iterator[tuple[Any, ...]]:
    """Yield the extras of one lot as rows; ``free`` places are left to examine."""
    for item in walk.items.values():
        owed = 0 if item.waived is not None else min(item.missing, free)
        state = "exhausted" if item.missing > free else "open" if item.missing else "done"
        if item.taken_by:
            state = "whole lot"
        answers = "; ".join([*item.answers, *([item.taken_by] if item.taken_by else [])])
        because = "; ".join(item.because)
        yield (item.name, walk.lot, item.stage, "extra", owed, [], because, answers, state)
        free -= owed


def _wholes_told(
    wholes: list[_Whole],
    rows: pd.DataFrame,
    cells: pd.DataFrame,
    looked: pd.DataFrame,
    stage: int,
    lots: "pd.Index[str]",
) -> pd.DataFrame:
    """Return all whole lots as items, with what of their places is left and what was examined."""
    if not wholes:
        return as_items([])
    table = pd.DataFrame(wholes)
    names = table["lot"]
    table = table.assign(lot=lots.get_indexer(pd.Index(names)))
    numbered = rows.assign(position=rows.groupby("lot").cumcount())
    after = _reached(numbered[["lot", "welded", "ref", "position"]], table)
    after = after[after["position"] > after["whole"].map(table["position"])]
    after = after.sort_values("position", kind="stable")
    held = _reached(cells, table)
    left = _left(held, looked)
    free = held.groupby("whole")["free"].sum().reindex(table.index, fill_value=0)
    places = [left.get(number, []) for number in table.index]
    some = np.array([bool(one) for one in places])
    # A place half examined is no longer free to be drawn, but what is left of it is owed here.
    items = pd.DataFrame(
        {
            "item": table["name"], "lot": names, "round": stage, "what": "whole lot",
            "count": np.where(some, free.clip(lower=1), 0), "because": table["because"],
            "answered_by": after.groupby("whole")["ref"].agg("; ".join).reindex(table.index),
            "state": np.where(some, "open", "done"),
        }
    )  # fmt: skip
    items = items.assign(places=pd.Series(places, dtype=object)).fillna({"answered_by": ""})
    return as_items(items[list(ITEM_COLUMNS)].itertuples(index=False, name=None))


def _reached(rows: pd.DataFrame, wholes: pd.DataFrame) -> pd.DataFrame:
    """Return rows with each whole lot, ``whole``, that takes them in, by the day of welding.

    The whole lots of one lot follow each other in time, so that a day belongs to the first that
    reaches it; what was welded on no day that is known belongs to all of them.
    """
    reach = wholes[["lot", "until"]].rename_axis("whole").reset_index()
    reach = reach.astype({"until": "datetime64[us]"}).sort_values("until")
    rows = rows.astype({"welded": "datetime64[us]"})
    dated = rows[rows["welded"].notna()].sort_values("welded", kind="stable")
    found = pd.merge_asof(
        dated, reach, left_on="welded", right_on="until", by="lot", direction="forward"
    )
    undated = rows[rows["welded"].isna()].merge(reach, on="lot")
    both = pd.concat([found.dropna(subset="whole"), undated], ignore_index=True)
    return both.astype({"whole": "int64"})


def _left(held: pd.DataFrame, looked: pd.DataFrame) -> dict[int, list[dict[str, Any]]]:
    """Return the places that examinations leave of each whole lot."""
    # One joint may lie in several whole lots, each with its own part of it.
    piece = held.groupby(["whole", "joint"], sort=True).ngroup()
    pieces = held.assign(piece=piece).drop_duplicates("piece").set_index("piece")
    mine = looked.merge(pieces[["joint"]].reset_index(), on="joint")
    left = gaps(
        held.assign(joint=piece)[["joint", "from_mm", "to_mm"]],
        mine.assign(joint=mine["piece"]),
        least_mm=SLIVER_MM,
    )
    of = pieces.loc[left["joint"]]
    places = zip(of["weld"], left["from_mm"], left["to_mm"], strict=True)
    told = [{"joint": str(j), "from_mm": float(a), "to_mm": float(b)} for j, a, b in places]
    whole = of["whole"].to_numpy()
    first = np.flatnonzero(np.diff(whole, prepend=-1))
    return {int(whole[a]): told[a:b] for a, b in pairwise([*first, len(told)])}
