"""From a rule and its cells to the numbers of the draw: which cells form a stratum, how many each.

A cell that the rule leaves no choice about has probability 1 and is ``required``; the others are
drawn by chance within their stratum.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.planning.classes import WHY, Classes, classify, stretch_groups
from ndtstats.planning.draw import allocate, inclusion_probabilities
from ndtstats.planning.one_spot import as_units, too_short, units_of
from ndtstats.planning.shares import SLACK, LeastSums, Shares, Worth, enough
from ndtstats.planning.tightened import more_of_tightened
from ndtstats.rules import ExtentRule, Structure, crossing_spots, spots_required
from ndtstats.rules.amount import required, spots_for_length
from ndtstats.rules.families import SpotPerIncrement
from ndtstats.units import MM_PER_M

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

Flags = npt.NDArray[np.bool_]

#: Why a cell is not drawn where one spot is taken of each joint.
_NO_SPOT = "shorter than a spot"

#: What still fits into a whole number of the machine.
_MOST = 2**62


def strata_of(
    cells: pd.DataFrame, rule: ExtentRule, structure: Structure, *, length_mm: float
) -> pd.DataFrame:
    """Return stratum, probability and reason of each cell that one rule is about.

    Parameters
    ----------
    cells : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, ``mandatory``, ``welder`` (leading), ``risk``,
        ``first_off`` (flag), ``joint_mm`` (length of the joint), ``factor`` (what the extent of
        its welder is multiplied by, 1 unless he is tightened), and ``stretch``, ``increment``,
        ``crew`` (:func:`ndtstats.planning.sequence.with_sequence`); the index names the cell.
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

    What must be examined whatever chance says comes first; then what is still lacking to show first
    stretches, crossings, each joint and the work of each welder, from their own cells; then what is
    left of the number, on the places named by ``rule.first`` in their order, and on the rest by
    length. Of a number that is left, one at least goes to the rest, and strata that would get none
    share theirs, so that chance reaches all weld it can: see :func:`unreached`.
    """
    if rule.one_spot:
        return _of_units(cells, rule, structure, length_mm)
    return _strata(cells, rule, structure, length_mm)


def _of_units(
    cells: pd.DataFrame, rule: ExtentRule, structure: Structure, length_mm: float
) -> pd.DataFrame:
    """Return the strata where one cell of a joint is examined: those of the joints, shared out."""
    unit = units_of(cells, rule)
    units = as_units(cells, unit)
    found = _strata(units, rule, structure, length_mm).reindex(unit).set_index(cells.index)
    size = ((cells["to_mm"] - cells["from_mm"]) * cells["risk"]).to_numpy(float)
    gap = too_short(cells, rule, unit)
    size = np.where(gap, 0.0, size)
    whole = np.bincount(unit, size)[unit]
    return found.assign(pi=found["pi"] * size / whole, why=found["why"].mask(gap, _NO_SPOT))


def _strata(
    cells: pd.DataFrame, rule: ExtentRule, structure: Structure, length_mm: float
) -> pd.DataFrame:
    classes = classify(cells, rule)
    free = classes.certain == 0
    code, groups = _groups(cells, rule, classes, stretch_groups(cells, rule, classes))
    number, amount = _asked(classes, rule, structure, length_mm)
    more = more_of_tightened(cells, classes, rule, number)
    number += more.number
    amount += more.number * (rule.spot_length_mm if rule.unit == "mm" else 1.0)
    counted = ~free & (rule.always_counts or rule.everything)
    groups["least"] = _least(groups, code, classes, rule, number)
    groups["least"] = _topped_up(groups, groups["least"].to_numpy(), "crew", more.needed)
    shares = enough(
        groups,
        Worth.of(groups, code, classes.length_mm, rule),
        first=len(rule.first),
        number=number - int(counted.sum()),
        amount=amount - float(classes.worth[counted].sum()),
    )
    stratum, names, total = shares.strata(groups, certain=int((~free).sum()))
    of_cell = stratum[np.where(free, code, len(groups))]
    size = classes.length_mm * cells["risk"].to_numpy(float)
    why = pd.Series([*WHY, *_whys(groups, shares, rule)], dtype="str").array
    return pd.DataFrame(
        {
            "stratum": names.take(of_cell),
            "number": total[of_cell].astype(np.int64),
            "why": why.take(np.where(free, len(WHY) + code, classes.certain)),
            "pi": inclusion_probabilities(size, of_cell, total),
        },
        index=cells.index,
    )


def unreached(cells: pd.DataFrame) -> str:
    """Return in a sentence which weld of a frame chance cannot reach; "" where there is none.

    Parameters
    ----------
    cells : DataFrame
        Columns ``rule``, ``from_mm``, ``to_mm``, ``pi``, ``why``.

    Examples
    --------
    >>> unreached(pd.DataFrame({"rule": ["butts", "butts"], "from_mm": [0.0, 300.0],
    ...                         "to_mm": [300.0, 700.0], "pi": [1.0, 0.0], "why": ["", ""]}))
    'out of reach of chance, for what the rule names takes up its number: 0.4 m (butts)'
    """
    out = cells[cells["pi"] <= 0]
    short = out["why"] == _NO_SPOT
    causes = {
        "what the rule names takes up its number": out[~short],
        f"one spot is taken of each joint, and this is {_NO_SPOT}": out[short],
    }
    return "; ".join(
        f"out of reach of chance, for {cause}: {_by_rule(rows)}"
        for cause, rows in causes.items()
        if len(rows)
    )


def _by_rule(rows: pd.DataFrame) -> str:
    by_rule = (rows["to_mm"] - rows["from_mm"]).groupby(rows["rule"], sort=False).sum()
    return ", ".join(f"{length / MM_PER_M:,.1f} m ({rule})" for rule, length in by_rule.items())


def _asked(
    classes: Classes, rule: ExtentRule, structure: Structure, length_mm: float
) -> tuple[int, float]:
    """Return how much a rule asks for, whoever welded: in spots of full length, and in its unit."""
    alone = rule.model_copy(update={"spots_per_welder": 0})
    joints, welders = int(classes.joint.max(initial=-1)) + 1, classes.known_welders
    asked = required(alone, structure, joints=joints, length_mm=length_mm, welders=welders)
    number = spots_required(
        alone, structure=structure, joints=joints, length_mm=length_mm, welders=welders
    )
    return number, float(asked)


def _groups(
    cells: pd.DataFrame, rule: ExtentRule, classes: Classes, stretch: Ints
) -> tuple[Ints, pd.DataFrame]:
    """Return the number of the group of each cell (-1: certain), and the groups.

    The rest is parted by welder, and by joint where the rule asks for spots on each; first-off work
    by joint and welder; crossings and first stretches apart where the rule asks for spots there. A
    class of places that the number is spent on first is one group, and so are the short cells that
    are parts of joints; but a welder who is not shown without them has groups of his own there, so
    that his cells are drawn for certain in number, and by chance in place.
    """
    free = classes.certain == 0
    first_off = np.isin(classes.turn, _first_off_turns(rule))
    alone = first_off | _by_joint(rule, classes, free)
    keys = {
        "turn": classes.turn,
        "short": classes.short.astype(np.int64),
        "part": classes.part.astype(np.int64),
        "welder": np.where(classes.own | alone, classes.welder, -1),
        "joint": np.where(alone, classes.joint, -1),
        "crossing": classes.crossing.astype(np.int64),
        "stretch": stretch,
    }
    code, held = _coded(keys, free)
    groups = pd.DataFrame({name: values[held] for name, values in keys.items()})
    groups["length_mm"] = np.bincount(code[free], classes.length_mm[free], len(held))
    groups["room"] = np.bincount(code[free], minlength=len(held))
    groups["increment"] = cells["increment"].to_numpy(dtype=np.int64)[held]
    groups["first_off"] = first_off[held]
    groups["first_mm"] = classes.first_mm[held]
    groups["whose_stretch"] = cells["stretch"].array.take(held)
    groups["factor"] = cells["factor"].to_numpy(float)[held]
    groups["crew"] = np.where(groups["welder"] >= 0, pd.factorize(cells["crew"])[0][held], -1)
    return code, groups.assign(name=_names(cells.iloc[held], rule, groups))


def _first_off_turns(rule: ExtentRule) -> list[int]:
    return [at for at, name in enumerate((*rule.first, "", "first-off")) if name == "first-off"]


def _by_joint(rule: ExtentRule, classes: Classes, free: Flags) -> Flags:
    """Return which cells are drawn joint by joint: short ones only where nothing else is left."""
    if not rule.spots_per_joint:
        return np.zeros(len(free), dtype=bool)
    full = np.bincount(classes.joint, free & ~classes.short)[classes.joint]
    return ~classes.part | (full < rule.spots_per_joint)


def _coded(keys: dict[str, Ints], free: npt.NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Return one number for each distinct row of keys, and where each occurs first."""
    row, span = np.zeros(int(free.sum()), dtype=np.int64), 1
    for values in keys.values():
        mine = values[free] + 1
        step = int(mine.max(initial=0)) + 1
        if span > _MOST // step:
            row = pd.factorize(row)[0].astype(np.int64)
            span = len(row) + 1
        row, span = row * step + mine, span * step
    row = pd.factorize(row)[0].astype(np.int64)
    code = np.full(len(free), -1, dtype=np.int64)
    code[free] = row
    return code, np.flatnonzero(free)[~pd.Series(row).duplicated().to_numpy()]


def _names(cells: pd.DataFrame, rule: ExtentRule, groups: pd.DataFrame) -> Any:
    """Return the names of strata, as a reader of the plan sees them."""
    of = cells.reset_index(drop=True)
    turns = pd.Series([*rule.first, "", "first-off"], dtype="str")
    place = turns.take(groups["turn"].to_numpy()).reset_index(drop=True)
    joint = (" " + of["joint"]).where(groups["joint"] >= 0, "")
    place = (place + joint).str.strip()
    place = place.where((groups["joint"] < 0) | groups["first_off"], "joint" + joint)
    whose = "welder " + of["crew"].where(of["crew"] != "", "unknown")
    parts = [
        place,
        ("increment " + of["increment"].astype("str")).where(groups["increment"] > 0, ""),
        pd.Series("crossings", index=of.index).where(groups["crossing"] > 0, ""),
        ("first stretch " + groups["stretch"].astype("str")).where(groups["stretch"] > 0, ""),
        whose.where(groups["welder"] >= 0, ""),
        pd.Series("short", index=of.index).where(groups["short"] > 0, ""),
    ]
    text = pd.Series("", index=of.index, dtype="str")
    for part in parts:
        joined = (text + ", " + part).where(text != "", part)
        text = text.where(part == "", joined)
    return text


def _whys(groups: pd.DataFrame, shares: Shares, rule: ExtentRule) -> list[str]:
    """Return why the cells of each group are drawn."""
    first_off = f"first-off work of a {rule.first_off.of}"
    of_turn = [*(f"{name} first" for name in rule.first), "drawn by chance", first_off]
    why = pd.Series(of_turn, dtype="str").take(groups["turn"].to_numpy()).reset_index(drop=True)
    whose = groups["whose_stretch"].astype("str")
    first_m = f"drawn by chance from the first {getattr(rule.amount, 'first_m', 0):g} m"
    stretch = (first_m + " of " + whose).mask(whose == "all", first_m)
    why = why.where(groups["stretch"] == 0, stretch).mask(shares.shared, "drawn by chance")
    strict = (groups["factor"] > 1) & (groups["welder"] >= 0)
    factor = groups["factor"].map("; tightened, extent × {:g}".format).astype("str")
    return list(why.mask(strict, why + factor))


def _least(
    groups: pd.DataFrame, code: Ints, classes: Classes, rule: ExtentRule, number: int
) -> Ints:
    """Return the least of each group: what the rule asks to be shown, whatever the number.

    Also notes in ``most`` how many first-off work that is only named first takes of the number.
    """
    need = _of_first_off(groups, code, classes, rule)
    always = groups["turn"].to_numpy() > len(rule.first)
    groups["most"] = np.where(groups["first_off"] & ~always, need, groups["room"])
    least = np.where(always, need, 0)
    least = _with_crossings(groups, least, classes, rule, number)
    if groups["stretch"].max() > 0:
        once = np.append(0.0, np.ones(int(groups["stretch"].max())))
        least = _topped_up(groups, least, "stretch", once)
    if rule.spots_per_joint:
        counted = (classes.certain > 0) & ~classes.short & rule.always_counts
        done = np.bincount(classes.joint, counted)
        least = _topped_up(groups, least, "joint", rule.spots_per_joint - done)
    if groups["increment"].max() > 0:
        once = np.ones(int(groups["increment"].max()) + 1)
        least = _topped_up(groups, least, "increment", once)
    return _topped_up(groups, least, "welder", classes.needed - classes.sure)


def _with_crossings(
    groups: pd.DataFrame, least: Ints, classes: Classes, rule: ExtentRule, number: int
) -> Ints:
    """Return the least with as many spots at crossings as the rule asks for there.

    Where the number does not reach for these and for first stretches apart, first stretches are
    shown at their crossings.
    """
    mine = groups["crossing"].to_numpy() > 0
    if not isinstance(rule.amount, SpotPerIncrement) or not mine.any():
        return least
    done = int((classes.crossing & (classes.certain > 0)).sum())
    asked = max(int(crossing_spots(rule.amount, number)) - done, 0)
    stretches = int(groups["stretch"].max())
    both = min(max(stretches + asked - number, 0), stretches, asked)
    raised = least.copy()
    firsts = groups[mine & groups["stretch"].between(1, both).to_numpy()]
    raised[firsts.drop_duplicates("stretch").index] += 1
    at = groups[mine]
    raised[mine] = allocate(asked, at["length_mm"], at["room"], raised[mine])
    return raised


def _topped_up(groups: pd.DataFrame, least: Ints, key: str, needed: Any) -> Ints:
    """Return the least raised until each welder (joint, increment) has what is needed of him.

    It comes from full cells before short ones, and from those whose turn is first.
    """
    order = np.lexsort(
        (-groups["length_mm"], groups["turn"], groups["short"], groups[key].to_numpy())
    )
    order = order[groups[key].to_numpy()[order] >= 0]
    of = groups[key].to_numpy()[order]
    given, room = least[order], groups["room"].to_numpy()[order]
    full = groups["short"].to_numpy()[order] == 0
    shown = np.bincount(of, np.where(full, given, 0), len(needed))
    lack = np.maximum(np.ceil(np.asarray(needed) - shown - SLACK), 0)[of]
    spare = pd.Series(room - given)
    before = (spare.groupby(of).cumsum() - spare).to_numpy()
    raised = least.copy()
    raised[order] = given + np.clip(lack - before, 0, spare.to_numpy()).astype(np.int64)
    return raised


def _of_first_off(groups: pd.DataFrame, code: Ints, classes: Classes, rule: ExtentRule) -> Ints:
    """Return how many cells of each group are drawn so that first-off work is long enough."""
    need = np.zeros(len(groups), dtype=np.int64)
    mine = groups[groups["first_off"]]
    if mine.empty:
        return need
    sums = LeastSums.of(classes.length_mm, code, groups["room"].to_numpy())
    for _, of in mine.groupby("joint"):
        amount = float(of["first_mm"].iloc[0])
        number = int(spots_for_length(amount, rule.spot_length_mm))
        at = of.index.to_numpy()
        while True:
            given = allocate(number, of["length_mm"], of["room"], 0)
            lacks = amount - float(sums.at(given, at).sum())
            if lacks <= SLACK or np.array_equal(given, of["room"]):
                break
            number = int(given.sum()) + max(1, int(lacks / rule.spot_length_mm))
        need[at] = given
    return need
