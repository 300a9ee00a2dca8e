"""From a rule and its cells to the numbers of the draw: which cells form a stratum, how many each.

A cell that the rule leaves no choice about has probability 1 and is ``required``; the others are
drawn by chance within their stratum.
"""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.planning.draw import allocate, inclusion_probabilities
from ndtstats.rules import ExtentRule, Structure, spots_required
from ndtstats.rules.amount import first_off_mm, spots_for_length


def strata_of(cells: pd.DataFrame, rule: ExtentRule, structure: Structure) -> pd.DataFrame:
    """Return stratum, probability and reason of each cell that one rule is about.

    Parameters
    ----------
    cells : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, ``mandatory``, ``welder`` (leading), ``risk``,
        ``first_off`` (flag), ``joint_mm`` (length of the joint); the index names the cell.
    rule : ExtentRule
        The rule; its amount is worked out for all these cells together.
    structure : Structure
        Dimensions, for check points.

    Returns
    -------
    DataFrame
        Columns ``stratum`` (text), ``number`` (cells to draw from the stratum), ``pi``, ``why``,
        aligned to ``cells``. In each stratum ``pi`` adds up to ``number``.
    """
    length = cells["to_mm"] - cells["from_mm"]
    welders = [name for name in pd.unique(cells["welder"]) if name]
    wanted = spots_required(
        rule,
        length_mm=float(length.sum()),
        joints=cells["joint"].nunique(),
        welders=len(welders),
        structure=structure,
    )
    stratum = pd.Series("", index=cells.index, dtype="str")
    number = pd.Series(0, index=cells.index)
    why = pd.Series("", index=cells.index, dtype="str")
    certain = _certain(cells, rule)
    stratum[certain != ""] = "certain"
    number[certain != ""] = int((certain != "").sum())
    why = why.mask(certain != "", certain)
    left = wanted - int((certain != "").sum())
    if "first-off" in rule.always:
        left -= _first_off(cells, rule, stratum, number, why)
    for place in rule.first:
        left -= _class_of(cells, place, left, stratum, number, why)
    _by_welder(cells, rule, length, left, stratum, number, why)
    size = (length * cells["risk"]).to_numpy(float)
    return pd.DataFrame({"stratum": stratum, "number": number, "why": why}).assign(
        pi=_probabilities(size, stratum, number)
    )


def _certain(cells: pd.DataFrame, rule: ExtentRule) -> Any:
    """Return why a cell must be examined whatever chance says, "" where it need not."""
    why = pd.Series("", index=cells.index, dtype="str")
    if rule.everything:
        return why.mask(why == "", "the rule asks for all of it")
    if "crossings" in rule.always:
        why = why.mask(cells["mandatory"] == "crossing", "every crossing")
    if "ends" in rule.always:
        why = why.mask(cells["mandatory"] == "end", "every end")
    return why


def _first_off(cells: pd.DataFrame, rule: ExtentRule, stratum: Any, number: Any, why: Any) -> int:
    """Give each first-off joint a stratum of its own; return how many cells that takes."""
    mine = cells["first_off"] & (stratum == "")
    if not mine.any():
        return 0
    joints = cells.loc[mine, "joint"]
    of_joint = cells.loc[mine].groupby("joint")["joint_mm"].first()
    wanted = np.maximum(spots_for_length(first_off_mm(rule, of_joint), rule.spot_length_mm), 1)
    room = joints.value_counts().reindex(of_joint.index)
    take = pd.Series(np.minimum(wanted, room), index=of_joint.index).astype(int)
    stratum[mine] = "first-off " + joints
    number[mine] = joints.map(take)
    why[mine] = f"first-off work of a {rule.first_off.of}"
    return int(take.sum())


def _class_of(
    cells: pd.DataFrame, place: str, left: int, stratum: Any, number: Any, why: Any
) -> int:
    """Spend what is left of the number on one class of places; return how many that takes."""
    masks = {
        "crossings": cells["mandatory"] == "crossing",
        "ends": cells["mandatory"] == "end",
        "first-off": cells["first_off"],
    }
    mine = masks[place] & (stratum == "")
    take = min(max(left, 0), int(mine.sum()))
    stratum[mine] = place
    number[mine] = take
    why[mine] = f"{place} first"
    return take


def _by_welder(
    cells: pd.DataFrame,
    rule: ExtentRule,
    length: Any,
    left: int,
    stratum: Any,
    number: Any,
    why: Any,
) -> None:
    """Spread the rest over welders: the least for each first, then by length."""
    mine = stratum == ""
    if not mine.any():
        return
    by_welder = length[mine].groupby(cells.loc[mine, "welder"])
    given = allocate(max(left, 0), by_welder.sum(), by_welder.size(), rule.spots_per_welder)
    take = pd.Series(given, index=by_welder.sum().index)
    welder = cells.loc[mine, "welder"]
    stratum[mine] = "welder " + welder.where(welder != "", "unknown")
    number[mine] = welder.map(take)
    why[mine] = "drawn by chance"


def _probabilities(size: Any, stratum: Any, number: Any) -> Any:
    codes, names = pd.factorize(stratum, sort=False)
    wanted = np.zeros(len(names))
    wanted[codes] = number
    return inclusion_probabilities(size, codes, wanted)
