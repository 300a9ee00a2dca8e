"""What is owed, and what is warned of, put together as the page tells it."""

from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Any

import pandas as pd

from ndtstats.report.page import MOST_ROWS

#: Rows of the register that one line of the warnings names.
MOST_NAMED = 12
#: Places that one owed item names.
MOST_PLACES = 6

#: In this order the parts of what is owed for one reject are told.
_ORDER = ("repair", "re-examine", "extra", "whole lot")
_CAUSE = ["because", "procedure", "state"]


@dataclass(frozen=True, slots=True)
class Owed:
    """What one cause asks for: ``items`` are the rows of the owed table that name it."""

    because: str
    procedure: str
    state: str
    items: tuple[dict[str, Any], ...]


def causes_of(items: pd.DataFrame) -> tuple[tuple[Owed, ...], int]:
    """Return the owed items by what caused them, and how many causes are beyond the page.

    Parameters
    ----------
    items : DataFrame
        As :func:`ndtstats.escalation.owed` gives them.
    """
    if items.empty:
        return (), 0
    rank = items["what"].map({what: n for n, what in enumerate(_ORDER)})
    ordered = items.assign(rank=rank).sort_values([*_CAUSE, "rank", "item"], kind="stable")
    number = ordered.groupby(_CAUSE).ngroup()
    shown = ordered[number < MOST_ROWS].to_dict("records")
    cause = itemgetter(*_CAUSE)
    causes = tuple(
        Owed(because, procedure, state, tuple(_item(row) for row in rows))
        for (because, procedure, state), rows in groupby(shown, key=cause)
    )
    return causes, int(number.max()) + 1 - len(causes)


def _item(row: dict[Any, Any]) -> dict[str, Any]:
    places = row["places"]
    return {
        "what": row["what"], "count": row["count"], "round": row["round"], "lot": row["lot"],
        "places": places[:MOST_PLACES], "more": max(len(places) - MOST_PLACES, 0),
    }  # fmt: skip


def kinds_of(warnings: pd.DataFrame) -> pd.DataFrame:
    """Return warnings with those of one kind and file together.

    Returns
    -------
    DataFrame
        Columns ``code``, ``column``, ``reason``, ``remedy``, ``file``, ``count``, ``rows``,
        ``values``.
    """
    told = warnings.assign(
        file=warnings["file"].astype("str").fillna("")
        + (", sheet " + warnings["sheet"].astype("str")).fillna(""),
        value=warnings["value"].astype("str").fillna(""),
    )
    kinds = told.fillna({"reason": "", "remedy": "", "column": ""}).groupby(
        ["code", "column", "reason", "remedy", "file"], sort=False
    )
    return kinds.agg(
        count=("row", "size"),
        rows=("row", lambda rows: _named(rows.dropna().astype(int))),
        values=("value", lambda values: _named(values.drop_duplicates())),
    ).reset_index()


def _named(values: "pd.Series[Any]") -> str:
    shown = ", ".join(str(value) for value in values.head(MOST_NAMED))
    more = len(values) - MOST_NAMED
    return f"{shown} and {more:,} more" if more > 0 else shown
