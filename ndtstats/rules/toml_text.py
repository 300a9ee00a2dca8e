"""TOML that somebody else wrote: read, or refused with the place and the reason."""

import re
import tomllib
from collections.abc import Iterator
from typing import Any

#: Whole numbers lie between this, negative, and one less than it (TOML 1.0.0, Integer: 64 bits).
_MOST = 2**63
#: What may be longer than that, wherever it stands.
_LONG = re.compile(r"\w{19,}")


def read_toml(text: str) -> dict[str, Any]:
    """Return what a TOML text says.

    Raises
    ------
    ValueError
        If it is none; the message ends with the place, such as "(at line 3, column 7)".

    Examples
    --------
    >>> read_toml('title = "Line 7"')
    {'title': 'Line 7'}
    >>> read_toml("least = -9223372036854775808")
    {'least': -9223372036854775808}
    >>> read_toml("percent = " + "9" * 5000)
    Traceback (most recent call last):
        ...
    ValueError: a number with more figures than can be read (at line 1, column 11)
    """
    try:
        raw = tomllib.loads(text)
        numbers = (value for value in _values(raw) if isinstance(value, int))
        too_long = any(not -_MOST <= number < _MOST for number in numbers)
    except tomllib.TOMLDecodeError:
        raise
    except RecursionError as error:
        at = max(text.split("\n"), key=lambda line: line.count("[") + line.count("{"))
        where = _place(text, text.index(at))
        raise ValueError(f"more brackets within brackets than can be read {where}") from error
    except ValueError:  # Python reads no more than 4,300 figures
        too_long = True
    if too_long:
        found = _LONG.search(text)
        where = _place(text, found.start() if found else 0)
        raise ValueError(f"a number with more figures than can be read {where}")
    return raw


def _values(raw: Any) -> Iterator[Any]:
    """Yield all values, however deep they nest."""
    left = [raw]
    while left:
        value = left.pop()
        if isinstance(value, dict | list):
            left += value.values() if isinstance(value, dict) else value
        else:
            yield value


def _place(text: str, position: int) -> str:
    line = text.count("\n", 0, position) + 1
    return f"(at line {line}, column {position - text.rfind(chr(10), 0, position)})"
