"""The only rounding of the reports: numbers, lengths, dates and plurals as people read them."""

import math
from datetime import UTC, datetime
from typing import Any

import pandas as pd


def percent(value: float) -> str:
    """Return a share in per cent, with a digit more where it is small.

    Examples
    --------
    >>> percent(0.0374), percent(0.0004), percent(float("nan"))
    ('3.7 %', '0.04 %', '–')
    """
    if not math.isfinite(value):
        return "–"
    digits = 2 if 0 < abs(value) < 0.001 else 1
    return f"{100 * value:.{digits}f} %"


def count(value: float, one: str, many: str | None = None) -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> count(1, "repair"), count(2, "repair"), count(0, "extra examination")
    ('1 repair', '2 repairs', 'no extra examinations')
    """
    noun = one if value == 1 else many or f"{one}s"
    return f"{value:,.0f} {noun}" if value else f"no {noun}"


def metres(length_mm: float) -> str:
    """Return a length in metres, from millimetres.

    Examples
    --------
    >>> metres(26_890.0)
    '26.9 m'
    """
    return f"{length_mm / 1000:,.1f} m" if math.isfinite(length_mm) else "–"


def day(value: Any) -> str:
    """Return a date as 2026-03-01, or a dash where there is none."""
    return "–" if pd.isna(value) else f"{pd.Timestamp(value):%Y-%m-%d}"


def instant(value: datetime) -> str:
    """Return an instant in UTC to the second."""
    return f"{value.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def amount(value: float, unit: str) -> str:
    """Return an amount of an extent rule in its unit; lengths in metres.

    Examples
    --------
    >>> amount(24_000.0, "mm"), amount(45.0, "joints")
    ('24.0 m', '45 joints')
    """
    if unit == "mm":
        return metres(value)
    return f"{value:,.0f} {unit if value != 1 else unit.removesuffix('s')}"


def listed(words: list[str]) -> str:
    """Return words as a list in a sentence.

    Examples
    --------
    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
