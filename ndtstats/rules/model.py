"""The shape of a whole rules file, and the rules that were read from one.

A rules file is TOML. :mod:`ndtstats.rules.reader` reads one and names every mistake with its line;
the classes here and in :mod:`ndtstats.rules.families` say which keys there are, what they mean and
what they may hold.
"""

import hashlib
from datetime import date
from functools import cached_property
from typing import Annotated, Any

from pydantic import Field

from ndtstats.rules.families import (
    AnyExtent,
    ExtentRule,
    First,
    FirstOff,
    Items,
    LotColumn,
    NotNegative,
    Part,
    Positive,
    Text,
)


class Defaults(Part):
    """Keys that hold for every extent rule that does not state them itself."""

    spot_length_mm: Positive | None = None
    first: Annotated[tuple[First, ...], Items] = ()
    spots_per_welder: Annotated[int, Field(ge=0)] = 0
    first_off: FirstOff | None = None
    reserve_percent: Annotated[float, Field(ge=0, le=100)] = 0.0
    acceptance: str = ""
    technique: str = ""
    hold_hours: NotNegative = 0.0
    escalation: Text | None = None
    lot: Annotated[tuple[LotColumn, ...], Items] = ()


class Structure(Part):
    """Dimensions of the structure, in metres, where a formula needs them."""

    length_m: Positive | None = None
    breadth_m: Positive | None = None
    depth_m: Positive | None = None


class Risk(Part):
    """Factors that aim the draw; the risk of a place is the product of those that apply.

    Attributes
    ----------
    exponent : float
        Power of the risk in the inclusion probability: 0 draws by length alone.
    first_work_of_welder, first_work_of_procedure : float
        The first ``first_joints`` joints of a welder, of a procedure.
    first_joints : int
        How many joints count as first work.
    bead_end, crossing : float
        The ends of a joint; where another weld crosses.
    difficult_access : float
        Joints welded in one of ``difficult_positions`` (ISO 6947).
    near_repair : float
        Within ``near_repair_mm`` of a place that was rejected.
    consequence : dict
        Consequence of a missed imperfection by category; 1 where it is not named.
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
    near_repair_mm: NotNegative = 0.0
    consequence: dict[Text, Positive] = Field(default_factory=dict)


class RulesFile(Part):
    """A rules file as it is written.

    Attributes
    ----------
    title, follows, edition : str
        What it is, the standard and clause it follows, and the edition.
    agreed_with, agreed_on
        With whom and when the extent was agreed, where the parties agree it.
    structure, defaults, risk
        See the classes of these names.
    extent : tuple of ExtentRule
        The extent rules, in the order of the file.
    escalation : dict
        Parameters of an escalation procedure that differ from its preset, by procedure.
    """

    title: Text
    follows: Text
    edition: Text
    agreed_with: str = ""
    agreed_on: date | None = None
    structure: Structure = Structure()
    defaults: Defaults = Defaults()
    risk: Risk = Risk()
    extent: Annotated[tuple[AnyExtent, ...], Items, Field(min_length=1)]
    escalation: dict[str, dict[str, Any]] = Field(default_factory=dict)


class Rules(RulesFile):
    """The rules of a file, with its text: what plans are drawn and work is judged by."""

    text: str
    source: str = "rules"

    @cached_property
    def sha256(self) -> str:
        """SHA-256 digest of the text, in UTF-8."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @property
    def categories(self) -> tuple[str, ...]:
        """All categories that some rule names, each once, in order."""
        return tuple(dict.fromkeys(name for rule in self.extent for name in rule.categories))

    def rule(self, name: str) -> ExtentRule:
        """Return the rule of that name; KeyError if there is none."""
        for rule in self.extent:
            if rule.name == name:
                return rule
        raise KeyError(name)

    def for_category(self, category: str, method: str | None = None) -> tuple[ExtentRule, ...]:
        """Return the rules that name a category, all of them or those of one method."""
        return tuple(
            rule
            for rule in self.extent
            if category in rule.categories and method in {None, rule.method}
        )
