"""Strip pictures: a joint, or a zone, to scale: where it was examined, and what was found there."""

from collections import namedtuple
from collections.abc import Iterable, Iterator
from functools import cache
from html import escape
from typing import Any

import pandas as pd

from ndtstats.report.formatting import plain
from ndtstats.report.marks import MARKS, marks_sentence

#: Height of a mark above and below the middle of its row, so that colour is not all that tells.
_HALF = {"accept": 4, "reject": 7, "re-shoot": 2, "not done": 2}
_LEFT, _WIDTH, _ROW = 64, 600, 22

#: What is drawn of an examination, or said of it where it is pointed at.
_EXAMINED = ["method", "from_mm", "to_mm", "verdict", "round", "date", "report"]

#: The same for the rows of a zone, which has many joints; and what of a name stands beside a row.
_ZONE_LEFT, _ZONE_ROW, _NAME = 104, 14, 14
_ZONE_HALF = {"accepted": 3, "rejected": 5, "found": 2, "planned": 4, "owed": 6}
_ZONE_CLASS = {"accepted": "a", "rejected": "r", "found": "i", "planned": "p", "owed": "d"}


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
        Spots asked for and not examined: ``method``, ``round``, ``from_mm``, ``to_mm``.
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
    # A register's rows have many columns, and each row is taken up one by one below.
    looked = _by_label(examined[_EXAMINED], _label(examined))
    asked = _by_label(planned[["from_mm", "to_mm"]], _label(planned))
    shown = _by_label(found[["start_mm", "end_mm"]], _label(found))
    labels = list(dict.fromkeys([*sorted(looked), *sorted(asked)]))
    marks = [
        mark
        for number, label in enumerate(labels)
        for mark in (
            *_spots(looked.get(label, ()), number, scale),
            *_outlines(asked.get(label, ()), number, scale, "p"),
            *_found(shown.get(label, ()), number, scale),
        )
    ]
    if len(owed):
        marks += _outlines(_named(owed), len(labels), scale, "d")
        labels.append("owed")
    rows = [part for number, label in enumerate(labels) for part in _row(number, label)]
    height = _ROW * len(labels) + 18
    inside = "".join(
        [_title(length_mm, examined, planned, owed), *rows, *marks, _ends(length_mm, height)]
    )
    return (
        f'<svg viewBox="0 0 {_LEFT + _WIDTH + 4} {height}" role="img" class="strip">{inside}</svg>'
    )


def _label(rows: pd.DataFrame) -> list[str]:
    return [
        f"{method} R{round_}" if round_ > 0 else str(method)
        for method, round_ in zip(rows["method"], rows["round"], strict=True)
    ]


def _by_label(rows: pd.DataFrame, labels: list[str]) -> dict[str, list[Any]]:
    """Return the rows of each label: a picture has few, and a page hundreds of pictures."""
    found: dict[str, list[Any]] = {}
    for label, row in zip(labels, _named(rows), strict=True):
        found.setdefault(label, []).append(row)
    return found


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


def _ends(length_mm: float, height: int, left: int = _LEFT) -> str:
    return (
        f'<text x="{left}" y="{height - 4}" class="t">0</text>'
        f'<text x="{left + _WIDTH}" y="{height - 4}" class="t e">{length_mm:,.0f} mm</text>'
    )


def _middle(number: int) -> int:
    return _ROW * number + _ROW // 2


def _box(low: float, high: float, number: int, half: int, scale: float) -> str:
    """Return place and size of a mark; it is never too narrow to be seen."""
    return (
        f'x="{_LEFT + low * scale:.1f}" y="{_middle(number) - half}" '
        f'width="{max((high - low) * scale, 2):.1f}" height="{2 * half}"'
    )


def _spots(rows: Iterable[Any], number: int, scale: float) -> list[str]:
    return [
        f"<rect {_box(row.from_mm, row.to_mm, number, _HALF.get(row.verdict, 2), scale)} "
        f'class="{_kind(row.verdict)}"><title>{escape(plain(_words(row)))}</title></rect>'
        for row in rows
    ]


def _kind(verdict: str) -> str:
    return {"accept": "a", "reject": "r"}.get(verdict, "g")


def _named(rows: pd.DataFrame) -> Iterator[Any]:
    """Yield rows by the names of their columns; a picture has few of them."""
    return map(_row_of(tuple(rows.columns))._make, rows.itertuples(index=False, name=None))


@cache
def _row_of(columns: tuple[str, ...]) -> Any:
    """Return a kind of tuple with named fields; to make one for each picture takes long."""
    return namedtuple("_Row", columns)


def _words(row: Any) -> str:
    round_ = f" R{row.round}" if row.round else ""
    return (
        f"{row.method}{round_} {row.report}, {row.date:%Y-%m-%d}: "
        f"{row.from_mm:,.0f} to {row.to_mm:,.0f} mm {row.verdict}"
    )


def _outlines(rows: Iterable[Any], number: int, scale: float, kind: str) -> list[str]:
    return [
        f'<rect {_box(row.from_mm, row.to_mm, number, 5, scale)} class="{kind}"/>' for row in rows
    ]


def _found(rows: Iterable[Any], number: int, scale: float) -> list[str]:
    return [f'<rect {_box(row.start_mm, row.end_mm, number, 3, scale)} class="i"/>' for row in rows]


def zone_strip(lengths_mm: "pd.Series[float]", marks: pd.DataFrame) -> str:
    """Return the picture of several joints as SVG, all to one scale.

    Parameters
    ----------
    lengths_mm : Series
        Length of each joint by its name, in the order in which they are shown.
    marks : DataFrame
        As :func:`ndtstats.report.marks.marks_of` gives them, of those joints.

    Returns
    -------
    str
        One row for each joint, as long as the joint; marks as in :func:`strip`. All methods share
        the row. Later rounds lie over earlier ones, and an accepted repair shows the reject around
        it; indications and outlines lie over all. Everything in it is escaped.
    """
    scale = _WIDTH / float(lengths_mm.max())
    number = pd.Series(range(len(lengths_mm)), index=lengths_mm.index)
    # What is owed is but an outline: it hides nothing, and lies over all.
    order = {mark: place for place, mark in enumerate((*MARKS, "owed"))}
    shown = marks.assign(
        row=marks["joint"].map(number),
        late=marks["round"].where(~marks["mark"].isin(["found", "owed"]), marks["round"].max()),
        top=marks["mark"].map(order),
    ).sort_values(["late", "top"], kind="stable")
    rows = [
        part
        for place, (name, length) in enumerate(lengths_mm.items())
        for part in _zone_row(place, str(name), float(length) * scale)
    ]
    height = _ZONE_ROW * len(lengths_mm) + 18
    title = f"<title>{escape(f'{len(lengths_mm):,} joints: {marks_sentence(marks)}')}</title>"
    inside = "".join(
        [title, *rows, *(_zone_mark(mark, scale) for mark in _named(shown)),
         _ends(float(lengths_mm.max()), height, _ZONE_LEFT)]
    )  # fmt: skip
    return (
        f'<svg viewBox="0 0 {_ZONE_LEFT + _WIDTH + 4} {height}" role="img" class="strip zone">'
        f"{inside}</svg>"
    )


def _zone_row(place: int, name: str, width: float) -> tuple[str, str]:
    middle = _ZONE_ROW * place + _ZONE_ROW // 2
    short = name if len(name) <= _NAME else name[: _NAME - 1] + "…"
    return (
        f'<text x="0" y="{middle + 4}" class="m">{escape(plain(short))}</text>',
        f'<rect x="{_ZONE_LEFT}" y="{middle - 1}" width="{width:.1f}" height="2" class="w"/>',
    )


def _zone_mark(mark: Any, scale: float) -> str:
    half = _ZONE_HALF.get(mark.mark, 2)
    middle = _ZONE_ROW * mark.row + _ZONE_ROW // 2
    round_ = f" R{mark.round}" if mark.round else ""
    words = (
        f"{mark.joint}, {mark.method}{round_} {mark.from_mm:,.0f} to {mark.to_mm:,.0f} mm "
        f"{mark.mark}"
    )
    return (
        f'<rect x="{_ZONE_LEFT + mark.from_mm * scale:.1f}" y="{middle - half}" '
        f'width="{max((mark.to_mm - mark.from_mm) * scale, 2):.1f}" height="{2 * half}" '
        f'class="{_ZONE_CLASS.get(mark.mark, "g")}">'
        f"<title>{escape(plain(words))}</title></rect>"
    )
