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


def strata_of(
    cells: pd.DataFrame, rule: ExtentRule, structure: Structure, *, length_mm: float
) -> pd.DataFrame:
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
    length_mm : float
        Weld length that the amount is worked out for. It may be more than that of the cells: a
        metre in so many of butts, beside their crossings, is counted on the whole butts.

    Returns
    -------
    DataFrame
        Columns ``stratum`` (text), ``number`` (cells to draw from the stratum), ``pi``, ``why``,
        aligned to ``cells``. In each stratum ``pi`` adds up to ``number``.

    Notes
    -----
    What must be examined whatever chance says comes first; then what is still lacking to show the
    work of each welder, from his own cells; then what is left of the number, on the places named by
    ``rule.first`` in their order, and on the rest by length.
    """
    table = cells.assign(
        length_mm=cells["to_mm"] - cells["from_mm"],
        stratum=pd.Series("", index=cells.index, dtype="str"),
        number=0,
        why=pd.Series("", index=cells.index, dtype="str"),
    )
    wanted = spots_required(
        rule,
        length_mm=length_mm,
        joints=cells["joint"].nunique(),
        welders=sum(name != "" for name in pd.unique(cells["welder"])),
        structure=structure,
    )
    _certain(table, rule)
    _by_chance(table, rule, wanted)
    size = (table["length_mm"] * table["risk"]).to_numpy(float)
    pi = _probabilities(size, table["stratum"], table["number"])
    return table[["stratum", "number", "why"]].assign(pi=pi)


def _certain(table: pd.DataFrame, rule: ExtentRule) -> None:
    """Take the cells that must be examined whatever chance says."""
    why = pd.Series("", index=table.index, dtype="str")
    if rule.everything:
        why = why.mask(why == "", "the rule asks for all of it")
    else:
        if "crossings" in rule.always:
            why = why.mask(table["mandatory"] == "crossing", "every crossing")
        if "ends" in rule.always:
            why = why.mask(table["mandatory"] == "end", "every end")
    mine = why != ""
    table.loc[mine, "stratum"] = "certain"
    table.loc[mine, "number"] = int(mine.sum())
    table.loc[mine, "why"] = why[mine]


def _by_chance(table: pd.DataFrame, rule: ExtentRule, wanted: int) -> None:
    """Spread what is left of the number over the cells that are not certain."""
    free = table["stratum"] == ""
    if not free.any():
        return
    sure = table.loc[~free, "welder"].value_counts()
    cells = _in_turn(table[free], rule, sure)
    groups = _with_least(_groups(cells, rule), rule, sure)
    given = _shared_out(groups, wanted - int((~free).sum()))
    table.loc[free, "stratum"] = cells["stratum"]
    table.loc[free, "number"] = cells["stratum"].map(given)
    table.loc[free, "why"] = cells["why"]


def _in_turn(free: pd.DataFrame, rule: ExtentRule, sure: "pd.Series[int]") -> pd.DataFrame:
    """Add to cells whose turn it is when, in which stratum, and why.

    The rest is parted by welder, and first-off work that is always examined by joint and welder:
    more of it than is asked for comes last. A class of places that the number is spent on first is
    one stratum, but a welder who must be shown yet has one of his own there, so that his cells are
    drawn for certain in number, and by chance in place.
    """
    masks = {
        "crossings": free["mandatory"] == "crossing",
        "ends": free["mandatory"] == "end",
        "first-off": free["first_off"],
    }
    rest, last = len(rule.first), len(rule.first) + 1
    turn = np.full(len(free), rest)
    for number, named in reversed(list(enumerate(rule.first))):
        turn[masks[named]] = number
    if "first-off" in rule.always:
        turn[masks["first-off"]] = last
    place = pd.Series(np.array([*rule.first, "", ""])[turn], index=free.index, dtype="str")
    welder = "welder " + free["welder"].where(free["welder"] != "", "unknown")
    shown = free["welder"].map(sure).fillna(0) >= rule.spots_per_welder
    own = (turn >= rest) | ~shown
    stratum = (place + ", " + welder).where(own, place).mask(turn == rest, welder)
    stratum = stratum.mask(turn == last, "first-off " + free["joint"] + ", " + welder)
    why = (place + " first").mask(turn == rest, "drawn by chance")
    why = why.mask(turn == last, f"first-off work of a {rule.first_off.of}")
    return free.assign(turn=turn, own=own, stratum=stratum, why=why)


def _groups(cells: pd.DataFrame, rule: ExtentRule) -> pd.DataFrame:
    """Return for each stratum its turn, length, number of cells, and what first-off work asks."""
    groups = cells.groupby("stratum").agg(
        turn=("turn", "first"),
        welder=("welder", "first"),
        own=("own", "first"),
        joint=("joint", "first"),
        joint_mm=("joint_mm", "first"),
        length_mm=("length_mm", "sum"),
        room=("length_mm", "size"),
    )
    groups = groups.assign(least=0).sort_values("turn", kind="stable")
    first_off = groups[groups["turn"] > len(rule.first)]
    for _, joint in first_off.groupby("joint"):
        asked = spots_for_length(first_off_mm(rule, joint["joint_mm"]), rule.spot_length_mm)
        number = min(max(int(asked[0]), 1), int(joint["room"].sum()))
        groups.loc[joint.index, "least"] = allocate(number, joint["length_mm"], joint["room"], 0)
    return groups


def _with_least(groups: pd.DataFrame, rule: ExtentRule, sure: "pd.Series[int]") -> pd.DataFrame:
    """Raise the least of the strata of each welder to what shows his work."""
    mine = groups[groups["own"]]
    shown = mine.groupby("welder")["least"].sum()
    shown = shown.add(sure.reindex(shown.index, fill_value=0))
    need = mine["welder"].map((rule.spots_per_welder - shown).clip(lower=0))
    # It comes from those of his cells whose turn is first.
    room = mine["room"] - mine["least"]
    before = room.groupby(mine["welder"]).cumsum() - room
    more = np.minimum((need - before).clip(lower=0), room)
    return groups.assign(least=groups["least"].add(more, fill_value=0).astype(int))


def _shared_out(groups: pd.DataFrame, number: int) -> "pd.Series[int]":
    """Return how many cells are drawn from each stratum: the least, then turn by turn."""
    given = groups["least"].copy()
    left = max(number - int(given.sum()), 0)
    for _, turn in groups.groupby("turn"):
        least = int(turn["least"].sum())
        share = allocate(least + left, turn["length_mm"], turn["room"], turn["least"])
        given[turn.index] = share
        left -= int(share.sum()) - least
    return given


def _probabilities(size: Any, stratum: Any, number: Any) -> Any:
    codes, names = pd.factorize(stratum, sort=False)
    wanted = np.zeros(len(names))
    wanted[codes] = number
    return inclusion_probabilities(size, codes, wanted)
