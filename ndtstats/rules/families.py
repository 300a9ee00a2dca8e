"""How much is examined: the four families of extent rule.

Between them they cover what codes and class rules ask: a percentage of joints (process piping), a
spot per increment of length (vessels, tanks), a share of length by category (structures, hulls), a
number of check points from the size of the structure (hulls).
"""

from typing import Annotated, ClassVar, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

Unit = Literal["joints", "spots", "mm"]
CountedFor = Literal["all", "each-welder"]


def _as_tuple(value: object) -> object:
    # TOML has arrays, and the models are frozen and so hold tuples.
    return tuple(value) if isinstance(value, list) else value


#: Makes a tuple of an array of the file.
Items = BeforeValidator(_as_tuple)
Text = Annotated[str, Field(min_length=1)]
Percent = Annotated[float, Field(gt=0, le=100)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Number = Annotated[int, Field(ge=0)]


class Part(BaseModel):
    """What all parts share: unknown keys are refused, nothing is converted, nothing changes."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class _Share(Part):
    """An amount given as a percentage, or as one in so many: exactly one of the two."""

    percent: Percent | None = None
    one_in: Annotated[float, Field(ge=1)] | None = None

    @property
    def share(self) -> float:
        """The share asked for, from 0 to 1."""
        return 1 / self.one_in if self.one_in is not None else (self.percent or 0.0) / 100

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        _exactly_one(self, "percent", "one_in")
        return self


class Reduction(Part):
    """A smaller share that a standard grants for a clean record.

    Once more than ``after_joints`` joints stand under the rule, and nothing of what was examined
    of them was rejected, ``percent`` of all of them is enough, but at least ``least`` joints.
    """

    after_joints: Annotated[int, Field(ge=1)]
    percent: Percent
    least: Annotated[int, Field(ge=1)]


class LengthReduction(Part):
    """A smaller share of length that a standard grants for a clean record.

    Once more than ``after_m`` metres stand under the rule, and nothing of what was examined of them
    was rejected, the full share is asked of the first ``after_m`` only, and ``percent`` beyond.
    """

    after_m: Positive
    percent: Percent


class PercentOfJoints(_Share):
    """A share of the joints, each of those examined whole, or by one spot.

    Attributes
    ----------
    percent, one_in : float
        The share: one of the two.
    examined : {"whole", "one-spot"}
        How much of each joint chosen is examined.
    counted_for : {"all", "each-welder"}
        Whether the share is that of all joints, or that of the joints of each welder apart.
    least : int
        Never fewer joints than this, if there are as many.
    rounding : {"up", "major-fraction"}
        What a fraction of a joint counts: one more in any case, or only above a half.
    reduction : Reduction or None
        A smaller share for a clean record.
    """

    family: Literal["percent-of-joints"]
    examined: Literal["whole", "one-spot"] = "whole"
    counted_for: CountedFor = "all"
    least: Number = 1
    rounding: Literal["up", "major-fraction"] = "up"
    reduction: Reduction | None = None

    unit: ClassVar[Unit] = "joints"


class SpotPerIncrement(Part):
    """One spot for each increment of weld length.

    Attributes
    ----------
    increment_m : float
        Weld length that one spot stands for.
    remainder : {"fraction", "major-fraction"}
        Whether what is left after the whole increments counts as one more in any case, or only
        if it is more than half an increment.
    counted_for : {"all", "each-welder"}
        Whether all weld is cut into increments, or the weld of each welder apart.
    shown_in : {"all", "each-increment"}
        Where the work of each welder is shown: somewhere, or in every increment that holds some.
        The increments follow each other in the order of welding.
    first_m : float
        A first stretch with a spot of its own; 0: there is none.
    first_for : {"each-welder", "once"}
        Whether each welder has such a stretch, or there is one in all.
    rest_after : {"all-firsts", "one-first"}
        What is taken off before the rest is cut into increments: the stretches of all welders, or
        one.
    crossing_percent : float
        At least this share of the spots lies at crossings, rounded up.
    crossing_least : int
        At least so many spots lie at crossings.
    """

    family: Literal["spot-per-increment"]
    increment_m: Positive
    remainder: Literal["fraction", "major-fraction"] = "fraction"
    counted_for: CountedFor = "all"
    shown_in: Literal["all", "each-increment"] = "all"
    first_m: NotNegative = 0.0
    first_for: Literal["each-welder", "once"] = "once"
    rest_after: Literal["all-firsts", "one-first"] = "all-firsts"
    crossing_percent: Annotated[float, Field(ge=0, le=100)] = 0.0
    crossing_least: Number = 0

    unit: ClassVar[Unit] = "spots"
    share: ClassVar[float] = 0.0


class ShareOfLength(_Share):
    """A share of the weld length.

    Attributes
    ----------
    percent, one_in : float
        The share: one of the two.
    least_mm : float
        Never less than this length, if there is as much.
    reduction : LengthReduction or None
        A smaller share for a clean record.
    """

    family: Literal["share-of-length"]
    least_mm: NotNegative = 0.0
    reduction: LengthReduction | None = None

    unit: ClassVar[Unit] = "mm"


class CheckPoints(Part):
    """A number of check points that does not hang on the weld length: exactly one of three keys.

    Attributes
    ----------
    divisor : float
        length (breadth + depth) / divisor, with the dimensions of the structure in metres.
    lengths : float
        The lengths of the check points add up to this many lengths of the structure.
    points : int
        The number itself, as agreed.
    """

    family: Literal["check-points"]
    divisor: Positive | None = None
    lengths: Positive | None = None
    points: Annotated[int, Field(ge=1)] | None = None

    share: ClassVar[float] = 0.0

    @property
    def unit(self) -> Unit:
        """What is counted: a length, or points."""
        return "spots" if self.lengths is None else "mm"

    @model_validator(mode="after")
    def _one_of_three(self) -> Self:
        _exactly_one(self, "divisor", "lengths", "points")
        return self


def _exactly_one(part: Part, *keys: str) -> None:
    given = [key for key in keys if getattr(part, key) is not None]
    if len(given) != 1:
        wrong = f"has {' and '.join(given)}" if given else f"lacks {' or '.join(keys)}"
        raise PydanticCustomError("one_of", "{wrong}; give exactly one", {"wrong": wrong})


Amount = Annotated[
    PercentOfJoints | SpotPerIncrement | ShareOfLength | CheckPoints, Field(discriminator="family")
]
