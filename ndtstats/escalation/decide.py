"""What rejects set in motion: a pure function of the examinations in time order.

The same function tells what is owed today, what was owed on a past day, and what a simulated yard
would owe. It reads no clock and no register. The order of the rows does not matter, and what was
owed once stays an item for good: open, or done.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.rules import Procedure

#: Columns of the items that :func:`decide` and :func:`repairs` give.
ITEM_COLUMNS = ("item", "lot", "round", "what", "count", "places", "because", "state")

#: A place counts as examined if at least this share of it is: common practice, no source.
_COVERED = 0.5
#: What is left of a joint beyond a reject is not worth an exposure if shorter than this, in mm:
#: common practice, no source.
_SLIVER_MM = 25.0


def decide(
    examinations: pd.DataFrame, population: pd.DataFrame, procedure: Procedure
) -> pd.DataFrame:
    """Return everything that one procedure ever owed for some lots, and what is left of it.

    Parameters
    ----------
    examinations : DataFrame
        First examinations with a verdict, once for each lot they belong to. Columns: ``ref`` (text
        that names it in a message), ``lot``, ``joint``, ``from_mm``, ``to_mm``, ``rejected``
        (charged to this lot), ``bad_from_mm``, ``bad_to_mm`` (where the indications lie, or
        missing), ``date``, ``report``, ``sequence`` (order within a day, such as an id), ``role``
        ("initial": planned as a first examination; "extra": made for an owed item; "unknown": no
        plan tells), ``answers`` (the owed item it was made for, "" if none).
    population : DataFrame
        What each lot consists of: ``lot``, ``joint``, ``length_mm``, ``units`` (how many places can
        be examined on the joint: 1 where it is examined whole).
    procedure : Procedure
        Its parameters.

    Returns
    -------
    DataFrame
        Columns :data:`ITEM_COLUMNS`. ``round`` is the stage; ``what`` is "extra" or "whole lot";
        ``count`` is what is still owed; ``places`` where the rule fixes them; ``because`` names the
        rejects; ``state`` is "open", "done", or "exhausted" (the lot has fewer places left than are
        owed; what is left is owed, and the lot is then examined whole).

    Notes
    -----
    An examination of unknown role counts as an extra only if an extra is owed in its lot from an
    earlier day, or an earlier report of the same day: what was examined together with the reject
    was no answer to it. It then answers the lowest stage that is open.

    Examples
    --------
    Progressive examination of piping, ASME B31.3, 341.3.4: one bad weld, two more by the same
    welder.

    >>> from ndtstats.rules.procedures import PRESETS
    >>> films = pd.DataFrame({"ref": ["J1"], "lot": ["A"], "joint": ["J1"], "from_mm": [0.0],
    ...     "to_mm": [350.0], "rejected": [True], "bad_from_mm": [None], "bad_to_mm": [None],
    ...     "date": pd.to_datetime(["2026-03-01"]), "report": ["R-1"], "sequence": [1],
    ...     "role": ["initial"], "answers": [""]})
    >>> welds = pd.DataFrame({"lot": "A", "joint": [f"J{n}" for n in range(1, 11)],
    ...     "length_mm": 350.0, "units": 1})
    >>> decide(films, welds, PRESETS["progressive-piping"])[["what", "round", "count", "state"]]
        what  round  count state
    0  extra      1      2  open
    """
    concerned = examinations.loc[examinations["rejected"], "lot"].unique()
    mine = examinations[examinations["lot"].isin(concerned)]
    if procedure.where == "adjacent":
        return _adjacent(mine, population, procedure)
    units = population[population["lot"].isin(concerned)]
    items = [
        item
        for lot, rows in mine.groupby("lot", sort=True)
        for item in _lot_items(str(lot), rows, units[units["lot"] == lot], procedure)
    ]
    return pd.DataFrame(items, columns=list(ITEM_COLUMNS))


# ------------------------------------------------------------------ other places of the lot


@dataclass(slots=True)
class _Lot:
    """How far a lot has come: rejects, and extras examined, stage by stage."""

    procedure: Procedure
    units: int
    rejects: list[list[str]] = field(default_factory=list)
    done: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.rejects = [[] for _ in range(self.procedure.stages + 1)]
        self.done = [0] * (self.procedure.stages + 1)

    def owed(self, stage: int) -> int:
        """Return how many extras a stage asks for in all."""
        before = self.rejects[stage - 1]
        if not before:
            return 0
        if self.procedure.extra_shares:
            share = self.procedure.extra_shares[min(stage, len(self.procedure.extra_shares)) - 1]
            return math.ceil(share * self.units - 1e-9)
        return self.procedure.extras_per_reject * len(before)

    def open_stage(self) -> int | None:
        """Return the lowest stage that still owes an extra."""
        stages = range(1, self.procedure.stages + 1)
        return next((s for s in stages if self.owed(s) > self.done[s]), None)


def _lot_items(
    lot: str, rows: pd.DataFrame, population: pd.DataFrame, procedure: Procedure
) -> Iterator[tuple[Any, ...]]:
    state = _Lot(procedure, int(population["units"].sum()))
    ordered = rows.sort_values(["date", "report", "sequence", "ref"])
    for _, together in ordered.groupby(["date", "report"], sort=True):
        # What one report brings is judged by what was owed before it.
        given = [0] * (procedure.stages + 1)
        new: list[tuple[int, str, bool]] = []
        for row in together.itertuples():
            stage = _stage_of(row, lot, state, given)
            given[stage] += stage > 0
            new.append((stage, str(row.ref), bool(row.rejected)))
        for stage, ref, rejected in new:
            state.done[stage] += stage > 0
            if rejected:
                state.rejects[stage].append(ref)
    left = _unexamined(rows, population)
    yield from _stage_items(lot, state, left)


def _stage_of(row: Any, lot: str, state: _Lot, given: list[int]) -> int:
    """Return the stage that an examination answers, 0 for a first examination of its own."""
    if row.role == "initial":
        return 0
    if row.answers:
        owner, _, number = str(row.answers).rpartition("#")
        # Made for another lot's item, it is a first examination of this one.
        return min(int(number), state.procedure.stages) if owner == lot and number.isdigit() else 0
    for stage in range(1, state.procedure.stages + 1):
        if state.owed(stage) > state.done[stage] + given[stage]:
            return stage
    return 0


def _unexamined(rows: pd.DataFrame, population: pd.DataFrame) -> pd.DataFrame:
    """Return the joints of a lot with how many places each has left."""
    used = rows.groupby("joint")["ref"].nunique()
    units = population.set_index("joint")["units"]
    left = (units - used.reindex(units.index, fill_value=0)).clip(lower=0)
    return left[left > 0].astype(int).to_frame("units")


def _stage_items(lot: str, state: _Lot, left: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    procedure = state.procedure
    free = int(left["units"].sum())
    whole = bool(state.rejects[procedure.stages])
    for stage in range(1, procedure.stages + 1):
        owed = state.owed(stage)
        if not owed:
            continue
        # The whole lot takes in whatever extras were still owed.
        missing = 0 if whole else max(owed - state.done[stage], 0)
        condition = "done" if not missing else "open" if missing <= free else "exhausted"
        because = "; ".join(state.rejects[stage - 1])
        yield (f"{lot}#{stage}", lot, stage, "extra", min(missing, free), [], because, condition)
        free -= min(missing, free)
    if whole:
        places = [{"joint": str(joint)} for joint in left.index]
        because = "; ".join(state.rejects[procedure.stages])
        condition = "open" if len(left) else "done"
        count = int(left["units"].sum())
        stage = procedure.stages + 1
        yield (f"{lot}#{stage}", lot, stage, "whole lot", count, places, because, condition)


# ------------------------------------------------------------------ both sides of the reject


def _adjacent(
    examinations: pd.DataFrame, population: pd.DataFrame, procedure: Procedure
) -> pd.DataFrame:
    rejects = examinations[examinations["rejected"]].drop_duplicates("ref")
    rejects = rejects.merge(
        population[["lot", "joint", "length_mm"]].drop_duplicates(["lot", "joint"]),
        on=["lot", "joint"],
        how="left",
    )
    sides = pd.concat(
        [_side(rejects, "left", procedure), _side(rejects, "right", procedure)], ignore_index=True
    )
    sides = sides.assign(state=np.where(_covered(sides, examinations), "done", "open"))
    long_run = rejects.groupby(["lot", "joint"]).filter(lambda r: len(r) > procedure.most_steps)
    whole = _whole_joints(long_run, examinations)
    sides.loc[sides["joint"].isin(whole["joint"]), "state"] = "done"
    count = np.where(sides["state"] == "open", 1, 0)
    items = sides.assign(round=1, what="extra", count=count)
    return pd.concat([items[list(ITEM_COLUMNS)], whole[list(ITEM_COLUMNS)]], ignore_index=True)


def _side(rejects: pd.DataFrame, side: str, procedure: Procedure) -> pd.DataFrame:
    """Return the place that each reject asks for on one side, if it asks for one."""
    spot, length = procedure.spot_length_mm, rejects["length_mm"]
    if side == "left":
        low, high = (rejects["from_mm"] - spot).clip(lower=0.0), rejects["from_mm"]
        margin = rejects["bad_from_mm"].astype("float64") - rejects["from_mm"]
    else:
        low = rejects["to_mm"]
        high = (low + spot).where(low + spot < length, length)
        margin = rejects["to_mm"] - rejects["bad_to_mm"].astype("float64")
    needed = high - low >= _SLIVER_MM
    if procedure.sound_margin_mm is not None:
        needed &= ~(margin >= procedure.sound_margin_mm)
    rows = pd.DataFrame(
        {
            "item": rejects["lot"] + "#" + rejects["ref"] + " " + side,
            "lot": rejects["lot"],
            "joint": rejects["joint"],
            "ref": rejects["ref"],
            "low": low,
            "high": high,
            "because": rejects["ref"],
        }
    )[needed]
    return rows.assign(places=_places(rows["joint"], rows["low"], rows["high"]))


def _places(joints: Any, low: Any, high: Any) -> Any:
    """Return places as lists of one, in the form that machines get."""
    rows = zip(joints, low, high, strict=True)
    return pd.Series(
        [[{"joint": j, "from_mm": float(a), "to_mm": float(b)}] for j, a, b in rows],
        index=joints.index,
        dtype=object,
    )


def _covered(sides: pd.DataFrame, examinations: pd.DataFrame) -> Any:
    """Return where some examination other than the reject itself covers the place."""
    pairs = (
        sides[["joint", "ref", "low", "high"]]
        .reset_index(names="side")
        .merge(
            examinations[["joint", "ref", "from_mm", "to_mm"]], on="joint", suffixes=("", "_other")
        )
    )
    pairs = pairs[pairs["ref"] != pairs["ref_other"]]
    shared = np.minimum(pairs["high"], pairs["to_mm"]) - np.maximum(pairs["low"], pairs["from_mm"])
    enough = shared >= _COVERED * (pairs["high"] - pairs["low"])
    return sides.index.isin(pairs.loc[enough, "side"])


def _whole_joints(rejects: pd.DataFrame, examinations: pd.DataFrame) -> pd.DataFrame:
    """Return the joints with so long a run of rejects that all of each is owed."""
    by_joint = rejects.groupby(["lot", "joint"], as_index=False, sort=True)
    rows = by_joint.agg(because=("ref", "; ".join), length_mm=("length_mm", "first"))
    looked = examinations.groupby("joint").agg(low=("from_mm", "min"), high=("to_mm", "max"))
    looked = looked.reindex(rows["joint"]).reset_index(drop=True)
    whole = (looked["low"] <= _SLIVER_MM) & (looked["high"] >= rows["length_mm"] - _SLIVER_MM)
    return rows.assign(
        item=rows["lot"] + "#" + rows["joint"] + " whole",
        round=2,
        what="whole lot",
        count=np.where(whole, 0, 1),
        places=_places(rows["joint"], 0.0 * rows["length_mm"], rows["length_mm"]),
        state=np.where(whole, "done", "open"),
    )


# ------------------------------------------------------------------ repairs


def repairs(rejects: pd.DataFrame, re_examinations: pd.DataFrame) -> pd.DataFrame:
    """Return the repair and the re-examination that each reject asks for, and what is left of it.

    Parameters
    ----------
    rejects : DataFrame
        Rejected first examinations, each once: ``ref``, ``lot``, ``joint``, ``method``,
        ``from_mm``, ``to_mm``, ``bad_from_mm``, ``bad_to_mm``.
    re_examinations : DataFrame
        Examinations of round 1 and more with a verdict: ``ref``, ``joint``, ``method``,
        ``from_mm``, ``to_mm``, ``round``, ``rejected``.

    Returns
    -------
    DataFrame
        Columns :data:`ITEM_COLUMNS`; ``what`` is "repair" or "re-examine", ``round`` the repair.

    Notes
    -----
    A repair is examined again by the same method, over the same place (ASME B31.3, 341.3.3; seen);
    a defect in a repair is repaired again and starts no new extras (341.3.4(f); seen). A
    re-examination that misses the place of the reject does not close it, and is said so.
    """
    where = ["ref", "joint", "method", "from_mm", "to_mm"]
    pairs = rejects[[*where, "bad_from_mm", "bad_to_mm"]].merge(
        re_examinations[[*where, "round", "rejected"]],
        on=["joint", "method"],
        suffixes=("", "_again"),
    )
    low = pairs["bad_from_mm"].astype("float64").fillna(pairs["from_mm"])
    high = pairs["bad_to_mm"].astype("float64").fillna(pairs["to_mm"])
    covers = (pairs["from_mm_again"] <= low + _SLIVER_MM) & (
        pairs["to_mm_again"] >= high - _SLIVER_MM
    )
    last = pairs[covers].sort_values(["round", "ref_again"])
    last = last.drop_duplicates("ref", keep="last")[["ref", "ref_again", "round", "rejected"]]
    found = rejects[["ref"]].merge(last, on="ref", how="left").set_axis(rejects.index)
    examined = found["ref_again"].notna()
    bad_again = found["rejected"].astype("boolean").fillna(value=False).astype(bool)
    closed = examined & ~bad_again
    number = (found["round"].fillna(1) + bad_again).astype(int)
    because = rejects["ref"].where(~bad_again, rejects["ref"] + "; " + found["ref_again"])
    # A re-examination that covers some other reject of the joint was not meant for this one.
    astray_ones = ~pairs["ref_again"].isin(pairs.loc[covers, "ref_again"])
    missed = pairs[astray_ones].groupby("ref")["ref_again"].agg("; ".join)
    astray = rejects["ref"].map(missed.astype(object)).astype("str")
    because = because.where(
        astray.isna() | closed, because + "; does not cover the place: " + astray
    )
    state = np.where(closed, "done", "open")
    base = pd.DataFrame(
        {
            "lot": rejects["lot"].to_numpy(),
            "round": number.to_numpy(),
            "count": np.where(closed, 0, 1),
            "places": _places(rejects["joint"], rejects["from_mm"], rejects["to_mm"]).to_numpy(),
            "because": because.to_numpy(),
            "state": state,
        }
    )
    kinds = [
        base.assign(what=what, item=(rejects["ref"] + "#" + what).to_numpy())
        for what in ("repair", "re-examine")
    ]
    return pd.concat(kinds, ignore_index=True)[list(ITEM_COLUMNS)]
