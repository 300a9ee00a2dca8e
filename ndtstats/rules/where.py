"""Which joints of its categories a rule is about: ranges of size, kinds of joint, parts of the job.

The tables of several codes part the welds of one category by thickness or size. What a category
says need not be split for that: the rule carries the condition.
"""

from collections.abc import Mapping
from math import inf
from typing import TYPE_CHECKING, Annotated, Any, Self

import pandas as pd
from pydantic import model_validator
from pydantic_core import PydanticCustomError

from ndtstats.rules.families import Items, NotNegative, Part, Text

if TYPE_CHECKING:
    from ndtstats.rules.model import ExtentRule, Rules

#: Columns of the joints with a range, and those with a list of words.
RANGES = ("thickness_mm", "length_mm")
LISTS = (
    "joint_type", "penetration", "process", "position", "material", "procedure", "zone", "drawing",
)  # fmt: skip

Texts = Annotated[tuple[Text, ...], Items]


class Range(Part):
    """A range of numbers: at most one bound on each side, and at least one in all.

    Attributes
    ----------
    above, at_least : float
        The lower bound, itself without and within.
    below, up_to : float
        The upper bound, itself without and within.
    """

    above: NotNegative | None = None
    at_least: NotNegative | None = None
    below: NotNegative | None = None
    up_to: NotNegative | None = None

    @model_validator(mode="after")
    def _a_range(self) -> Self:
        given = self.model_dump(exclude_none=True)
        for pair in (("above", "at_least"), ("below", "up_to")):
            if given.keys() >= set(pair):
                raise _unsound(f"has {' and '.join(pair)}")
        if not given:
            raise _unsound("has no bound")
        if _empty(_bounds(given)):
            raise _unsound("holds no number")
        return self


class Where(Part):
    """The condition of a rule on its joints; all of what is given must hold.

    Attributes
    ----------
    thickness_mm, length_mm : Range or None
        Of the thinner part; of the weld (of a girth weld its circumference).
    joint_type, penetration, process, position, material, procedure, zone, drawing : tuple of str
        What may stand in that column of the joint; empty: anything. Zones within a zone are named
        one by one.
    """

    thickness_mm: Range | None = None
    length_mm: Range | None = None
    joint_type: Texts = ()
    penetration: Texts = ()
    process: Texts = ()
    position: Texts = ()
    material: Texts = ()
    procedure: Texts = ()
    zone: Texts = ()
    drawing: Texts = ()


def is_under(joints: pd.DataFrame, rule: "ExtentRule") -> "pd.Series[bool]":
    """Return which joints a rule is about, aligned to ``joints``.

    Parameters
    ----------
    joints : DataFrame
        Column ``category``, and those that the rule's condition names. A joint with a blank there
        is under no rule that asks for it.
    rule : ExtentRule
        The rule.
    """
    held = joints["category"].isin(list(rule.categories))
    for name in LISTS:
        allowed = getattr(rule.where, name)
        if allowed:
            held &= joints[name].isin(list(allowed))
    for name in RANGES:
        within = getattr(rule.where, name)
        if within is not None:
            held &= _in_range(joints[name].astype("float64"), within.model_dump(exclude_none=True))
    return held


def standing(joints: pd.DataFrame) -> pd.DataFrame:
    """Return the joints of a job that were not cut out: no other one is welded in their place.

    Parameters
    ----------
    joints : DataFrame
        Columns ``joint`` and ``replaces``; without the second, all stand.

    Examples
    --------
    >>> joints = pd.DataFrame({"joint": ["J1", "J1-C", "J2"], "replaces": [None, "J1", None]})
    >>> standing(joints)["joint"].tolist()
    ['J1-C', 'J2']
    """
    if "replaces" not in joints:
        return joints
    left: pd.DataFrame = joints[~joints["joint"].isin(joints["replaces"].dropna())]
    return left


def joints_under(joints: pd.DataFrame, rule: "ExtentRule") -> pd.DataFrame:
    """Return the joints that a rule is about and that still stand (:func:`standing`).

    What was found on a joint before it was cut out stays on record: :func:`is_under` tells of it.

    Examples
    --------
    >>> from ndtstats.rules.model import ExtentRule
    >>> rule = ExtentRule(name="thick", categories=("A",), method="RT",
    ...                   amount={"family": "share-of-length", "percent": 10.0},
    ...                   where={"thickness_mm": {"above": 10.0, "up_to": 25.0}})
    >>> joints = pd.DataFrame({"joint": ["J1", "J2", "J3", "J4"], "category": ["A", "A", "B", "A"],
    ...                        "thickness_mm": [10.0, 25.0, 12.0, None]})
    >>> joints_under(joints, rule)["joint"].tolist()
    ['J2']
    """
    left = standing(joints)
    mine: pd.DataFrame = left[is_under(left, rule)]
    return mine


def in_no_rule(joints: pd.DataFrame, rules: "Rules") -> "pd.Series[bool]":
    """Return which joints no rule is about, though something may be asked of them."""
    held = joints["category"].isin(list(rules.file.nothing_asked))
    for rule in rules.extent:
        held |= is_under(joints, rule)
    return ~held


def nameless(joints: pd.DataFrame, rules: "Rules") -> str:
    """Return in a sentence which joints no rule is about; "" where there is none.

    Examples
    --------
    >>> from ndtstats.rules.reader import load_rules
    >>> joints = pd.DataFrame({"joint": ["J1", "J2"], "category": ["A", "A"]})
    >>> nameless(joints, load_rules("steel-hull"))
    'in no rule: 2 joints of category A'
    """
    out = joints.loc[in_no_rule(joints, rules), "category"].value_counts().sort_index()
    told = [f"{n:,} joint{'' if n == 1 else 's'} of category {name}" for name, n in out.items()]
    return f"in no rule: {', '.join(told)}" if told else ""


def apart(one: object, other: object) -> bool:
    """Return whether no joint can meet both conditions, as they stand in the file.

    What is no condition at all, or of the wrong kind, is taken to hold for any joint.

    Examples
    --------
    >>> apart({"thickness_mm": {"up_to": 10.0}}, {"thickness_mm": {"above": 10.0}})
    True
    >>> apart({"zone": ["T1"]}, {"thickness_mm": {"above": 10.0}})
    False
    """
    if not isinstance(one, Mapping) or not isinstance(other, Mapping):
        return False
    return any(_lists_apart(one.get(name), other.get(name)) for name in LISTS) or any(
        _ranges_apart(one.get(name), other.get(name)) for name in RANGES
    )


def _lists_apart(one: object, other: object) -> bool:
    if not isinstance(one, list) or not isinstance(other, list):
        return False
    return bool(one) and bool(other) and not any(item in other for item in one)


def _ranges_apart(one: object, other: object) -> bool:
    if not isinstance(one, Mapping) or not isinstance(other, Mapping):
        return False
    (a, a_open), (b, b_open) = _bounds(one)
    (c, c_open), (d, d_open) = _bounds(other)
    low = max((a, a_open), (c, c_open))
    high = min((b, not b_open), (d, not d_open))
    return _empty((low, (high[0], not high[1])))


_Bounds = tuple[tuple[float, bool], tuple[float, bool]]


def _bounds(given: Mapping[str, Any]) -> _Bounds:
    """Return lower and upper bound of a range, each with whether it is left out itself."""
    told = {key: value for key, value in given.items() if isinstance(value, int | float)}
    low = (told["above"], True) if "above" in told else (told.get("at_least", -inf), False)
    high = (told["below"], True) if "below" in told else (told.get("up_to", inf), False)
    return low, high


def _empty(bounds: _Bounds) -> bool:
    (low, low_open), (high, high_open) = bounds
    return low > high or (low == high and (low_open or high_open))


def _in_range(values: "pd.Series[float]", given: Mapping[str, float]) -> "pd.Series[bool]":
    (low, low_open), (high, high_open) = _bounds(given)
    above = values > low if low_open else values >= low
    below = values < high if high_open else values <= high
    return above & below


def _unsound(wrong: str) -> PydanticCustomError:
    return PydanticCustomError("range", "{wrong}", {"wrong": wrong})
