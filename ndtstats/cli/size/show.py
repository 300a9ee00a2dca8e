"""How ``ndtstats size`` shows a plan: its words, its table, its picture."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ndtstats.cli.console import Shown, emit, note

if TYPE_CHECKING:
    import pandas as pd

#: Rates in a table and in a picture, about.
COARSE, FINE = 12, 120


def show_curve(
    curve: "Callable[[int], pd.DataFrame]",
    plan: dict[str, int],
    conclusion: str,
    fmt: str,
    picture: Path | None,
) -> None:
    """Print the curve of a plan and draw it where asked.

    Parameters
    ----------
    curve : callable
        Returns the curve with about so many rates.
    plan : dict
        The numbers of the plan, which machines get in each row.
    conclusion, fmt
        As for :func:`ndtstats.cli.console.emit`.
    picture : Path, optional
        Where to draw.
    """
    from ndtstats.report.oc_figures import write_picture  # noqa: PLC0415

    table = curve(COARSE)
    if picture is not None:
        write_picture(curve(FINE), table, conclusion, picture)
        note(f"Drawn in {picture}.")
    if fmt != "table":
        emit(table.assign(**plan)[[*plan, *table.columns]], fmt)
        return
    shown, columns = _readable(table)
    emit(shown, fmt, columns=columns, conclusion=conclusion)


def _readable(table: "pd.DataFrame") -> "tuple[pd.DataFrame, list[Shown]]":
    """Return a curve as it is read, and how its columns look.

    Chances line up in per cent. Rates do not: they differ by powers of ten.
    """
    from ndtstats.report.oc_figures import HEADINGS, in_unit, unit_of  # noqa: PLC0415

    shown, columns = table.copy(), []
    for name in map(str, table):
        if name.endswith("_probability"):
            columns.append(Shown(name, HEADINGS[name], "percent"))
            continue
        shown[name] = in_unit(table, name)
        heading = HEADINGS[name] + (" (%)" if unit_of(name) == "%" else "")
        # A "number" has three digits; averages of a large lot have more.
        columns.append(Shown(name, heading, "count" if shown[name].max() >= 1000 else "number"))
    return shown, columns


def given(share: float) -> str:
    """Return a share the user typed, in per cent, as exactly as he did.

    Examples
    --------
    >>> given(0.9995)
    '99.95 %'
    """
    return f"{100 * share:.10g} %"


def percent(share: float) -> str:
    """Return a computed share in per cent; what is not certain never looks so.

    Examples
    --------
    >>> percent(0.07), percent(0.99999), percent(1e-9), percent(1.0)
    ('7 %', 'more than 99.9 %', 'less than 0.01 %', '100 %')
    """
    if 0.9995 <= share < 1:
        return "more than 99.9 %"
    if 0 < share < 0.0001:
        return "less than 0.01 %"
    return f"{100 * share:.3g} %"


def of_lot(number: int, lot: int | None) -> str:
    """Return a number of places, of their lot where there is one.

    Examples
    --------
    >>> of_lot(59, None), of_lot(1, None), of_lot(51, 200), of_lot(9, 9)
    ('59 places', '1 place', '51 of the 200 places', 'all 9 places')
    """
    if lot is None:
        return f"{number:,} place" + ("" if number == 1 else "s")
    return f"all {lot:,} places" if number == lot else f"{number:,} of the {lot:,} places"


def or_fewer(number: int) -> str:
    """Return the rejects a plan allows, in words.

    Examples
    --------
    >>> or_fewer(0), or_fewer(2)
    ('none', '2 or fewer')
    """
    return f"{number} or fewer" if number else "none"


def by_method(detection: float) -> str:
    """Return a clause on a method that misses some; none on one that does not."""
    return f" by a method that finds {given(detection)} of what is bad" if detection < 1 else ""
