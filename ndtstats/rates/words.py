"""What a table of rates says, in plain words: with how sure it is, and never more."""

from collections.abc import Sequence
from typing import Any

import pandas as pd

#: Design effect from which it is said: bounds are a fifth wider. Common practice, no source.
WIDE = 1.5


def sentence(table: pd.DataFrame, by: Sequence[str]) -> str:
    """Return the conclusion of a table of rates.

    The group with the highest lower bound is named, as the one that is most surely bad, and it is
    said whether its bounds leave a difference from the others at all.

    Parameters
    ----------
    table : DataFrame
        As :func:`ndtstats.rates.rates` gives it.
    by : sequence of str
        The columns it is broken down by.
    """
    if table.empty:
        return "Nothing was examined for the first time yet, so there is no rate."
    basis = "unbiased" if (table["basis"] == "unbiased").any() else "described"
    rows = table[table["basis"] == basis]
    finding = _of_one(rows.iloc[0], "") if len(rows) == 1 else _of_many(rows, by)
    return " ".join([finding, *_remarks(rows, basis)])


def worth(table: pd.DataFrame, by: Sequence[str]) -> str:
    """Return why weighted bounds are wide, where they are: what the spots are worth; else "".

    Parameters and table as of :func:`sentence`; the group is named that loses most.
    """
    known = (table["basis"] == "unbiased") & (table["effective"] > 0)
    rows = table[known & (table["design_effect"] >= WIDE)]
    if rows.empty:
        return ""
    row = rows.sort_values("design_effect", ascending=False, kind="stable").iloc[0]
    of = "".join(f" of {column} {row[column]}" for column in by)
    unit = {"joints": "joints", "per-metre": "m"}.get(row["measure"], "spots")
    seen = row["effective"] * row["design_effect"]
    return (
        f"Unequal weights and shared joints leave the {seen:,.3g} {unit}{of} worth "
        f"{row['effective']:.3g} drawn alike (design effect {row['design_effect']:.3g}), which is "
        "why these bounds are wide."
    )


def _of_many(rows: pd.DataFrame, by: Sequence[str]) -> str:
    if not rows["rejected"].any():
        return f"No reject in any of {len(rows)} groups; the bounds tell how bad each may still be."
    ranked = rows.sort_values(["lower", "rate"], ascending=False)
    top, others = ranked.iloc[0], ranked.iloc[1:]
    name = " ".join(f"{column} {top[column]}" for column in by)
    if not rows["lower"].any():
        return f"Highest rate: {_of_one(top, f'{name}, ')}"
    below = int((others["upper"] < top["lower"]).sum())
    compared = (
        "Its bounds overlap those of every other group, so no difference is shown."
        if not below
        else f"It lies above the upper bound of {below} of {len(others)} other groups; of many "
        "groups some stand out by chance."
    )
    return f"Highest lower bound: {_of_one(top, f'{name}, ')} {compared}"


def _of_one(row: Any, name: str) -> str:
    """Return what one row says: numerator, denominator, rate and bounds."""
    rejected, examined, measure = row["rejected"], row["examined"], row["measure"]
    if measure == "length":
        amount = f"{rejected:,.0f} of {examined:,.0f} mm rejectable at first examination"
    elif measure == "per-metre":
        noun = "indication" if rejected == 1 else "indications"
        amount = f"{rejected:,.0f} rejectable {noun} in {examined:,.1f} m"
    else:
        noun = measure.removesuffix("s") if examined == 1 else measure
        amount = f"{rejected:,.0f} of {examined:,.0f} {noun} rejected at first examination"
    weighted = " weighted by the draw" if row["basis"] == "unbiased" else ""
    between = f"{100 * row['level']:g} % bounds {_shown(row, 'lower')} and {_shown(row, 'upper')}"
    if rejected == 0:
        return f"{name}{amount}; {between}: no reject is not the same as no defect."
    return f"{name}{amount},{weighted} {_shown(row, 'rate')}, {between}."


def _shown(row: Any, column: str) -> str:
    if row["measure"] == "per-metre":
        return f"{row[column]:.3g} per metre" if column == "rate" else f"{row[column]:.3g}"
    return f"{row[column]:.1%}".replace("%", " %")


def _remarks(rows: pd.DataFrame, basis: str) -> list[str]:
    """Return what has to be known to read the table rightly."""
    remarks = []
    if basis == "described":
        remarks.append("Selection unknown: this describes what was examined, not what was welded.")
    if shared := int(rows["shared"].sum()):
        each = "reject is" if shared == 1 else "rejects are"
        remarks.append(f"{shared:,} {each} charged to others too.")
    if rows["measure"].iloc[0] == "length" and (unknown := int(rows["no_length"].sum())):
        each = "indication has" if unknown == 1 else "indications have"
        remarks.append(f"{unknown:,} {each} no length: the whole spot counts.")
    if (rows["methods"] > 1).any():
        remarks.append("Several methods stand together; ask for one to part them.")
    return remarks
