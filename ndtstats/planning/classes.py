"""What kind each cell of a frame is to its rule: certain, named first, first work, or the rest.

All of it is arrays aligned to the cells, so that a million cells cost no loop.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.rules import ExtentRule, amount_of_welders, first_off_mm, spot_length_of
from ndtstats.rules.families import SpotPerIncrement
from ndtstats.units import SLACK_MM

Flags = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


#: Why a cell is certain.
WHY = (
    "", "the rule asks for all of it", "every crossing", "every end", "every datum end",
    "every far end",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Classes:
    """The cells of one rule, classified; arrays of shape (cells,).

    Attributes
    ----------
    length_mm, worth : ndarray of float
        Length; what a cell brings towards the number, in the unit of the rule.
    short, part : ndarray of bool
        Less than a spot; and not the whole of its joint either.
    certain : ndarray of int
        Why a cell must be examined whatever chance says, by its number in :data:`WHY`; 0 where it
        need not.
    turn : ndarray of int
        When its turn is: the classes that the rule names first, in their order; then the rest
        (``len(rule.first)``); last, first-off work that is always examined.
    first_mm : ndarray of float
        Length to draw of the joint as first-off work, beside what is certain.
    welder, joint : ndarray of int
        Numbers of the leading welder (within an increment, where the work is shown in each; of all
        welders together, where each is counted apart) and of the joint.
    own : ndarray of bool
        Whether the cell is drawn among those of its welder only.
    crossing : ndarray of bool
        Whether it counts towards the spots that must lie at crossings.
    needed : ndarray of float
        How many spots the welder needs, by the number of ``welder``.
    sure : ndarray of float
        How many are certain already, by the number of ``welder``.
    known_welders : int
        How many welders lead cells.
    """

    length_mm: Floats
    worth: Floats
    short: Flags
    part: Flags
    certain: Ints
    turn: Ints
    first_mm: Floats
    welder: Ints
    joint: Ints
    own: Flags
    crossing: Flags
    needed: Floats
    sure: Floats
    known_welders: int


def classify(cells: pd.DataFrame, rule: ExtentRule) -> Classes:
    """Return the classes of the cells of a rule (columns: see ``strata_of``)."""
    length = (cells["to_mm"] - cells["from_mm"]).to_numpy(float)
    joint_mm = cells["joint_mm"].to_numpy(float)
    joint = pd.factorize(cells["joint"])[0].astype(np.int64)
    places = _places(cells, rule)
    short = _short(length, joint_mm, rule, cut_off=places["crossings"] & places["ends"])
    worth = length if rule.unit == "mm" else np.where(short, 0.0, 1.0)
    certain = _certain(places, rule, len(cells))
    free = certain == 0
    first_mm = _first_off_left(cells, rule, joint, np.where(free, 0.0, length))
    turn = _turns(places, rule, joint, np.where(short | ~free, 0.0, length), first_mm)
    part = short & (length < joint_mm)
    welder, known_welders = _welders(cells)
    counted = ~short & free
    needed = _needed(rule, welder, joint, length)
    sure = np.bincount(welder, ~short & ~free, len(needed)).astype(float)
    full = np.bincount(welder, counted, len(needed))
    # A welder who is not shown without them has cells of his own there as well; so has one whose
    # extent is multiplied.
    lacks = sure[welder] + np.where(part, full[welder], 0) < needed[welder]
    lacks |= ~part & (cells["factor"].to_numpy(float) > 1)
    own = ((turn >= len(rule.first)) & ~part) | lacks | (turn > len(rule.first))
    crossing = places["crossings"] & ~short & _asked_at_crossings(rule)
    return Classes(
        length, worth, short, part, certain, turn, first_mm, welder, joint, own, crossing,
        needed, sure, known_welders,
    )  # fmt: skip


def _certain(places: dict[str, Flags], rule: ExtentRule, number: int) -> Ints:
    """Return why each cell must be examined whatever chance says (:data:`WHY`), 0 if need not."""
    why = np.zeros(number, dtype=np.int64)
    if rule.everything:
        return why + WHY.index("the rule asks for all of it")
    for place, mask in places.items():
        if place in rule.always:
            why[mask & (why == 0)] = WHY.index(f"every {place.removesuffix('s').replace('-', ' ')}")
    return why


def _places(cells: pd.DataFrame, rule: ExtentRule) -> dict[str, Flags]:
    """Return which cells are of which kind of place that a rule can name."""
    datum = (cells["from_mm"] <= 0).to_numpy()
    far = (cells["to_mm"] >= cells["joint_mm"]).to_numpy()
    asked = "crossings" in (*rule.always, *rule.first) or _asked_at_crossings(rule)
    crossing = (cells["mandatory"] == "crossing").to_numpy() if asked else np.zeros_like(far)
    return {
        "crossings": crossing,
        "ends": datum | far,
        "datum-ends": datum,
        "far-ends": far,
    }


def _asked_at_crossings(rule: ExtentRule) -> bool:
    amount = rule.amount
    return isinstance(amount, SpotPerIncrement) and bool(
        amount.crossing_percent or amount.crossing_least
    )


def _short(length: Floats, joint_mm: Floats, rule: ExtentRule, *, cut_off: Flags) -> Flags:
    """Return which cells are less than a spot; a whole joint, or a crossing asked for, is one.

    Of a spot about a crossing that the end of the joint cuts off, half is enough: at a junction of
    a tank 75 mm of the upright weld (API 650, 8.1.2, edition not noted; from memory).
    """
    if rule.unit == "joints" or (rule.places == "crossings" and rule.unit == "spots"):
        return np.zeros(len(length), dtype=bool)
    spot = spot_length_of(rule, joint_mm)
    if rule.unit == "mm":
        return length < spot - SLACK_MM
    return (length < np.where(cut_off, spot / 2, spot) - SLACK_MM) & (length < joint_mm)


def _first_off_left(cells: pd.DataFrame, rule: ExtentRule, joint: Ints, certain: Floats) -> Floats:
    """Return what must be drawn, beside what is certain, of the joint of a cell as first work."""
    if "first-off" not in (*rule.always, *rule.first):
        return np.zeros(len(cells))
    joint_mm = cells["joint_mm"].to_numpy(float)
    spot = np.minimum(spot_length_of(rule, joint_mm), joint_mm)
    left = np.maximum(first_off_mm(rule, joint_mm), spot) - np.bincount(joint, certain)[joint]
    return np.where(cells["first_off"], np.maximum(left, 0.0), 0.0)


def _turns(
    places: dict[str, Flags], rule: ExtentRule, joint: Ints, usable_mm: Floats, first_mm: Floats
) -> Ints:
    """Return whose turn it is when: the classes in their order, the rest, first-off work."""
    # Short cells of a first-off joint are only needed where the others do not reach.
    first_off = first_mm > 0
    if first_off.any():
        first_off &= (usable_mm > 0) | (np.bincount(joint, usable_mm)[joint] < first_mm)
    masks = {**places, "first-off": first_off}
    turn = np.full(len(joint), len(rule.first), dtype=np.int64)
    for number, named in reversed(list(enumerate(rule.first))):
        turn[masks[named]] = number
    if "first-off" in rule.always:
        turn[first_off] = len(rule.first) + 1
    return turn


def _welders(cells: pd.DataFrame) -> tuple[Ints, int]:
    """Return the number of the welder of each cell, in each increment another one; how many."""
    welder, names = pd.factorize(cells["crew"])
    known = int((names != "").sum())
    increment = cells["increment"].to_numpy(dtype=np.int64)
    if not increment.any():
        return welder.astype(np.int64), known
    return pd.factorize(increment * max(len(names), 1) + welder)[0].astype(np.int64), known


def _needed(rule: ExtentRule, welder: Ints, joint: Ints, length: Floats) -> Floats:
    """Return how many spots show the work of each welder."""
    if not rule.each_welder:
        none = np.zeros(int(welder.max(initial=-1)) + 1)
        return amount_of_welders(rule, none, none)
    pieces = np.unique(welder * (joint.max(initial=0) + 1) + joint)
    joints = np.bincount(pieces // (joint.max(initial=0) + 1))
    return amount_of_welders(rule, joints, np.bincount(welder, length))


def stretch_groups(cells: pd.DataFrame, rule: ExtentRule, classes: Classes) -> Ints:
    """Return from which of the first stretches a cell is drawn, from 1; 0 where from none.

    As few places as show the first stretch of every welder, since a spot shows those of all who
    welded there: always the place that shows most of those not shown yet (greedy cover, Chvátal
    1979, Math. Oper. Res. 4:233, from memory).
    """
    chosen = np.zeros(len(cells), dtype=np.int64)
    amount = rule.amount
    if not isinstance(amount, SpotPerIncrement) or amount.first_m <= 0:
        return chosen
    stretch = cells["stretch"].to_numpy()
    certain = classes.certain > 0
    usable = np.flatnonzero(~certain & ~classes.short & (stretch != ""))
    near = pd.DataFrame({"stretch": stretch[usable], "welder": classes.welder[usable]})
    place = near.groupby(["stretch", "welder"], sort=True).ngroup().to_numpy()
    texts = near["stretch"].groupby(place).first()
    shown = {name for text in set(stretch[certain & ~classes.short]) for name in _parts(text)}
    sets = [frozenset(_parts(text)) for text in texts]
    picked = _cover(sets, np.bincount(place, minlength=len(sets)), shown)
    number = np.zeros(len(sets), dtype=np.int64)
    number[picked] = np.arange(1, len(picked) + 1)
    chosen[usable] = number[place]
    return chosen


def _parts(text: str) -> list[str]:
    return text.split("; ") if text else []


def _cover(sets: list[frozenset[str]], size: Ints, shown: set[str]) -> list[int]:
    """Return which sets cover all names that are not shown yet: the one with most of them first."""
    picked: list[int] = []
    while any(names - shown for names in sets):
        best = max(range(len(sets)), key=lambda at: (len(sets[at] - shown), int(size[at])))
        picked.append(best)
        shown = shown | sets[best]
    return picked
