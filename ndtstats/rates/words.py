"""What a table of rates says, in a sentence: with how sure it is, and never more."""

from typing import Any

import pandas as pd


def sentence(table: pd.DataFrame, by: list[str] | tuple[str, ...]) -> str:
    """Return the conclusion of a table of rates.

    A group is named only where its lower bound lies above the rate of all groups together, and
    then as a place to look at: a comparison of many groups finds some by chance.

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
    measure, level = rows["measure"].iloc[0], rows["level"].iloc[0]
    head = _total(rows, measure)
    if "welder" in by:
        head += " What several welders made counts for each of them."
    if basis == "described":
        head += " Selection unknown: this describes what was examined, not what was welded."
    rejected, examined = rows["rejected"].sum(), rows["examined"].sum()
    if not by or not examined:
        return head
    usual = rejected / examined
    high = rows[rows["lower"] > usual].sort_values("lower", ascending=False)
    if high.empty:
        return f"{head} No group stands above the rate of all, as far as {level:.0%} bounds tell."
    named = ", ".join(_name(row, by) for _, row in high.head(3).iterrows())
    return f"{head} Above the rate of all by its lower {level:.0%} bound: {named}."


def _total(rows: pd.DataFrame, measure: str) -> str:
    rejected, examined = rows["rejected"].sum(), rows["examined"].sum()
    if measure == "length":
        return f"{rejected:,.0f} mm of {examined:,.0f} mm examined are rejectable."
    if measure == "per-metre":
        return f"{rejected:,.0f} rejectable indications in {examined:,.1f} m examined."
    unit = measure.removesuffix("s") if examined == 1 else measure
    return f"{rejected:,.0f} of {examined:,.0f} {unit} rejected at first examination."


def _name(row: Any, by: list[str] | tuple[str, ...]) -> str:
    return " ".join(f"{column} {row[column]}" for column in by)
