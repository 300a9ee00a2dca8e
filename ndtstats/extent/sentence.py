"""The extents in one line."""

from typing import Any

import pandas as pd

#: Extents told one by one before the sentence says how many more there are.
MOST_SHOWN = 3


def sentence(table: pd.DataFrame) -> str:
    """Return the conclusion from a table of :func:`ndtstats.extent.extent`.

    Examples
    --------
    >>> sentence(pd.DataFrame({"rule": ["butts"], "category": ["A"], "method": ["RT"],
    ...                        "unit": ["mm"], "missing": [1500.0], "state": ["short"]}))
    '1 of 1 extent is short: butts (RT), 1.50 m missing.'
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


def _missing(row: Any) -> str:
    if row.unit == "mm":
        amount = f"{row.missing / 1000:.2f} m"
    else:
        unit = row.unit.removesuffix("s") if row.missing == 1 else row.unit
        amount = f"{row.missing:.0f} {unit}"
    return f"{row.rule} ({row.method}), {amount} missing"
