"""What is wrong with a rules file: its line, the key, what stands there, what would be right."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from ndtstats.errors import nearest
from ndtstats.rules.families import (
    CheckPoints,
    LengthReduction,
    PercentOfJoints,
    Reduction,
    ShareOfLength,
    SpotPerIncrement,
)
from ndtstats.rules.locate import Path, line_at
from ndtstats.rules.model import (
    Adjusted,
    Common,
    Draw,
    ExtentRule,
    FirstOff,
    Risk,
    RulesFile,
    Structure,
)
from ndtstats.rules.procedures import Procedure
from ndtstats.rules.signals import Signals
from ndtstats.rules.where import RANGES, Range, Where
from ndtstats.rules.zone_tests import ZoneTest, ZoneTests

#: The class of each family of extent rule.
FAMILIES: dict[str, type[BaseModel]] = {
    "percent-of-joints": PercentOfJoints,
    "spot-per-increment": SpotPerIncrement,
    "share-of-length": ShareOfLength,
    "check-points": CheckPoints,
}

#: The class of the reduction that a family may have.
_REDUCTIONS: dict[type[BaseModel], type[BaseModel]] = {
    PercentOfJoints: Reduction,
    ShareOfLength: LengthReduction,
}

#: What a table of the file is read as, by the key under which it stands.
_TABLES: dict[str, type[BaseModel]] = {
    "structure": Structure,
    "defaults": Common,
    "risk": Risk,
    "draw": Draw,
    "signals": Signals,
    "extent": ExtentRule,
    "first_off": FirstOff,
    "where": Where,
    "tests": ZoneTests,
    "leak": ZoneTest,
    "pressure": ZoneTest,
    "adjusted": Adjusted,
    **dict.fromkeys(RANGES, Range),
}


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in a rules file.

    Examples
    --------
    >>> print(Problem("hull.toml", 12, "extent.amount.percent", "140", "is too much",
    ...               "give at most 100"))
    hull.toml, line 12, extent.amount.percent: 140 is too much; give at most 100
    """

    source: str
    line: int | None
    key: str
    value: str
    reason: str
    remedy: str

    def __str__(self) -> str:
        """Return the problem as one sentence."""
        place = ", ".join(
            part
            for part in (self.source, f"line {self.line}" if self.line else "", self.key)
            if part
        )
        said = f"{self.value} {self.reason}" if self.value else self.reason
        return f"{place}: {said}; {self.remedy}"


@dataclass(frozen=True, slots=True)
class Report:
    """Where problems of one file are written down: knows its name, its lines, what it holds."""

    source: str
    lines: Mapping[Path, int]
    raw: Mapping[str, Any]

    def problem(self, path: Path, reason: str, remedy: str, *, value: str = "") -> Problem:
        """Return a problem at a path of the file.

        A key that a rule took from ``[defaults]`` is shown where it stands: there.
        """
        if path[:1] == ("extent",) and path not in self.lines:
            below = ("defaults", *path[2:])
            path = below if below in self.lines else path
        return Problem(
            self.source, line_at(dict(self.lines), path), _shown_path(path), value, reason, remedy
        )

    def of(self, error: ValidationError, above: Path = ()) -> Iterable[Problem]:
        """Yield each problem that validation found, in this package's words."""
        for found in error.errors():
            path = above + tuple(part for part in found["loc"] if part not in FAMILIES)
            yield self._told(path, found)

    def _told(self, path: Path, found: Any) -> Problem:
        kind, context = str(found["type"]), found.get("ctx", {})
        value = shown(found["input"]) if kind not in _WITHOUT_VALUE else ""
        if kind == "extra_forbidden":
            return self.problem(path, "is not a known key", self._known_key(path))
        if kind == "union_tag_not_found" and (slip := nearest("family", list(found["input"]))):
            return self.problem((*path, slip), "is not a known key", 'did you mean "family"?')
        if kind.startswith("union_tag"):
            path, value = (*path, "family"), shown(context["tag"]) if "tag" in context else ""
        reason, remedy = _REASONS.get(kind, _otherwise)(value, {"message": found["msg"], **context})
        return self.problem(path, reason, remedy, value=value)

    def _known_key(self, path: Path) -> str:
        known = list(_fields(path[:-1], self.raw))
        close = nearest(str(path[-1]), known)
        return f'did you mean "{close}"?' if close else f"known here: {', '.join(known)}"


def shown(value: object) -> str:
    """Return a value as it would be written in the file."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    return "a table" if isinstance(value, Mapping) else str(value)


def choice(value: str, allowed: Iterable[str]) -> str:
    """Return what would be right where only some words are allowed."""
    words = list(allowed)
    close = nearest(value.strip('"'), words)
    return f'did you mean "{close}"?' if close else f"allowed: {', '.join(words) or 'none'}"


def _shown_path(path: Path) -> str:
    text = ""
    for number, part in enumerate(path):
        if isinstance(part, str):
            text += f".{part}" if text else part
        elif number > 1:  # the rules of [[extent]] are told by their line
            text += f"[{part + 1}]"
    return text


def _fields(path: Path, raw: Mapping[str, Any]) -> Iterable[str]:
    """Return the keys known in the table at a path."""
    names = [part for part in path if isinstance(part, str)]
    if not names:
        return RulesFile.model_fields
    if names[0] == "escalation":
        return [key for key in Procedure.model_fields if key != "name"]
    if "amount" in names:
        held: Any = raw
        for part in path[: path.index("amount") + 1]:
            held = held[part]
        family = FAMILIES[held["family"]]
        return _REDUCTIONS[family].model_fields if names[-1] == "reduction" else family.model_fields
    return _TABLES[names[-1]].model_fields


def _limit(word: str, key: str) -> Callable[[str, Mapping[str, Any]], tuple[str, str]]:
    def told(_value: str, context: Mapping[str, Any]) -> tuple[str, str]:
        return "cannot be", f"give a number {word} {context[key]:g}"

    return told


def _kind(right: str) -> Callable[[str, Mapping[str, Any]], tuple[str, str]]:
    return lambda _value, _context: ("is of the wrong kind", f"give {right}")


def _words(key: str) -> Callable[[str, Mapping[str, Any]], tuple[str, str]]:
    def told(value: str, context: Mapping[str, Any]) -> tuple[str, str]:
        return "is not one of the words allowed", choice(
            value, re.findall(r"'([^']*)'", str(context[key]))
        )

    return told


def _otherwise(_value: str, context: Mapping[str, Any]) -> tuple[str, str]:
    return "cannot be", str(context["message"])


_WITHOUT_VALUE = {"missing", "one_of", "range", "borne_above_limit", "union_tag_not_found"}

#: What is wrong and what would be right, by what validation calls it.
_REASONS: dict[str, Callable[[str, Mapping[str, Any]], tuple[str, str]]] = {
    "missing": lambda _value, _context: ("is missing", "give it"),
    "one_of": lambda _value, context: (str(context["wrong"]), "give exactly one"),
    "range": lambda _value, context: (
        str(context["wrong"]),
        "give above or at_least, below or up_to, such as { above = 10, up_to = 25 }",
    ),
    "borne_above_limit": lambda _value, context: (
        str(context["wrong"]),
        "the rate that is borne lies below the limit",
    ),
    "union_tag_not_found": lambda _value, _context: ("is missing", choice("", FAMILIES)),
    "union_tag_invalid": _words("expected_tags"),
    "literal_error": _words("expected"),
    "greater_than": _limit("greater than", "gt"),
    "greater_than_equal": _limit("not less than", "ge"),
    "less_than": _limit("less than", "lt"),
    "less_than_equal": _limit("not greater than", "le"),
    "finite_number": _kind("a number that ends"),
    "float_type": _kind("a number, without quotation marks"),
    "bool_type": _kind("true or false, without quotation marks"),
    "int_type": _kind("a whole number, without quotation marks"),
    "string_type": _kind("a text in quotation marks"),
    "date_type": _kind("a date such as 2026-01-15, without quotation marks"),
    "tuple_type": _kind('an array such as ["a", "b"]'),
    "dict_type": _kind("a table"),
    "model_type": _kind("a table"),
    "model_attributes_type": _kind("a table"),
    "string_too_short": lambda _value, _context: ("is empty", "give a text"),
    "too_short": lambda _value, _context: ("is empty", "give at least one"),
}
