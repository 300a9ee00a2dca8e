"""Extent rules: what is examined, how much of it, where first, and what a reject does.

A rule belongs to one of four families, told by its ``family``; the number that follows from it is
the arithmetic of :mod:`ndtstats.rules.amount`. The families cover what codes and class rules ask:
a percentage of joints (process piping), a spot per increment of length (vessels, tanks), a share of
length by category (structures, hulls), check points from the size of the structure (hulls).
"""

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal, Self, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

Method = Literal["VT", "PT", "MT", "RT", "UT", "LT"]
Family = Literal["percent-of-joints", "spot-per-increment", "share-of-length", "check-points"]
Places = Literal["all", "crossings", "elsewhere"]
First = Literal["crossings", "ends", "first-off", "closing"]
CountedPer = Literal[
    "category", "zone", "joint", "thickness_mm", "material", "process", "position", "procedure",
    "drawing",
]  # fmt: skip
LotColumn = Literal[
    "welder", "category", "method", "zone", "joint", "process", "position", "procedure",
    "increment", "day", "week", "month",
]  # fmt: skip

#: The four families by name, in the order of the documentation.
FAMILIES: tuple[str, ...] = get_args(Family)


def _as_tuple(value: object) -> object:
    # TOML has arrays only; the models are frozen and so hold tuples.
    return tuple(value) if isinstance(value, list) else value


Items = BeforeValidator(_as_tuple)
Text = Annotated[str, Field(min_length=1)]
Percent = Annotated[float, Field(gt=0, le=100)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


@dataclass(frozen=True, slots=True)
class Conflict:
    """Keys of one rule that do not go together: which key, what is wrong, what would be right."""

    key: str
    reason: str
    remedy: str


class Part(BaseModel):
    """What all parts share: unknown keys are refused, nothing is converted, nothing changes."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class FirstOff(Part):
    """The first joints of a welder or a procedure, of which more is examined.

    Attributes
    ----------
    of : {"welder", "procedure"}
        Whose first joints.
    joints : int
        How many of them, in the order in which they were welded.
    factor : float
        Their share of length is the rule's own times this, up to the whole.
    percent : float or None
        Their share of length is at least this.
    least_mm : float
        On each of them at least this length is examined, or the whole joint if it is shorter.
    acceptance : str
        Acceptance standard and level, where it differs from the rule's.
    """

    of: Literal["welder", "procedure"]
    joints: Annotated[int, Field(ge=1)]
    factor: Annotated[float, Field(ge=1)] = 1.0
    percent: Percent | None = None
    least_mm: NotNegative = 0.0
    acceptance: str = ""


class Reduction(Part):
    """A smaller extent that a standard grants for a clean record.

    Once ``after_joints`` joints stand under the rule and none of those examined was rejected, the
    percentage falls to ``percent`` of all of them, but never below ``at_least`` joints.
    """

    after_joints: Annotated[int, Field(ge=1)]
    percent: Percent
    at_least: Annotated[int, Field(ge=1)]


class _Extent(Part):
    """What the four families have in common.

    Attributes
    ----------
    name : str
        Name of the rule, once in a file.
    categories : tuple of str
        Examination categories of the joints under the rule.
    method : str
        ISO 9712 method.
    family : str
        Which arithmetic gives the number.
    spot_length_mm : float or None
        Least length of a spot. None: each joint in one piece.
    places : {"all", "crossings", "elsewhere"}
        Whether the rule is about the whole weld, only the crossings, or all but the crossings.
    first : tuple of {"crossings", "ends", "first-off", "closing"}
        What the number is spent on first, in this order; chance places the rest.
    spots_per_welder : int
        Least number of spots (joints, in the first family) showing the work of each welder.
    counted_per : tuple of str
        Columns of the joints; the number is worked out for each group apart. Empty: for all joints
        of the rule together.
    first_off : FirstOff or None
        What is asked of the first joints of a welder or procedure.
    reserve_percent : float
        Reserves drawn with the random part, as a percentage of it.
    acceptance, technique : str
        As the request shall state them.
    hold_hours : float
        Least time between the end of welding and the examination.
    escalation : str or None
        Name of the procedure that a reject sets in motion.
    lot : tuple of str
        Welds judged together by that procedure; empty: as the procedure says.
    """

    name: Text
    categories: Annotated[tuple[Text, ...], Items, Field(min_length=1)]
    method: Method
    spot_length_mm: Positive | None = None
    places: Places = "all"
    first: Annotated[tuple[First, ...], Items] = ()
    spots_per_welder: Annotated[int, Field(ge=0)] = 0
    counted_per: Annotated[tuple[CountedPer, ...], Items] = ("category",)
    first_off: FirstOff | None = None
    reserve_percent: Annotated[float, Field(ge=0, le=100)] = 0.0
    acceptance: str = ""
    technique: str = ""
    hold_hours: NotNegative = 0.0
    escalation: Text | None = None
    lot: Annotated[tuple[LotColumn, ...], Items] = ()

    @classmethod
    @abstractmethod
    def conflicts(cls, values: Mapping[str, Any]) -> list[Conflict]:
        """Return what does not go together among the values of one rule, as far as they stand."""

    @model_validator(mode="after")
    def _without_conflict(self) -> Self:
        for found in self.conflicts(dict(self)):
            text = f"{found.key} {found.reason}; {found.remedy}"
            raise PydanticCustomError("conflict", "{text}", {"text": text})
        return self


class _Shared(_Extent):
    """An extent given as a percentage, or as one in so many."""

    percent: Percent | None = None
    one_in: Annotated[float, Field(ge=1)] | None = None

    @property
    def share(self) -> float:
        """The share asked for, from 0 to 1."""
        if self.percent is not None:
            return self.percent / 100
        assert self.one_in is not None  # noqa: S101  (one of the two stands: see conflicts)
        return 1 / self.one_in

    @property
    def everything(self) -> bool:
        """Whether the rule leaves nothing out."""
        return self.share >= 1

    @classmethod
    def conflicts(cls, values: Mapping[str, Any]) -> list[Conflict]:
        """Return what does not go together: see the base class."""
        given = [key for key in ("percent", "one_in") if values.get(key) is not None]
        if len(given) == 1:
            return []
        if given:
            return [Conflict("one_in", "stands beside percent", "give one of the two")]
        return [Conflict("percent", "is missing", "give percent, or one_in")]


class PercentOfJoints(_Shared):
    """A percentage of the joints, each of those examined whole.

    Attributes
    ----------
    percent, one_in : float
        How many of the joints: one of the two keys.
    at_least : int
        Never fewer joints than this, if there are as many.
    rounding : {"up", "major-fraction"}
        What a fraction of a joint counts: one more in any case, or only if it is above a half.
    reduction : Reduction or None
        A smaller percentage for a clean record.
    """

    family: Literal["percent-of-joints"]
    at_least: Annotated[int, Field(ge=0)] = 1
    rounding: Literal["up", "major-fraction"] = "up"
    spots_per_welder: Annotated[int, Field(ge=0)] = 1
    reduction: Reduction | None = None

    unit: ClassVar[str] = "joints"

    @classmethod
    def conflicts(cls, values: Mapping[str, Any]) -> list[Conflict]:
        """Return what does not go together: see the base class."""
        found = super().conflicts(values)
        whole = "the joints chosen are examined whole; leave it out"
        if values.get("spot_length_mm") is not None:
            found.append(Conflict("spot_length_mm", "has no use here", whole))
        if values.get("places", "all") != "all":
            found.append(Conflict("places", "has no use here", whole))
        return found


class SpotPerIncrement(_Extent):
    """One spot for each increment of weld length.

    Attributes
    ----------
    increment_m : float
        Weld length that one spot stands for.
    remainder : {"any-fraction", "major-fraction", "none"}
        What is left after the whole increments counts as one more: in any case, only if it is more
        than half an increment, or never.
    first_m : float
        A first stretch with a spot of its own; 0: there is none.
    first_each : {"once", "welder"}
        Whether that stretch counts once, or once for each welder.
    first_deducted : {"each", "once"}
        What is taken off the length before the rest is cut into increments, where each welder has
        a first stretch: all of them, or one.
    crossing_percent : float
        At least this share of the spots lies at crossings, rounded up.
    crossing_least : int
        At least so many spots lie at crossings.
    """

    family: Literal["spot-per-increment"]
    increment_m: Positive
    remainder: Literal["any-fraction", "major-fraction", "none"] = "any-fraction"
    first_m: NotNegative = 0.0
    first_each: Literal["once", "welder"] = "once"
    first_deducted: Literal["each", "once"] = "each"
    crossing_percent: Annotated[float, Field(ge=0, le=100)] = 0.0
    crossing_least: Annotated[int, Field(ge=0)] = 0
    spots_per_welder: Annotated[int, Field(ge=0)] = 1

    unit: ClassVar[str] = "spots"
    everything: ClassVar[bool] = False

    @classmethod
    def conflicts(cls, values: Mapping[str, Any]) -> list[Conflict]:
        """Return what does not go together: see the base class."""
        found = _spot_length_missing(values)
        if values.get("places") == "crossings":
            remedy = 'take family share-of-length for crossings, or places "all"'
            found.append(Conflict("places", "does not fit: crossings have no increments", remedy))
        if values.get("first_each") == "welder" and not values.get("first_m"):
            found.append(Conflict("first_m", "is missing", 'first_each "welder" needs it'))
        return found


class ShareOfLength(_Shared):
    """A share of the weld length.

    Attributes
    ----------
    percent, one_in : float
        How much of the length: one of the two keys.
    least_mm : float
        Never less than this length, if there is as much.
    """

    family: Literal["share-of-length"]
    least_mm: NotNegative = 0.0

    unit: ClassVar[str] = "mm"

    @classmethod
    def conflicts(cls, values: Mapping[str, Any]) -> list[Conflict]:
        """Return what does not go together: see the base class."""
        found = super().conflicts(values)
        whole = values.get("percent") == 100 or values.get("one_in") == 1
        if not whole or values.get("places", "all") != "all":
            found += _spot_length_missing(values)
        return found


class CheckPoints(_Extent):
    """A number of check points that does not hang on the weld length.

    Attributes
    ----------
    formula : {"breadth-and-depth", "structure-length", "number"}
        ``breadth-and-depth``: length (breadth + depth) / ``divisor_m2`` of the structure.
        ``structure-length``: their lengths add up to ``lengths`` times the structure's length.
        ``number``: ``points``, as agreed.
    """

    family: Literal["check-points"]
    formula: Literal["breadth-and-depth", "structure-length", "number"]
    divisor_m2: Positive | None = None
    lengths: Positive | None = None
    points: Annotated[int, Field(ge=1)] | None = None
    counted_per: Annotated[tuple[CountedPer, ...], Items] = ()

    everything: ClassVar[bool] = False

    #: The key that each formula needs.
    needs: ClassVar[dict[str, str]] = {
        "breadth-and-depth": "divisor_m2",
        "structure-length": "lengths",
        "number": "points",
    }

    @property
    def unit(self) -> Literal["mm", "spots"]:
        """What is counted: a total length, or points."""
        return "mm" if self.formula == "structure-length" else "spots"

    @classmethod
    def conflicts(cls, values: Mapping[str, Any]) -> list[Conflict]:
        """Return what does not go together: see the base class."""
        found = _spot_length_missing(values)
        if values.get("counted_per"):
            remedy = "the number is one for all joints of the rule; leave it out"
            found.append(Conflict("counted_per", "has no use here", remedy))
        formula = values.get("formula")
        if formula not in cls.needs:
            return found
        for of, key in cls.needs.items():
            stands = values.get(key) is not None
            if of == formula and not stands:
                found.append(Conflict(key, "is missing", f'formula "{formula}" needs it'))
            if of != formula and stands:
                found.append(Conflict(key, "has no use here", f'it belongs to formula "{of}"'))
        return found


def _spot_length_missing(values: Mapping[str, Any]) -> list[Conflict]:
    if values.get("spot_length_mm") is not None:
        return []
    return [Conflict("spot_length_mm", "is missing", "say how long a spot is, in mm")]


ExtentRule = PercentOfJoints | SpotPerIncrement | ShareOfLength | CheckPoints
AnyExtent = Annotated[ExtentRule, Field(discriminator="family")]

#: The class of each family.
FAMILY_CLASSES: dict[str, type[ExtentRule]] = {
    "percent-of-joints": PercentOfJoints,
    "spot-per-increment": SpotPerIncrement,
    "share-of-length": ShareOfLength,
    "check-points": CheckPoints,
}
