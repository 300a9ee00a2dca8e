"""The shape of a rules file: what is examined, how much of it, where, and what a reject does.

A rules file is TOML; :mod:`ndtstats.rules.reader` reads one and names every mistake with its line.
How much is examined belongs to one of four families (:mod:`ndtstats.rules.families`); which number
follows from it is the arithmetic of :mod:`ndtstats.rules.amount`.
"""

import hashlib
from datetime import date
from functools import cached_property
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from ndtstats.rules.families import (
    Amount,
    Items,
    NotNegative,
    Number,
    Part,
    Percent,
    Positive,
    Text,
    Unit,
)
from ndtstats.rules.procedures import Procedure
from ndtstats.rules.signals import Signals
from ndtstats.rules.where import Where
from ndtstats.rules.zone_tests import ZoneTest, ZoneTests

Method = Literal["VT", "PT", "MT", "RT", "UT", "LT"]
Places = Literal["all", "crossings", "elsewhere"]
Milestone = Literal["close", "turn", "test", "paint", "hand over"]
Always = Literal["crossings", "ends", "datum-ends", "far-ends", "first-off"]
CountedPer = Literal[
    "category", "zone", "joint", "thickness_mm", "material", "process", "position", "procedure",
    "drawing",
]  # fmt: skip
LotColumn = Literal[
    "welder", "category", "method", "zone", "joint", "procedure", "process", "increment", "month"
]

#: What the lot of an escalation is made of where neither rule nor procedure says otherwise.
USUAL_LOT: tuple[str, ...] = ("welder", "category", "method")

#: Repairs of one place where no rule says otherwise: common practice, no source.
REPAIRS_ALLOWED = 2


class FirstOff(Part):
    """The first joints of a welder or a procedure, and what more is examined of them.

    Attributes
    ----------
    of : {"welder", "procedure"}
        Whose first joints.
    joints : int
        How many of them, in the order in which they were welded.
    factor : float
        The share of length examined on each is the rule's own times this, up to the whole.
    percent : float or None
        The share examined on each is at least this.
    least_mm : float
        At least this length is examined on each, or all of it if it is shorter.
    """

    of: Literal["welder", "procedure"] = "welder"
    joints: Annotated[int, Field(ge=1)] = 1
    factor: Annotated[float, Field(ge=1)] = 1.0
    percent: Percent | None = None
    least_mm: NotNegative = 0.0


class Common(Part):
    """What an extent rule may leave to ``[defaults]``, which holds for all of them.

    Attributes
    ----------
    counted_per : tuple of str
        Columns of the joints; the amount is worked out for each group apart. Empty: for all joints
        under the rule together.
    spot_length_mm : float
        Least length of a spot; joints examined whole have none.
    spot_percent : float or None
        The spot of a joint is this share of its length, where that is less than
        ``spot_length_mm``; None: it is not.
    always : tuple of {"crossings", "ends", "datum-ends", "far-ends", "first-off"}
        Places that are examined every one, whatever the number. The datum end of a joint is that
        at 0 mm, such as the bottom of an upright weld.
    always_counts : bool
        Whether spots at such places count towards the number, or are beside it.
    first : tuple of {"crossings", "ends", "datum-ends", "far-ends", "first-off"}
        Places that the number is spent on first, in this order.
    first_off : FirstOff
        Which joints are first-off, and how much is examined of them.
    spots_per_welder : int
        Least number of spots (or whole joints) that show the work of each welder under the rule.
    spots_per_joint : int
        Least number of spots on each joint.
    reserve_share : float
        Reserves drawn with the random part, as a share of it.
    image_length_mm : float or None
        Length that one exposure shows, from which follows how many exposures a spot takes. None: a
        spot is one exposure, and a joint examined whole one for each spot length.
    conditions : str
        What must hold when a spot is examined, as the request states it: after heat treatment,
        before a pad goes on; or what may stand in its place.
    technique, acceptance : str
        As the request states them.
    hold_hours : float
        Least time from the end of welding to the examination.
    hold_times : str or None
        The table (:mod:`ndtstats.rules.hold_times`) that says how long that is by material and
        thickness; ``hold_hours`` is the least then. None: ``hold_hours`` alone.
    escalation : str or None
        The procedure that a reject sets in motion.
    lot : tuple of str or None
        What is judged together by that procedure; None: as the procedure says.
    repairs_allowed : int
        Repairs of one place; a reject after the last is cut out, or decided by the parties. Two:
        common practice, no source. API 1104 wants the company's leave for the second (from memory).
    """

    counted_per: Annotated[tuple[CountedPer, ...], Items] = ()
    spot_length_mm: Positive = 300.0
    spot_percent: Percent | None = None
    always: Annotated[tuple[Always, ...], Items] = ()
    always_counts: bool = True
    first: Annotated[tuple[Always, ...], Items] = ()
    first_off: FirstOff = FirstOff()
    spots_per_welder: Number = 0
    spots_per_joint: Number = 0
    reserve_share: Annotated[float, Field(ge=0, le=1)] = 0.2
    image_length_mm: Positive | None = None
    conditions: str = ""
    technique: str = ""
    acceptance: str = ""
    hold_hours: NotNegative = 0.0
    hold_times: Text | None = None
    escalation: Text | None = None
    lot: Annotated[tuple[LotColumn, ...], Items] | None = None
    repairs_allowed: Annotated[int, Field(ge=0)] = REPAIRS_ALLOWED


class Adjusted(Part):
    """A factor on the amount of a rule, with the reason that the rule's reader must know.

    Attributes
    ----------
    factor : float
        The amount is worked out, then multiplied by this: below 1 where a standard allows less,
        above 1 where more was agreed.
    reason : str
        Why.
    """

    factor: Positive
    reason: Text


class ExtentRule(Common):
    """One extent rule: for which categories, by which method, how much, where first.

    Attributes
    ----------
    name : str
        Name of the rule, once in a file.
    categories : tuple of str
        Examination categories of the joints under the rule.
    method : str
        ISO 9712.
    or_by : tuple of str
        Methods that count as well, where a code leaves the choice; plans ask for ``method``.
    amount : Amount
        How much, in one of the four families.
    where : Where
        Which joints of those categories: ranges of size, kinds of joint, zones.
    adjusted : Adjusted or None
        A factor on the amount.
    places : {"all", "crossings", "elsewhere"}
        Whether the rule is about the whole weld, its crossings only, or all but the crossings.
    """

    name: Text
    categories: Annotated[tuple[Text, ...], Items, Field(min_length=1)]
    method: Method
    or_by: Annotated[tuple[Method, ...], Items] = ()
    amount: Amount
    where: Where = Where()
    adjusted: Adjusted | None = None
    places: Places = "all"

    @property
    def methods(self) -> tuple[Method, ...]:
        """The methods by which a place may be examined to count."""
        return (self.method, *self.or_by)

    @property
    def unit(self) -> Unit:
        """What the amount is counted in."""
        return self.amount.unit

    @property
    def whole_joints(self) -> bool:
        """Whether the rule selects joints, each examined whole."""
        return getattr(self.amount, "examined", "") == "whole"

    @property
    def one_spot(self) -> bool:
        """Whether the rule selects joints, each examined by one spot."""
        return getattr(self.amount, "examined", "") == "one-spot"

    @property
    def each_welder(self) -> bool:
        """Whether the amount is worked out of the work of each welder apart."""
        return getattr(self.amount, "counted_for", "all") == "each-welder"

    @property
    def factor(self) -> float:
        """What the amount is multiplied by."""
        return 1.0 if self.adjusted is None else self.adjusted.factor

    @property
    def share(self) -> float:
        """The share asked for, from 0 to 1; 0 where the amount is no share."""
        return min(1.0, self.amount.share * self.factor)

    @property
    def everything(self) -> bool:
        """Whether the rule leaves nothing to chance."""
        return self.share >= 1.0 and not self.one_spot


class Structure(Part):
    """Dimensions that a formula needs, in metres."""

    length_m: Positive | None = None
    breadth_m: Positive | None = None
    depth_m: Positive | None = None


class Risk(Part):
    """Factors that aim the draw; the risk of a cell is the product of those that apply.

    Attributes
    ----------
    exponent : float
        The power of the risk in the inclusion probability: 0 draws by length alone.
    first_work_of_welder, first_work_of_procedure : float
        On the first ``first_joints`` joints of each.
    bead_end, crossing : float
        At the ends of a joint; where another weld crosses.
    difficult_access : float
        On joints welded in one of ``difficult_positions`` (ISO 6947).
    near_repair : float
        Within ``near_repair_mm`` of a place that was rejected.
    hidden_later : float
        On joints of zones that end with one of ``hidden_by``: nobody will see them again.
    consequence : dict
        Consequence of an imperfection by category; 1 where it is not named.
    rate_per_m : float
        Rejectable imperfections in a metre of weld, until the register has results of its own; the
        usual figure is chosen here, no source.
    limit_per_m : float or None
        A welder with more than this must be noticed; None: twice the mean.
    """

    exponent: Annotated[float, Field(ge=0, le=1)] = 0.0
    first_work_of_welder: Positive = 1.0
    first_work_of_procedure: Positive = 1.0
    first_joints: Annotated[int, Field(ge=1)] = 1
    bead_end: Positive = 1.0
    crossing: Positive = 1.0
    difficult_access: Positive = 1.0
    difficult_positions: Annotated[tuple[Text, ...], Items] = ()
    near_repair: Positive = 1.0
    near_repair_mm: Positive = 300.0
    hidden_later: Positive = 1.0
    hidden_by: Annotated[tuple[Milestone, ...], Items] = ("close",)
    consequence: dict[Text, Positive] = Field(default_factory=dict)
    rate_per_m: Positive = 0.1
    limit_per_m: Positive | None = None


class Draw(Part):
    """How chance draws.

    Attributes
    ----------
    method : {"pivotal", "systematic"}
        Pivotal: neighbours compete, so that what is drawn is spread and has no period. Systematic:
        strictly even steps along the walk, which may fall in with a period of the structure.
    """

    method: Literal["pivotal", "systematic"] = "pivotal"


class RulesFile(Part):
    """A rules file as it is written.

    ``follows`` and ``edition`` name the standard; ``agreed_with`` and ``agreed_on`` say with whom
    and when the extent was agreed, where the parties agree it; ``nothing_asked`` names categories
    of which the rules ask nothing, so that nobody takes them for forgotten; ``tests`` says how
    zones are tested for leaks and for strength; ``escalation`` holds what differs from the preset
    procedures, by procedure.
    """

    title: Text
    follows: Text
    edition: Text
    agreed_with: str = ""
    agreed_on: date | None = None
    nothing_asked: Annotated[tuple[Text, ...], Items] = ()
    structure: Structure = Structure()
    defaults: Common = Common()
    risk: Risk = Risk()
    draw: Draw = Draw()
    tests: ZoneTests = ZoneTests()
    signals: Signals | None = None
    extent: Annotated[tuple[ExtentRule, ...], Items, Field(min_length=1)]
    escalation: dict[str, dict[str, object]] = Field(default_factory=dict)


class Rules(BaseModel):
    """A rules file with its text: what a plan is drawn by and a reject is judged by."""

    model_config = ConfigDict(frozen=True)

    file: RulesFile
    text: str
    procedures: dict[str, Procedure]

    @cached_property
    def sha256(self) -> str:
        """SHA-256 digest of the text in UTF-8."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @property
    def title(self) -> str:
        """Title of the rules."""
        return self.file.title

    @property
    def extent(self) -> tuple[ExtentRule, ...]:
        """The extent rules in their order."""
        return self.file.extent

    @property
    def categories(self) -> set[str]:
        """All categories that the rules name."""
        named = {category for rule in self.extent for category in rule.categories}
        return named | set(self.file.nothing_asked)

    def for_category(self, category: str, method: str | None = None) -> tuple[ExtentRule, ...]:
        """Return the rules that name a category: all of them, or those of one method."""
        return tuple(
            rule
            for rule in self.extent
            if category in rule.categories and method in {None, rule.method}
        )

    def zone_test(self, name: Literal["leak", "pressure"]) -> ZoneTest | None:
        """Return how zones are tested for leaks or for strength; None if nothing is said."""
        test: ZoneTest | None = getattr(self.file.tests, name)
        return None if test is None else test.whole

    def procedure_of(self, rule: ExtentRule) -> Procedure | None:
        """Return the escalation procedure of a rule, or None if it has none."""
        return self.procedures[rule.escalation] if rule.escalation else None

    def lot_of(self, rule: ExtentRule) -> tuple[str, ...]:
        """Return what the lot of a rule is made of: its own word, or the procedure's."""
        procedure = self.procedure_of(rule)
        return rule.lot or (procedure.lot if procedure else USUAL_LOT)
