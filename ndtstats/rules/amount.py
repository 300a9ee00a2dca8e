"""How much a rule requires: the arithmetic of the four families of extent rule.

Where a code leaves rounding or a remainder open, the convention is a setting of the rule with a
name. All functions take arrays, a value for each group of joints that is counted apart, and return
an array; a single number gives an array without dimensions.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError
from ndtstats.rules.families import CheckPoints, PercentOfJoints, ShareOfLength, SpotPerIncrement
from ndtstats.rules.model import ExtentRule, Structure
from ndtstats.units import MM_PER_M, SLACK_MM

Floats = npt.NDArray[np.float64]
Numbers = npt.ArrayLike

#: The last bits of a product such as 0.07 x 100 must not make 7 into 8: what is nearer to a whole
#: number than this (relative to its size) is that number.
_SLACK = 1e-9


def round_up(value: Numbers) -> Floats:
    """Return values rounded up to whole numbers, forgiving the last bits of a product.

    Examples
    --------
    >>> round_up([0.07 * 100, 1.5, 0.0]).tolist()
    [7.0, 2.0, 0.0]
    """
    exact = np.asarray(value, dtype=np.float64)
    return np.asarray(np.ceil(exact - _SLACK * np.maximum(1.0, np.abs(exact))) + 0.0)


def _whole_and_rest(value: Floats) -> tuple[Floats, Floats]:
    """Return whole numbers and what is left of each, forgiving the last bits."""
    whole = np.floor(value + _SLACK * np.maximum(1.0, value))
    rest = value - whole
    return whole, np.where(rest > _SLACK * np.maximum(1.0, value), rest, 0.0)


def joints_required(
    amount: PercentOfJoints, joints: Numbers, welders: Numbers = 0, *, clean: bool = False
) -> Floats:
    """Return the number of joints to examine whole.

    Parameters
    ----------
    amount : PercentOfJoints
        The rule.
    joints : array_like of int
        Joints of each group.
    welders : array_like of int
        Joints needed so that the work of every welder is shown.
    clean : bool
        Nothing of what was examined was rejected, so that a reduction holds.

    Notes
    -----
    max(p N rounded, least, welders), never more than there are. 5 % of 3 welds is one whole weld,
    and the sample holds the work of each welder: opinions published on ASME B31.3, 341.4.1 (seen).
    The reduction is that of EN 13480-5: 5 % of the first 100 welds, then 2 % of all, but at least
    5 welds (seen).

    Examples
    --------
    >>> joints_required(PercentOfJoints(family="percent-of-joints", percent=5.0), [900, 3, 30],
    ...                 [10, 1, 4]).tolist()
    [45.0, 1.0, 4.0]
    """
    n = np.asarray(joints, dtype=np.float64)
    number = np.maximum(_rounded(amount.share * n, amount.rounding), amount.least)
    reduction = amount.reduction
    if reduction is not None and clean:
        reduced = np.maximum(round_up(reduction.percent / 100 * n), reduction.least)
        number = np.where(n > reduction.after_joints, np.minimum(number, reduced), number)
    return np.minimum(n, np.maximum(number, welders))


def _rounded(value: Floats, rounding: str) -> Floats:
    if rounding == "up":
        return round_up(value)
    whole, rest = _whole_and_rest(value)
    return whole + (rest > 0.5 + _SLACK)


def spots_by_increment(
    amount: SpotPerIncrement, length_mm: Numbers, welders: Numbers = 1
) -> Floats:
    """Return the number of spots for a length of weld.

    Parameters
    ----------
    amount : SpotPerIncrement
        The rule.
    length_mm : array_like
        Weld length of each group.
    welders : array_like of int
        Welders with first stretches of their own, where the rule gives each one.

    Notes
    -----
    Any fraction: one spot for every increment or fraction of it, ASME VIII-1, UW-52 (opinion,
    seen). Major fraction, first stretches: one spot in the first 3 m of each welder, then one in
    every 30 m and in a remaining major fraction, API 650, 8.1.2 (seen); what is taken off before
    the rest is cut is left open there, hence the setting ``rest_after``.

    Examples
    --------
    >>> vessel = SpotPerIncrement(family="spot-per-increment", increment_m=15.2)
    >>> spots_by_increment(vessel, [15_200, 15_300, 100_000]).tolist()
    [1.0, 2.0, 7.0]
    """
    length = np.asarray(length_mm, dtype=np.float64)
    firsts = np.zeros_like(length)
    if amount.first_m > 0:
        firsts = (
            firsts + np.maximum(welders, 1) if amount.first_for == "each-welder" else firsts + 1
        )
    taken = firsts if amount.rest_after == "all-firsts" else np.minimum(firsts, 1)
    rest = np.maximum(length - taken * amount.first_m * MM_PER_M, 0.0)
    increments = rest / (amount.increment_m * MM_PER_M)
    convention = "up" if amount.remainder == "fraction" else "major-fraction"
    return np.where(length > 0, firsts + _rounded(increments, convention), 0.0)


def crossing_spots(amount: SpotPerIncrement, spots: Numbers) -> Floats:
    """Return how many of the spots must lie at crossings.

    Notes
    -----
    API 650, 8.1.2: at least 25 % of the spots at junctions of vertical and horizontal joints, at
    least two in a tank (seen).

    Examples
    --------
    >>> tank = SpotPerIncrement(family="spot-per-increment", increment_m=30.0,
    ...                         crossing_percent=25.0, crossing_least=2)
    >>> crossing_spots(tank, [5, 9]).tolist()
    [2.0, 3.0]
    """
    of = np.asarray(spots, dtype=np.float64)
    return np.where(
        of > 0,
        np.maximum(round_up(amount.crossing_percent / 100 * of), amount.crossing_least),
        0.0,
    )


def length_required_mm(amount: ShareOfLength, length_mm: Numbers, *, clean: bool = False) -> Floats:
    """Return the length to examine.

    Parameters
    ----------
    amount : ShareOfLength
        The rule.
    length_mm : array_like
        Weld length of each group.
    clean : bool
        Nothing of what was examined was rejected, so that a reduction holds.

    Notes
    -----
    The reduction is that of EN 13445-5, table 6.6.1-1: a testing group has 100 % at first, and 10 %
    after satisfactory experience (seen); how much weld that takes was not seen, hence ``after_m``.

    Examples
    --------
    One metre in 25 m of butts:

    >>> length_required_mm(ShareOfLength(family="share-of-length", one_in=25.0), 600_000).tolist()
    24000.0
    """
    length = np.asarray(length_mm, dtype=np.float64)
    asked = amount.share * length
    reduction = amount.reduction
    if reduction is not None and clean:
        full = np.minimum(length, reduction.after_m * MM_PER_M)
        reduced = amount.share * full + reduction.percent / 100 * (length - full)
        asked = np.minimum(asked, reduced)
    return np.minimum(length, np.maximum(asked, amount.least_mm))


def check_points(amount: CheckPoints, structure: Structure) -> float:
    """Return the number of check points, or (with ``lengths``) their total length in mm.

    Raises
    ------
    UseError
        If the structure lacks a dimension that the formula needs.

    Notes
    -----
    With a divisor: n = L (B + D) / 46.5 in metres, ABS Guide for Nondestructive Inspection of Hull
    Welds (seen); its form in feet has the divisor 500 (from memory). With lengths: lengths that add
    up to the length of the ship, LR Special Service Craft, Pt 7 Ch 2, 3.6 (seen).

    Examples
    --------
    >>> hull = Structure(length_m=150.0, breadth_m=25.0, depth_m=15.0)
    >>> check_points(CheckPoints(family="check-points", divisor=46.5), hull)
    130.0
    """
    if amount.points is not None:
        return float(amount.points)
    for name in dimensions_needed(amount):
        if getattr(structure, name) is None:
            raise UseError(f"the rules need {name} under [structure] for their check points")
    length = structure.length_m or 0.0
    if amount.lengths is not None:
        return amount.lengths * length * MM_PER_M
    around = (structure.breadth_m or 0.0) + (structure.depth_m or 0.0)
    return float(round_up(length * around / (amount.divisor or 1.0)))


def dimensions_needed(amount: CheckPoints) -> tuple[str, ...]:
    """Return the dimensions of the structure that the formula of an amount needs."""
    if amount.divisor is not None:
        return ("length_m", "breadth_m", "depth_m")
    return ("length_m",) if amount.lengths is not None else ()


def spots_for_length(length_mm: Numbers, spot_length_mm: float) -> Floats:
    """Return how many spots of a length it takes to examine a length: any fraction counts.

    Examples
    --------
    >>> [float(spots_for_length(24_000, spot)) for spot in (300, 500)]
    [80.0, 48.0]
    """
    return round_up(np.asarray(length_mm, dtype=np.float64) / spot_length_mm)


def spot_length_of(rule: ExtentRule, joint_mm: Numbers) -> Floats:
    """Return the length of a spot on joints of given lengths.

    Notes
    -----
    ASME B31.3, 344.5.3: a spot of a girth weld is the lesser of 25 % of the inside circumference
    and 152 mm (from memory).

    Examples
    --------
    >>> rule = ExtentRule(name="girth", categories=("A",), method="RT", spot_length_mm=152.0,
    ...                   spot_percent=25.0, amount={"family": "percent-of-joints", "one_in": 20.0,
    ...                                              "examined": "one-spot"})
    >>> spot_length_of(rule, [400.0, 2000.0]).tolist()
    [100.0, 152.0]
    """
    length = np.asarray(joint_mm, dtype=np.float64)
    if rule.spot_percent is None:
        return np.full_like(length, rule.spot_length_mm)
    return np.minimum(rule.spot_length_mm, rule.spot_percent / 100 * length)


def is_spot(
    from_mm: Numbers, to_mm: Numbers, *, joint_mm: Numbers, spot_mm: Numbers
) -> npt.NDArray[np.bool_]:
    """Return which places are long enough to be a spot.

    Half of its length is enough where a place reaches the end of the joint, for a spot about a
    place there is cut off by it; and the whole joint, where that is shorter.

    Notes
    -----
    API 650, 8.1.2: 75 mm of the upright weld at a junction, of a spot of 150 mm (edition not noted;
    from memory). Elsewhere common practice, no source.

    Examples
    --------
    >>> is_spot([0.0, 300.0, 0.0], [80.0, 380.0, 100.0], joint_mm=[900.0, 900.0, 100.0],
    ...         spot_mm=150.0).tolist()
    [True, False, True]
    """
    low, high, joint = (np.asarray(part, dtype=np.float64) for part in (from_mm, to_mm, joint_mm))
    spot = np.asarray(spot_mm, dtype=np.float64)
    at_end = (low <= SLACK_MM) | (high >= joint - SLACK_MM)
    least = np.minimum(np.where(at_end, spot / 2, spot), joint)
    return np.asarray(high - low >= least - SLACK_MM)


def required(
    rule: ExtentRule,
    structure: Structure,
    *,
    joints: Numbers,
    length_mm: Numbers,
    welders: Numbers = 0,
    clean: bool = False,
) -> Floats:
    """Return what a rule requires of each group of joints, in the unit of the rule.

    Parameters
    ----------
    rule : ExtentRule
        The rule.
    structure : Structure
        Dimensions, for check points.
    joints, length_mm : array_like
        Number of joints and weld length of each group (the length at the crossings, for a rule
        about crossings).
    welders : array_like of int
        Welders with work in each group; each needs ``rule.spots_per_welder``.
    clean : bool
        Nothing of what was examined was rejected, so that a reduction holds.

    Returns
    -------
    ndarray of float64
        Joints, spots or mm (``rule.unit``). What is asked of each joint is among it; what an amount
        counted of each welder asks for beyond that of all the weld together is not, for that hangs
        on the share of each.
    """
    least = np.asarray(welders, dtype=np.float64) * rule.spots_per_welder
    least = np.maximum(least, np.asarray(joints, dtype=np.float64) * rule.spots_per_joint)
    length = np.asarray(length_mm, dtype=np.float64)
    if rule.unit == "mm":
        least = least * rule.spot_length_mm
    if isinstance(rule.amount, ShareOfLength):
        least = np.minimum(length, least)
    asked = _adjusted(rule, structure, joints, length, welders, clean=clean)
    if isinstance(rule.amount, PercentOfJoints):
        return np.minimum(np.asarray(joints, dtype=np.float64), np.maximum(asked, least))
    return np.maximum(asked, least)


def _adjusted(
    rule: ExtentRule,
    structure: Structure,
    joints: Numbers,
    length: Floats,
    welders: Numbers,
    *,
    clean: bool,
) -> Floats:
    """Return the amount times its factor; what is counted stays a whole number, at least one."""
    amount, factor = rule.amount, rule.factor
    if isinstance(amount, ShareOfLength):
        return np.minimum(length, factor * length_required_mm(amount, length, clean=clean))
    if isinstance(amount, PercentOfJoints):
        return joints_required(_scaled(amount, factor), joints, clean=clean)
    if isinstance(amount, SpotPerIncrement):
        number = spots_by_increment(amount, length, welders)
    else:
        number = np.full_like(length, check_points(amount, structure))
    return factor * number if rule.unit == "mm" else round_up(factor * number)


def _scaled(amount: PercentOfJoints, factor: float) -> PercentOfJoints:
    """Return a share of joints times a factor: rounded once, after it."""
    return amount.model_copy(
        update={"percent": min(100.0, 100 * factor * amount.share), "one_in": None}
    )


def amount_of_welders(rule: ExtentRule, joints: Numbers, length_mm: Numbers) -> Floats:
    """Return how many spots (or joints) show the work of each welder enough.

    Parameters
    ----------
    rule : ExtentRule
        The rule.
    joints, length_mm : array_like
        Number of joints and weld length of each welder.

    Notes
    -----
    ASME B31.3, 341.5.1: 300 mm in each 30 m of longitudinal weld for each welder, and one shot on
    one in each 20 girth welds for each welder (from memory).

    Examples
    --------
    >>> rule = ExtentRule(name="long seams", categories=("A",), method="RT",
    ...                   amount={"family": "spot-per-increment", "increment_m": 30.0,
    ...                           "counted_for": "each-welder"})
    >>> amount_of_welders(rule, [1, 4], [12_000, 61_000]).tolist()
    [1.0, 3.0]
    """
    least = np.full(np.shape(np.asarray(joints)), float(rule.spots_per_welder))
    if not rule.each_welder:
        return least
    number = _adjusted(
        rule, Structure(), joints, np.asarray(length_mm, dtype=np.float64), 1, clean=False
    )
    return np.asarray(np.maximum(least, number))


def spots_required(
    rule: ExtentRule,
    *,
    length_mm: float,
    joints: int,
    welders: int,
    structure: Structure,
    clean: bool = False,
) -> int:
    """Return how many spots (or whole joints) a rule asks of one group of joints.

    Parameters as in :func:`required`; a length is divided into spots of ``rule.spot_length_mm``.
    """
    found: Any = required(
        rule, structure, joints=joints, length_mm=length_mm, welders=welders, clean=clean
    )
    return int(spots_for_length(found, rule.spot_length_mm) if rule.unit == "mm" else found)


def first_off_mm(rule: ExtentRule, length_mm: Numbers) -> Floats:
    """Return the length to examine on each first-off joint.

    Notes
    -----
    EN 1090-2:2008, 12.4.2.2: of the first five joints to a new procedure twice the usual share, at
    least 5 % and at most all, and at least 900 mm (from memory).

    Examples
    --------
    >>> rule = ExtentRule(name="butts", categories=("A",), method="UT",
    ...                   amount={"family": "share-of-length", "percent": 10.0},
    ...                   first_off={"of": "procedure", "joints": 5, "factor": 2.0,
    ...                              "percent": 5.0, "least_mm": 900.0})
    >>> first_off_mm(rule, [6000, 3000, 500]).tolist()
    [1200.0, 900.0, 500.0]
    """
    length = np.asarray(length_mm, dtype=np.float64)
    if rule.whole_joints:
        return length
    first = rule.first_off
    share = min(1.0, max(first.factor * rule.share, (first.percent or 0.0) / 100))
    return np.minimum(length, np.maximum(share * length, first.least_mm))
