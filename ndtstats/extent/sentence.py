"""The extents in words: the amounts with their unit, and the conclusion in one line."""

import math
from typing import Any

import pandas as pd

from ndtstats.units import MM_PER_M

#: Extents told one by one before the sentence says how many more there are.
MOST_SHOWN = 3

#: From here on a length is said in metres, to the centimetre.
IN_METRES_FROM_MM = 10_000

#: The last bits of a sum are no part of a millimetre.
_NOTHING = 1e-6


def sentence(table: pd.DataFrame) -> str:
    """Return the conclusion from a table of :func:`ndtstats.extent.extent`.

    Examples
    --------
    >>> sentence(pd.DataFrame({"rule": ["butts"], "category": ["A"], "method": ["RT"],
    ...                        "unit": ["mm"], "missing": [1500.0], "state": ["short"]}))
    '1 of 1 extent is short: butts (RT), 1,500 mm missing.'
    """
    asked = table[table["state"] != "no rule"]
    short = asked[asked["state"] == "short"]
    nameless = table[table["state"] == "no rule"]["category"]
    extents = "1 extent" if len(asked) == 1 else f"{len(asked)} extents"
    if asked.empty:
        said = "No rule asks for anything here."
    elif short.empty:
        said = "The only extent is met." if len(asked) == 1 else f"All {extents} are met."
    else:
        told = "; ".join(_missing(row) for row in short.head(MOST_SHOWN).itertuples())
        more = len(short) - MOST_SHOWN
        told += f"; and {more} more" if more > 0 else ""
        said = f"{len(short)} of {extents} {'is' if len(short) == 1 else 'are'} short: {told}."
    if len(nameless):
        names = ", ".join(nameless)
        categories = "category" if len(nameless) == 1 else "categories"
        said += f" In no rule: {categories} {names}."
    return said


def amount_text(value: float, unit: str) -> str:
    """Return an amount as it is said: in m or mm, or as a number of joints or spots.

    A part of a millimetre or of a spot counts as a whole one, so that nothing missing reads as
    nothing.

    Examples
    --------
    >>> amount_text(24_000.0, "mm"), amount_text(0.5, "mm"), amount_text(1.0, "spots")
    ('24.00 m', '1 mm', '1 spot')
    """
    whole = math.ceil(value - _NOTHING)
    if unit == "mm":
        return f"{whole / MM_PER_M:,.2f} m" if whole >= IN_METRES_FROM_MM else f"{whole:,} mm"
    return f"1 {unit.removesuffix('s')}" if whole == 1 else f"{whole:,} {unit}"


def _missing(row: Any) -> str:
    return f"{row.rule} ({row.method}), {amount_text(row.missing, row.unit)} missing"
