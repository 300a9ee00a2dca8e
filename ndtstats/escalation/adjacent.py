"""Extras on both sides of a reject, until sound weld is reached or the whole lot is owed."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.escalation.coverage import covered_mm, gaps, named_in_order, overlaps
from ndtstats.escalation.items import ITEM_COLUMNS, SLIVER_MM, as_items, as_places
from ndtstats.numbers import looked_up
from ndtstats.rules import Procedure
from ndtstats.statistics import union_intervals

#: A neighbour counts as examined if at least this share of it is: common practice, no source.
_ENOUGH = 0.5


def neighbours(
    examinations: pd.DataFrame, population: pd.DataFrame, procedure: Procedure
) -> pd.DataFrame:
    """Return what rejects owe on both sides, and what became of it.

    Parameters and result as of :func:`ndtstats.escalation.decide.decide`; ``round`` of an extra is
    how many steps it lies from the reject that began the run.

    Notes
    -----
    Every reject owes the place on each side of it, unless that is examined already, the joint ends
    there, or its own image shows ``sound_margin_mm`` of good weld on that side. A neighbour that is
    rejected owes its own neighbour in turn, so that the run grows until sound weld bounds it.
    ``most_steps`` rejected extras in a row, in one direction, lead to the whole lot.
    """
    rejects = examinations[examinations["rejected"]].sort_values(["order", "lot"])
    rejects = rejects.drop_duplicates("ref").reset_index(drop=True)
    if rejects.empty:
        return as_items([])
    # A neighbour may be another welder's work: whoever it is charged to, it was looked at.
    looked = examinations.drop_duplicates("ref").rename(
        columns={"from_mm": "low_mm", "to_mm": "high_mm"}
    )[["ref", "joint", "low_mm", "high_mm", "order"]]
    ends = population.drop_duplicates("joint").set_index("joint")["length_mm"]
    rejects = rejects.assign(length_mm=looked_up(rejects["joint"], ends), **_steps(rejects))
    whole = _whole_lots(rejects, population, looked, procedure)
    sides = pd.concat(
        [_side(rejects, side, procedure) for side in ("left", "right")], ignore_index=True
    )
    return pd.concat([_extras(sides, looked, whole), whole], ignore_index=True)


def _steps(rejects: pd.DataFrame) -> dict[str, Any]:
    """Return the run that each reject belongs to, and how far it lies from the one that began it.

    Left of the first is negative. Rejects belong to one run if nothing worth an exposure lies
    between them.
    """
    runs = union_intervals(rejects["joint"], rejects["from_mm"], rejects["to_mm"] + SLIVER_MM)
    runs = runs.rename(columns={"group": "joint", "start": "from_mm"}).rename_axis("run")
    placed = pd.merge_asof(
        rejects[["joint", "from_mm", "order"]].reset_index().sort_values("from_mm"),
        runs.reset_index()[["run", "joint", "from_mm"]].sort_values("from_mm"),
        on="from_mm",
        by="joint",
    )
    placed = placed.assign(rank=placed.groupby("run").cumcount())
    began = placed.loc[placed.groupby("run")["order"].idxmin()].set_index("run")["rank"]
    placed = placed.assign(step=placed["rank"] - placed["run"].map(began)).set_index("index")
    return {"run": placed["run"], "step": placed["step"]}


def _side(rejects: pd.DataFrame, side: str, procedure: Procedure) -> pd.DataFrame:
    """Return the place that each reject asks for on one side, if it asks for one."""
    spot, length = procedure.spot_length_mm, rejects["length_mm"]
    if side == "left":
        low, high = (rejects["from_mm"] - spot).clip(lower=0.0), rejects["from_mm"]
        margin = rejects["bad_from_mm"].astype("float64") - rejects["from_mm"]
        round_ = 1 + (-rejects["step"]).clip(lower=0)
    else:
        low = rejects["to_mm"]
        high = (low + spot).clip(upper=length)
        margin = rejects["to_mm"] - rejects["bad_to_mm"].astype("float64")
        round_ = 1 + rejects["step"].clip(lower=0)
    needed = high - low >= SLIVER_MM
    if procedure.sound_margin_mm is not None:
        needed &= ~(margin >= procedure.sound_margin_mm)
    return pd.DataFrame(
        {
            "item": rejects["lot"] + "#" + rejects["ref"] + " " + side,
            "lot": rejects["lot"],
            "side": side,
            "joint": rejects["joint"],
            "from_mm": low,
            "to_mm": high,
            "round": round_,
            "because": rejects["ref"],
        }
    )[needed]


def _extras(sides: pd.DataFrame, looked: pd.DataFrame, whole: pd.DataFrame) -> pd.DataFrame:
    shared = overlaps(sides, looked)
    shared = shared[shared["ref"] != shared["because"]]
    length = sides["to_mm"] - sides["from_mm"]
    done = covered_mm(sides, shared) >= _ENOUGH * length
    taken = ~done & sides["lot"].isin(whole["lot"])
    answered = named_in_order(shared, sides).where(done, "")
    rows = sides.assign(
        what="extra",
        count=np.where(done | taken, 0, 1),
        places=_up_to_the_next(sides, shared),
        answered_by=answered.mask(taken, sides["lot"].map(whole.set_index("lot")["because"])),
        state=np.select([done, taken], ["done", "whole lot"], default="open"),
    )
    return as_items(rows[list(ITEM_COLUMNS)].itertuples(index=False, name=None))


def _up_to_the_next(sides: pd.DataFrame, shared: pd.DataFrame) -> "pd.Series[Any]":
    """Return the places, ended where an examination stands in the way.

    Between two rejects that are less than a spot apart both ask for the same place.
    """
    begins = shared[shared["start_mm"] > shared["from_mm"]].groupby("place")["start_mm"].min()
    ends = shared[shared["end_mm"] < shared["to_mm"]].groupby("place")["end_mm"].max()
    right = sides["side"] == "right"
    low = sides["from_mm"].where(right, ends.reindex(sides.index).fillna(sides["from_mm"]))
    high = sides["to_mm"].where(~right, begins.reindex(sides.index).fillna(sides["to_mm"]))
    return as_places(sides["joint"], low, high)


def _whole_lots(
    rejects: pd.DataFrame, population: pd.DataFrame, looked: pd.DataFrame, procedure: Procedure
) -> pd.DataFrame:
    """Return the lots with so long a run of rejects that all of each is owed."""
    far = rejects.assign(left=-rejects["step"]).groupby("run")[["left", "step"]].max().max(axis=1)
    long = rejects[rejects["run"].isin(far.index[far >= procedure.most_steps])]
    rows = []
    for lot, run in long.groupby("lot", sort=True):
        left = gaps(population[population["lot"] == lot], looked, least_mm=SLIVER_MM)
        places = left.astype({"joint": object}).to_dict("records")
        because = "; ".join(run["ref"])
        state = "open" if places else "done"
        rows.append(
            (f"{lot}#whole", lot, procedure.most_steps + 1, "whole lot", len(places), places,
             because, "" if places else _names(population[population["lot"] == lot], looked), state)
        )  # fmt: skip
    return as_items(rows)


def _names(cells: pd.DataFrame, looked: pd.DataFrame) -> str:
    """Return all examinations of some cells, in order."""
    refs = overlaps(cells[["joint", "from_mm", "to_mm"]], looked).sort_values("order")["ref"]
    return "; ".join(refs.drop_duplicates())
