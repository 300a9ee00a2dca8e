"""From a rule and its cells to the numbers of the draw: which cells form a stratum, how many each.

A cell that the rule leaves no choice about has probability 1 and is ``required``; the others are
drawn by chance within their stratum.
"""

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.planning.draw import allocate, inclusion_probabilities
from ndtstats.rules import ExtentRule, Structure, spots_required
from ndtstats.rules.amount import first_off_mm, required, spots_for_length

#: A tape reads millimetres: a cell this much shorter than a spot is a full one.
_TAPE_MM = 1.0
#: Up to this much of a mm, or of a spot, nothing lacks but the last bits of a sum.
_SLACK = 1e-6


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
    The number is raised until what is drawn reaches what the rule asks for, whichever cells of a
    stratum chance takes: a length in mm, or so many spots of full length. A cell shorter than a
    spot, such as a gap between two crossings, counts for no spot, and for no more than its length;
    such cells are drawn apart from the others, so that chance need not be reckoned with there.

    What must be examined whatever chance says comes first; then what is still lacking to show the
    work of each welder, from his own cells; then what is left of the number, on the places named by
    ``rule.first`` in their order, and on the rest by length.
    """
    length = cells["to_mm"] - cells["from_mm"]
    table = cells.assign(
        length_mm=length,
        worth=_worth(length, cells["joint_mm"], rule),
        short=_short(length, cells["joint_mm"], rule),
        stratum=pd.Series("", index=cells.index, dtype="str"),
        number=0,
        why=pd.Series("", index=cells.index, dtype="str"),
    )
    _certain(table, rule)
    _by_chance(table, rule, _asked(table, rule, structure, length_mm))
    size = (table["length_mm"] * table["risk"]).to_numpy(float)
    pi = _probabilities(size, table["stratum"], table["number"])
    return table[["stratum", "number", "why"]].assign(pi=pi)


def _worth(length: Any, joint_mm: Any, rule: ExtentRule) -> Any:
    """Return what a cell brings towards the number, in the unit of the rule."""
    if rule.unit == "mm":
        return length
    return np.where(_short(length, joint_mm, rule) & (rule.unit == "spots"), 0.0, 1.0)


def _short(length: Any, joint_mm: Any, rule: ExtentRule) -> Any:
    """Return which cells are less than a spot; a whole joint, or a crossing asked for, is one."""
    if rule.whole_joints or (rule.places == "crossings" and rule.unit == "spots"):
        return np.zeros(len(length), dtype=bool)
    short = length < rule.spot_length_mm - _TAPE_MM
    return short if rule.unit == "mm" else short & (length < joint_mm)


def _asked(
    table: pd.DataFrame, rule: ExtentRule, structure: Structure, length_mm: float
) -> tuple[int, float]:
    """Return how much a rule asks for, whoever welded: in spots of full length, and in its unit."""
    alone = rule.model_copy(update={"spots_per_welder": 0})
    of = {
        "length_mm": length_mm,
        "joints": table["joint"].nunique(),
        "welders": sum(name != "" for name in pd.unique(table["welder"])),
    }
    number = spots_required(alone, structure=structure, **of)
    return number, float(required(alone, structure, **of))


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


def _by_chance(table: pd.DataFrame, rule: ExtentRule, asked: tuple[int, float]) -> None:
    """Spread what is left of the number over the cells that are not certain."""
    free = table["stratum"] == ""
    if not free.any():
        return
    certain = table[~free]
    sure = certain.loc[~certain["short"], "welder"].value_counts()
    first_mm = _first_off_mm(table, rule)
    cells = _in_turn(table[free].assign(first_mm=first_mm[free]), rule, sure)
    groups = _groups(cells)
    groups["least"] = _of_first_off(groups, cells, rule)
    groups["least"] = _with_least(groups, rule, sure)
    given = _enough(
        partial(_shared_out, groups),
        cells,
        number=asked[0] - len(certain),
        amount=asked[1] - certain["worth"].sum(),
        each=rule.spot_length_mm if rule.unit == "mm" else 1.0,
    )
    table.loc[free, "stratum"] = cells["stratum"]
    table.loc[free, "number"] = cells["stratum"].map(given)
    table.loc[free, "why"] = cells["why"]


def _first_off_mm(table: pd.DataFrame, rule: ExtentRule) -> "pd.Series[float]":
    """Return what must be drawn, beside what is certain, of the joint of a cell as first work."""
    if "first-off" not in rule.always:
        return pd.Series(0.0, index=table.index)
    joint_mm = table["joint_mm"]
    asked = np.maximum(first_off_mm(rule, joint_mm), np.minimum(rule.spot_length_mm, joint_mm))
    certain = table["length_mm"].where(table["stratum"] != "", 0.0)
    left = asked - certain.groupby(table["joint"]).transform("sum")
    still: pd.Series[float] = left.where(table["first_off"], 0.0).clip(lower=0.0)
    return still


def _in_turn(free: pd.DataFrame, rule: ExtentRule, sure: "pd.Series[int]") -> pd.DataFrame:
    """Add to cells whose turn it is when, in which stratum, and why.

    The rest is parted by welder, and first-off work that is always examined by joint and welder:
    more of it than is asked for comes last. A class of places that the number is spent on first is
    one stratum, and so are the short cells that are parts of joints; but a welder who is not shown
    without them has strata of his own there, so that his cells are drawn for certain in number,
    and by chance in place.
    """
    rest, last = len(rule.first), len(rule.first) + 1
    turn = _turns(free, rule)
    place = pd.Series(np.array([*rule.first, "", ""])[turn], index=free.index, dtype="str")
    shown = free["welder"].map(sure).fillna(0)
    full = (~free["short"]).groupby(free["welder"]).transform("sum")
    part = free["short"] & (free["length_mm"] < free["joint_mm"])
    own = (turn >= rest) & ~part | (shown + full.where(part, 0) < rule.spots_per_welder)
    own |= turn == last
    whose = ("welder " + free["welder"].where(free["welder"] != "", "unknown")).where(own, "")
    where = place.mask(turn == last, "first-off " + free["joint"])
    size = pd.Series(np.where(free["short"], "short", ""), index=free.index, dtype="str")
    stratum = (where + ", " + whose + ", " + size).str.replace(", , ", ", ").str.strip(", ")
    why = (place + " first").mask(turn == rest, "drawn by chance")
    why = why.mask(turn == last, f"first-off work of a {rule.first_off.of}")
    return free.assign(turn=turn, own=own, stratum=stratum, why=why)


def _turns(free: pd.DataFrame, rule: ExtentRule) -> Any:
    """Return whose turn it is when: the classes in their order, the rest, first-off work."""
    masks = {
        "crossings": free["mandatory"] == "crossing",
        "ends": free["mandatory"] == "end",
        "first-off": free["first_off"],
    }
    turn = np.full(len(free), len(rule.first))
    for number, named in reversed(list(enumerate(rule.first))):
        turn[masks[named]] = number
    # Short cells of a first-off joint are only needed where the others do not reach.
    full_mm = free["length_mm"].where(~free["short"], 0.0).groupby(free["joint"]).transform("sum")
    needed = ~free["short"] | (full_mm < free["first_mm"])
    turn[(free["first_mm"] > 0) & needed] = len(rule.first) + 1
    return turn


def _groups(cells: pd.DataFrame) -> pd.DataFrame:
    """Return for each stratum its turn, whose it is, its length and number of cells."""
    groups = cells.groupby("stratum").agg(
        turn=("turn", "first"),
        short=("short", "first"),
        welder=("welder", "first"),
        own=("own", "first"),
        joint=("joint", "first"),
        length_mm=("length_mm", "sum"),
        room=("length_mm", "size"),
    )
    return groups.assign(least=0).sort_values(["short", "turn"], kind="stable")


def _of_first_off(groups: pd.DataFrame, cells: pd.DataFrame, rule: ExtentRule) -> "pd.Series[int]":
    """Return how many cells of each stratum are drawn so that first-off work is long enough."""
    least = groups["least"].copy()
    last = len(rule.first) + 1
    mine = cells[cells["turn"] == last]
    by_joint = groups[groups["turn"] == last].groupby("joint")
    for joint, of in mine.assign(worth=mine["length_mm"]).groupby("joint"):
        amount = float(of["first_mm"].iloc[0])
        given = _enough(
            partial(_by_length, by_joint.get_group(joint)),
            of,
            number=int(spots_for_length(amount, rule.spot_length_mm)),
            amount=amount,
            each=rule.spot_length_mm,
        )
        least[given.index] = given
    return least


def _by_length(groups: pd.DataFrame, number: int) -> "pd.Series[int]":
    """Return a number of cells parted over strata by their length."""
    given = allocate(number, groups["length_mm"], groups["room"], 0)
    return pd.Series(given, index=groups.index)


def _with_least(groups: pd.DataFrame, rule: ExtentRule, sure: "pd.Series[int]") -> "pd.Series[int]":
    """Return the least of each stratum, raised to what shows the work of each welder."""
    mine = groups[groups["own"]]
    shown = mine["least"].where(~mine["short"], 0).groupby(mine["welder"]).sum()
    shown = shown.add(sure.reindex(shown.index, fill_value=0))
    need = mine["welder"].map((rule.spots_per_welder - shown).clip(lower=0))
    # It comes from his full cells before the short ones, and from those whose turn is first.
    room = mine["room"] - mine["least"]
    before = room.groupby(mine["welder"]).cumsum() - room
    more = np.minimum((need - before).clip(lower=0), room)
    return groups["least"].add(more, fill_value=0).astype(int)


def _shared_out(groups: pd.DataFrame, number: int) -> "pd.Series[int]":
    """Return how many cells are drawn from each stratum: the least, then turn by turn."""
    given = groups["least"].copy()
    left = max(number - int(given.sum()), 0)
    for _, turn in groups.groupby("turn"):
        # One of the short cells that all share, so that none is out of chance's reach.
        one = (turn.index == "short") & (left > 0)
        least = np.maximum(turn["least"], one)
        before = int(turn["least"].sum())
        share = allocate(before + left, turn["length_mm"], turn["room"], least)
        given[turn.index] = share
        left = max(left - (int(share.sum()) - before), 0)
    return given


def _enough(
    share: Callable[[int], "pd.Series[int]"],
    cells: pd.DataFrame,
    *,
    number: int,
    amount: float,
    each: float,
) -> "pd.Series[int]":
    """Return how many cells are drawn from each stratum so that an amount is reached for sure.

    ``share`` parts a number over strata; ``each`` is what a full cell brings.
    """
    least_first = cells.sort_values("worth", kind="stable")
    place = least_first.groupby("stratum").cumcount()
    while True:
        given = share(number)
        # At worst chance takes those that bring least.
        drawn = place < least_first["stratum"].map(given)
        lacks = amount - float(least_first.loc[drawn, "worth"].sum())
        if lacks <= _SLACK or bool(drawn.all()):
            return given
        number = max(number, int(given.sum())) + max(1, int(lacks / each))


def _probabilities(size: Any, stratum: Any, number: Any) -> Any:
    codes, names = pd.factorize(stratum, sort=False)
    wanted = np.zeros(len(names))
    wanted[codes] = number
    return inclusion_probabilities(size, codes, wanted)
