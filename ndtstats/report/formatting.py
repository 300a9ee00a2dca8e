"""The only rounding of the reports: numbers, lengths, dates and plurals as people read them."""

import math
import re
from datetime import UTC, datetime
from typing import Any

import pandas as pd

#: The blank between a number, or what is counted, and its unit or sign.
_BEFORE_UNIT = re.compile(r"(?<=[\d,(]) (?=(?:%|mm|m|bar|EUR)(?!\w))| (?=÷)|(?<=adjusted) (?=p)")
#: What stands between the ends of a place.
_RANGE = re.compile(r"(?<=\d) to (?=\d)")

#: Marks of Unicode that override or embed a writing direction, and what stands instead.
_TURNING = dict.fromkeys(
    (*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C),
    "\N{REPLACEMENT CHARACTER}",
)


def percent(value: float) -> str:
    """Return a share in per cent, with a digit more where it is small; never nothing for something.

    Examples
    --------
    >>> percent(0.0374), percent(0.0004), percent(0.00001), percent(0.0), percent(float("nan"))
    ('3.7 %', '0.04 %', '< 0.01 %', '0.0 %', '–')
    """
    if not math.isfinite(value):
        return "–"
    if 0 < value < 0.00005:
        return "< 0.01 %"
    digits = 2 if 0 < value < 0.001 else 1
    return f"{100 * value:.{digits}f} %"


def level(value: float) -> str:
    """Return a confidence level in per cent, without digits that say nothing.

    Examples
    --------
    >>> level(0.95), level(0.998)
    ('95 %', '99.8 %')
    """
    return f"{100 * value:.4g} %"


def plain(text: str) -> str:
    r"""Return text without marks that turn the writing direction of what stands beside it.

    Names in scripts that run from right to left keep theirs.

    Examples
    --------
    >>> plain("\u202eB-99")
    '�B-99'
    """
    return text if text.isascii() else text.translate(_TURNING)


def unbroken(text: str) -> str:
    r"""Return text whose numbers stay on one line with their units.

    Examples
    --------
    >>> unbroken("930 to 1,230 mm, about 95 %")
    '930\xa0to\xa01,230\xa0mm, about 95\xa0%'
    """
    if " " not in text:
        return text
    return _BEFORE_UNIT.sub(
        "\N{NO-BREAK SPACE}", _RANGE.sub("\N{NO-BREAK SPACE}to\N{NO-BREAK SPACE}", text)
    )


def place(from_mm: float, to_mm: float) -> str:
    """Return a place along a joint.

    Examples
    --------
    >>> place(930.0, 1230.0)
    '930 to 1,230 mm'
    """
    return f"{from_mm:,.0f} to {to_mm:,.0f} mm"


def interval(low: str, high: str) -> str:
    """Return two values as "low to high", with a unit that both have said once.

    Examples
    --------
    >>> interval("1.0 %", "25.0 %"), interval("0.40", "2.10")
    ('1.0 to 25.0 %', '0.40 to 2.10')
    """
    same = low.endswith(" %") and high.endswith(" %")
    return f"{low.removesuffix(' %') if same else low} to {high}"


def decimals(value: float, number: int) -> str:
    """Return a value with so many decimals, a true minus sign, and no minus before nothing.

    Examples
    --------
    >>> decimals(-0.1549, 2), decimals(-0.004, 2), decimals(1234.56, 1)
    ('−0.15', '0.00', '1,234.6')
    """
    return f"{value:z,.{number}f}".replace("-", "\N{MINUS SIGN}")


def count(value: float, one: str, many: str | None = None) -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> count(1, "repair"), count(2, "repair"), count(0, "extra examination")
    ('1 repair', '2 repairs', 'no extra examinations')
    """
    noun = one if value == 1 else many or f"{one}s"
    return f"{value:,.0f} {noun}" if value else f"no {noun}"


def rounded(value: float) -> str:
    """Return a number with three digits that count, for what is known no better.

    Examples
    --------
    >>> rounded(14_096.0), rounded(51_600.0), rounded(7.0)
    ('14,100', '51,600', '7')
    """
    return f"{float(f'{value:.3g}'):,.0f}"


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
