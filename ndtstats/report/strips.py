"""Strip pictures: each joint to scale, where it was examined, and what was found there."""

from collections.abc import Iterator
from html import escape
from typing import Any

import pandas as pd

from ndtstats.report.formatting import plain

#: Height of a mark above and below the middle of its row, so that colour is not all that tells.
_HALF = {"accept": 4, "reject": 7, "re-shoot": 2, "not done": 2}
_LEFT, _WIDTH, _ROW = 64, 600, 22


def strip(
    length_mm: float,
    examined: pd.DataFrame,
    found: pd.DataFrame,
    planned: pd.DataFrame,
    owed: pd.DataFrame,
) -> str:
    """Return the picture of one joint as SVG.

    Parameters
    ----------
    length_mm : float
        Length of the joint.
    examined : DataFrame
        Columns ``method``, ``from_mm``, ``to_mm``, ``verdict``, ``round``, ``date``, ``report``.
    found : DataFrame
        Rejectable indications: ``method``, ``round``, ``start_mm``, ``end_mm``.
    planned : DataFrame
        Spots asked for and not examined: ``method``, ``from_mm``, ``to_mm``.
    owed : DataFrame
        Places that a procedure still asks for: ``from_mm``, ``to_mm``.

    Returns
    -------
    str
        One row for each method and round. Accepted: green; rejected: red, taller and outlined;
        re-shoot and not done: a thin grey line; planned and owed: outlines; rejectable indications:
        black. Everything in it is escaped.
    """
    scale = _WIDTH / length_mm
    looked = examined.assign(row=_label(examined))
    asked = planned.assign(row=planned["method"])
    shown = found.assign(row=_label(found))
    labels = list(dict.fromkeys([*sorted(looked["row"]), *sorted(asked["row"])]))
    marks = [
        mark
        for number, label in enumerate(labels)
        for mark in (
            *_spots(looked[looked["row"] == label], number, scale),
            *_outlines(asked[asked["row"] == label], number, scale, "p"),
            *_found(shown[shown["row"] == label], number, scale),
        )
    ]
    if len(owed):
        marks += _outlines(owed, len(labels), scale, "d")
        labels.append("owed")
    rows = [part for number, label in enumerate(labels) for part in _row(number, label)]
    height = _ROW * len(labels) + 18
    inside = "".join(
        [_title(length_mm, examined, planned, owed), *rows, *marks, _ends(length_mm, height)]
    )
    return (
        f'<svg viewBox="0 0 {_LEFT + _WIDTH + 4} {height}" role="img" class="strip">{inside}</svg>'
    )


def _label(rows: pd.DataFrame) -> "pd.Series[Any]":
    later = " R" + rows["round"].astype("str")
    return rows["method"].astype("str") + later.where(rows["round"] > 0, "")


def _title(
    length_mm: float, examined: pd.DataFrame, planned: pd.DataFrame, owed: pd.DataFrame
) -> str:
    rejected = int((examined["verdict"] == "reject").sum())
    text = (
        f"Joint of {length_mm:,.0f} mm: {len(examined)} examined, {rejected} of them rejected, "
        f"{len(planned)} still planned, {len(owed)} owed"
    )
    return f"<title>{escape(text)}</title>"


def _row(number: int, label: str) -> tuple[str, str]:
    middle = _middle(number)
    return (
        f'<text x="0" y="{middle + 4}" class="m">{escape(plain(label))}</text>',
        f'<rect x="{_LEFT}" y="{middle - 1}" width="{_WIDTH}" height="2" class="w"/>',
    )


def _ends(length_mm: float, height: int) -> str:
    return (
        f'<text x="{_LEFT}" y="{height - 4}" class="t">0</text>'
        f'<text x="{_LEFT + _WIDTH}" y="{height - 4}" class="t e">{length_mm:,.0f} mm</text>'
    )


def _middle(number: int) -> int:
    return _ROW * number + _ROW // 2


def _box(low: float, high: float, number: int, half: int, scale: float) -> str:
    """Return place and size of a mark; it is never too narrow to be seen."""
    return (
        f'x="{_LEFT + low * scale:.1f}" y="{_middle(number) - half}" '
        f'width="{max((high - low) * scale, 2):.1f}" height="{2 * half}"'
    )


def _spots(rows: pd.DataFrame, number: int, scale: float) -> list[str]:
    return [
        f"<rect {_box(row.from_mm, row.to_mm, number, _HALF.get(row.verdict, 2), scale)} "
        f'class="{_kind(row.verdict)}"><title>{escape(plain(_words(row)))}</title></rect>'
        for row in _named(rows)
    ]


def _kind(verdict: str) -> str:
    return {"accept": "a", "reject": "r"}.get(verdict, "g")


def _named(rows: pd.DataFrame) -> Iterator[Any]:
    """Yield rows by the names of their columns; a picture has few of them."""
    return iter(rows.itertuples())


def _words(row: Any) -> str:
    round_ = f" R{row.round}" if row.round else ""
    return (
        f"{row.method}{round_} {row.report}, {row.date:%Y-%m-%d}: "
        f"{row.from_mm:,.0f} to {row.to_mm:,.0f} mm {row.verdict}"
    )


def _outlines(rows: pd.DataFrame, number: int, scale: float, kind: str) -> list[str]:
    return [
        f'<rect {_box(row.from_mm, row.to_mm, number, 5, scale)} class="{kind}"/>'
        for row in _named(rows)
    ]


def _found(rows: pd.DataFrame, number: int, scale: float) -> list[str]:
    return [
        f'<rect {_box(row.start_mm, row.end_mm, number, 3, scale)} class="i"/>'
        for row in _named(rows)
    ]
