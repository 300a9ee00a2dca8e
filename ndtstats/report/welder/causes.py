"""What usually causes an imperfection and what helps: data, read from ``causes.toml``."""

import tomllib
from functools import cache
from pathlib import Path
from typing import NamedTuple

_FILE = Path(__file__).with_name("causes.toml")


class Cause(NamedTuple):
    """Usual causes of an imperfection, what helps, and where both come from."""

    causes: str
    helps: str
    source: str


@cache
def causes() -> dict[str, Cause]:
    """Return the usual causes by reference number of ISO 6520-1."""
    raw = tomllib.loads(_FILE.read_text(encoding="utf-8"))
    return {
        number: Cause(entry["causes"], entry["helps"], entry["source"])
        for entry in raw["cause"]
        for number in entry["numbers"]
    }


def cause_of(number: str) -> Cause | None:
    """Return the usual causes of an imperfection; None where nothing is known.

    Examples
    --------
    >>> cause_of("4012") == cause_of("401")
    True
    >>> cause_of("3011") == cause_of("301")
    True
    >>> cause_of("unknown") is None
    True
    """
    known = causes()
    # The standard numbers what is finer with further digits.
    return next((known[number[:end]] for end in (4, 3) if number[:end] in known), None)
