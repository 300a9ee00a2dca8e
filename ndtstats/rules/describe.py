"""A rules file in words: its rules as a table, and where each of its values comes from."""

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from ndtstats.rules.families import CheckPoints, PercentOfJoints, ShareOfLength, SpotPerIncrement
from ndtstats.rules.locate import Path, comments_of, lines_of
from ndtstats.rules.model import ExtentRule, Rules
from ndtstats.rules.where import LISTS, RANGES

#: Mark of a value that has no source: the yard has to look at each.
CHOSEN = "chosen here, edit"

_PLACES = {"all": "", "crossings": "at crossings: ", "elsewhere": "beside the crossings: "}


def amount_in_words(rule: ExtentRule) -> str:
    """Return how much a rule asks for, in a few words.

    Examples
    --------
    >>> from ndtstats.rules.reader import load_rules
    >>> for rule in load_rules("aluminium-hull").extent[:4]:
    ...     print(amount_in_words(rule))
    at crossings: points of 1 x the structure's length
    beside the crossings: 1 m in 25 m
    1 m in 100 m
    1 in 10 joints, at least 1
    """
    amount = rule.amount
    if isinstance(amount, PercentOfJoints):
        words = _joints(amount)
    elif isinstance(amount, SpotPerIncrement):
        words = _increments(amount)
    elif isinstance(amount, ShareOfLength):
        words = _length(amount)
    else:
        words = _points(amount)
    return _where(rule) + _PLACES[rule.places] + words + _beside(rule)


def _where(rule: ExtentRule) -> str:
    """Return the condition of a rule, before what it asks for."""
    parts = []
    for name in RANGES:
        within = getattr(rule.where, name)
        if within is not None:
            bounds = within.model_dump(exclude_none=True).items()
            told = " and ".join(f"{key.replace('_', ' ')} {value:g}" for key, value in bounds)
            parts.append(f"{name.removesuffix('_mm')} {told} mm")
    for name in LISTS:
        allowed = getattr(rule.where, name)
        if allowed:
            parts.append(f"{name.replace('_', ' ')} {' or '.join(allowed)}")
    return f"{', '.join(parts)}: " if parts else ""


def _beside(rule: ExtentRule) -> str:
    """Return what a rule asks for beside its amount."""
    words = ""
    if rule.spots_per_joint:
        words += f"; at least {rule.spots_per_joint} on each joint"
    if rule.spot_percent:
        words += f"; a spot is {rule.spot_percent:g} % of the joint, at most the spot length"
    if rule.always and not rule.always_counts:
        words += "; the places examined every one do not count"
    if rule.adjusted is not None:
        words += f"; times {rule.adjusted.factor:g}: {rule.adjusted.reason}"
    return words


def _joints(amount: PercentOfJoints) -> str:
    if amount.share >= 1 and amount.examined == "whole":
        return "all joints"
    words = f"1 in {amount.one_in:g} joints" if amount.one_in else f"{amount.percent:g} % of joints"
    words += f", at least {amount.least}" if amount.least else ""
    words += " of each welder" if amount.counted_for == "each-welder" else ""
    words += ", one spot on each" if amount.examined == "one-spot" else ""
    less = amount.reduction
    if less is not None:
        words += f"; clean beyond {less.after_joints}: {less.percent:g} %, at least {less.least}"
    return words


def _increments(amount: SpotPerIncrement) -> str:
    fraction = "fraction" if amount.remainder == "fraction" else "major fraction"
    words = f"1 spot in {amount.increment_m:g} m or a {fraction} of it"
    words += " of each welder" if amount.counted_for == "each-welder" else ""
    words += ", each welder in each" if amount.shown_in == "each-increment" else ""
    if amount.first_m:
        whose = " of each welder" if amount.first_for == "each-welder" else ""
        words = f"1 spot in the first {amount.first_m:g} m{whose}, then {words}"
    if amount.crossing_percent or amount.crossing_least:
        share = f"{amount.crossing_percent:g} % at crossings, at least {amount.crossing_least}"
        words += f"; {share}"
    return words


def _length(amount: ShareOfLength) -> str:
    words = f"1 m in {amount.one_in:g} m" if amount.one_in else f"{amount.percent:g} % of length"
    words = "the whole length" if amount.share >= 1 else words
    words += f", at least {amount.least_mm:g} mm" if amount.least_mm else ""
    less = amount.reduction
    if less is not None:
        words += f"; clean beyond {less.after_m:g} m: {less.percent:g} % of what follows"
    return words


def _points(amount: CheckPoints) -> str:
    if amount.divisor is not None:
        return f"L (B + D) / {amount.divisor:g} points"
    if amount.lengths is not None:
        return f"points of {amount.lengths:g} x the structure's length"
    return "1 point" if amount.points == 1 else f"{amount.points} points"


def rules_table(rules: Rules) -> pd.DataFrame:
    """Return the extent rules as a table, in the order of the file.

    Returns
    -------
    DataFrame
        Columns ``rule``, ``categories``, ``method``, ``family``, ``amount`` (in words),
        ``spot_length_mm`` (missing where joints are examined whole), ``spots_per_welder``,
        ``first`` (what comes first, in words), ``acceptance``, ``technique``, ``conditions``,
        ``hold_hours``, ``hold_times``,
        ``escalation``, ``lot``.
    """
    rows = [
        {
            "rule": rule.name,
            "categories": ", ".join(rule.categories),
            "method": " or ".join(rule.methods),
            "family": rule.amount.family,
            "amount": amount_in_words(rule),
            "spot_length_mm": None if rule.whole_joints else rule.spot_length_mm,
            "spots_per_welder": rule.spots_per_welder,
            "first": _first(rule),
            "acceptance": rule.acceptance,
            "technique": rule.technique,
            "conditions": rule.conditions,
            "hold_hours": rule.hold_hours,
            "hold_times": rule.hold_times,
            "escalation": rule.escalation,
            "lot": ", ".join(rules.lot_of(rule)),
        }
        for rule in rules.extent
    ]
    return pd.DataFrame(rows).astype(
        {"spot_length_mm": "float64", "escalation": "str", "hold_times": "str"}
    )


def _first(rule: ExtentRule) -> str:
    always = ", ".join(f"all {place}" for place in rule.always)
    return "; ".join(part for part in (always, ", ".join(rule.first)) if part)


def sources(text: str) -> pd.DataFrame:
    r"""Return every value of a rules file with the comment that says where it comes from.

    Parameters
    ----------
    text : str
        A rules file, valid TOML.

    Returns
    -------
    DataFrame
        Columns ``line``, ``rule`` (missing outside ``[[extent]]``), ``key``, ``value``, ``source``:
        the comment on the value's line, or else the lines of comment right above it.

    Examples
    --------
    >>> sources("[risk]\nexponent = 0.5  # chosen here, edit").iloc[0].to_dict()
    {'line': 2, 'rule': nan, 'key': 'risk.exponent', 'value': '0.5', 'source': 'chosen here, edit'}
    """
    raw, comments, content = tomllib.loads(text), comments_of(text), text.split("\n")
    rows = []
    for path, line in _values(lines_of(text), content):
        row = {
            "line": line,
            "rule": raw["extent"][path[1]].get("name") if path[0] == "extent" else None,
            "key": ".".join(part for part in path if isinstance(part, str)),
            "value": _shown(_held(raw, path)),
            "source": comments.get(line) or _above(line, comments, content),
        }
        rows.append(row)
    frame = pd.DataFrame(rows, columns=["line", "rule", "key", "value", "source"])
    return frame.astype({"rule": "str"})


def _values(lines: Mapping[Path, int], content: Sequence[str]) -> list[tuple[Path, int]]:
    """Return the keys that stand on lines of their own; what is within their value is left out."""
    kept: dict[Path, int] = {}
    for path, line in lines.items():
        heading = content[line - 1].lstrip().startswith("[")
        if isinstance(path[-1], str) and not heading and path[:-1] not in kept:
            kept[path] = line
    return list(kept.items())


def _above(line: int, comments: Mapping[int, str], content: Sequence[str]) -> str:
    block: list[str] = []
    at = line - 1
    while at in comments and content[at - 1].lstrip().startswith("#"):
        block.insert(0, comments[at])
        at -= 1
    return " ".join(block)


def _held(raw: Mapping[str, Any], path: Path) -> Any:
    held: Any = raw
    for part in path:
        held = held[part]
    return held


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_shown(item)}" for key, item in value.items())
    if isinstance(value, list):
        return ", ".join(_shown(item) for item in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
