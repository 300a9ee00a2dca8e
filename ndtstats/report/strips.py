"""Strip pictures: each joint to scale, where it was examined, and what was found there."""

from collections.abc import Iterator
from html import escape
from typing import Any

import pandas as pd

_COLOURS = {"accept": "#009E73", "reject": "#D55E00", "re-shoot": "#999999", "not done": "#999999"}
_WIDTH, _ROW, _TOP = 640, 16, 6


def strip(
    length_mm: float, examined: pd.DataFrame, found: pd.DataFrame, planned: pd.DataFrame
) -> str:
    """Return the picture of one joint as SVG.

    Parameters
    ----------
    length_mm : float
        Length of the joint.
    examined : DataFrame
        Columns ``method``, ``from_mm``, ``to_mm``, ``verdict``, ``round``, ``date``, ``report``.
    found : DataFrame
        Rejectable indications: ``method``, ``start_mm``, ``end_mm``.
    planned : DataFrame
        Spots asked for and not answered: ``method``, ``from_mm``, ``to_mm``.

    Returns
    -------
    str
        One row a method; green accepted, red and hatched rejected, grey no answer of the weld,
        outlined still planned. Everything in it is escaped.
    """
    methods = list(dict.fromkeys([*examined["method"], *planned["method"]]))
    height = _TOP + _ROW * max(len(methods), 1) + 16
    scale = _WIDTH / length_mm
    parts = [_title(length_mm, examined, planned)]
    for row, method in enumerate(methods):
        y = _TOP + row * _ROW
        parts.append(f'<text x="0" y="{y + 11}" class="m">{escape(str(method))}</text>')
        parts.append(f'<rect x="30" y="{y + 4}" width="{_WIDTH}" height="6" class="w"/>')
        parts += _spots(examined[examined["method"] == method], y, scale)
        parts += _outlines(planned[planned["method"] == method], y, scale)
        parts += _marks(found[found["method"] == method], y, scale)
    y = _TOP + _ROW * max(len(methods), 1) + 11
    parts.append(f'<text x="30" y="{y}" class="t">0</text>')
    parts.append(
        f'<text x="{30 + _WIDTH}" y="{y}" class="t" text-anchor="end">{length_mm:,.0f} mm</text>'
    )
    return (
        f'<svg viewBox="0 0 {_WIDTH + 32} {height}" role="img" class="strip">{"".join(parts)}</svg>'
    )


def _title(length_mm: float, examined: pd.DataFrame, planned: pd.DataFrame) -> str:
    rejected = int((examined["verdict"] == "reject").sum())
    text = (
        f"Joint of {length_mm:,.0f} mm: {len(examined)} examined, {rejected} of them rejected, "
        f"{len(planned)} still planned"
    )
    return f"<title>{escape(text)}</title>"


def _spots(rows: pd.DataFrame, y: int, scale: float) -> list[str]:
    return [
        f'<rect x="{30 + row.from_mm * scale:.1f}" y="{y + (2 if row.round == 0 else 6)}" '
        f'width="{max((row.to_mm - row.from_mm) * scale, 2):.1f}" '
        f'height="{10 if row.round == 0 else 6}" fill="{_COLOURS.get(str(row.verdict), "#999")}" '
        f'fill-opacity="0.75"><title>{escape(_words(row))}</title></rect>'
        for row in _named(rows)
    ]


def _named(rows: pd.DataFrame) -> Iterator[Any]:
    """Yield rows by the names of their columns; a picture has few of them."""
    return iter(rows.itertuples())


def _words(row: Any) -> str:
    round_ = f" R{row.round}" if row.round else ""
    return (
        f"{row.method}{round_} {row.report}, {row.date:%Y-%m-%d}: "
        f"{row.from_mm:,.0f} to {row.to_mm:,.0f} mm {row.verdict}"
    )


def _outlines(rows: pd.DataFrame, y: int, scale: float) -> list[str]:
    return [
        f'<rect x="{30 + row.from_mm * scale:.1f}" y="{y + 2}" '
        f'width="{max((row.to_mm - row.from_mm) * scale, 2):.1f}" height="10" class="p"/>'
        for row in _named(rows)
    ]


def _marks(rows: pd.DataFrame, y: int, scale: float) -> list[str]:
    return [
        f'<rect x="{30 + row.start_mm * scale:.1f}" y="{y}" '
        f'width="{max((row.end_mm - row.start_mm) * scale, 2):.1f}" height="14" class="i"/>'
        for row in _named(rows)
    ]
