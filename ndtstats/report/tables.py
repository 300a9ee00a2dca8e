"""From columns of a frame to columns of a table on a page, formatted as people read them."""

from collections.abc import Callable
from typing import Any

import pandas as pd

from ndtstats.report import formatting as show
from ndtstats.report.page import MOST_ROWS, Column, Table
from ndtstats.report.sentences import small_number


def text(rows: pd.DataFrame, name: str, heading: str) -> Column:
    """Return a column of text; a dash where there is none."""
    return Column(heading, rows[name].astype("str").fillna("–").tolist())


def number(
    rows: pd.DataFrame, name: str, heading: str, as_text: Callable[[float], str]
) -> Column:  # fmt: skip
    """Return a column of numbers, each as the function writes it; a dash where there is none.

    Examples
    --------
    >>> number(pd.DataFrame({"n": [1200, None]}), "n", "spots", counted).cells
    ['1,200', '–']
    """
    return Column(heading, _each(rows[name], as_text), number=True)


def bounds(rows: pd.DataFrame, names: tuple[str, str], heading: str, as_text: Any) -> Column:
    """Return a column of "low to high".

    Examples
    --------
    >>> rows = pd.DataFrame({"lower": [0.01], "upper": [0.25]})
    >>> bounds(rows, ("lower", "upper"), "bounds", show.percent).cells
    ['1.0 to 25.0 %']
    """
    low, high = (_each(rows[name], as_text) for name in names)
    cells = ["–" if "–" in pair else show.interval(*pair) for pair in zip(low, high, strict=True)]
    return Column(heading, cells, number=True)


def counted(value: float) -> str:
    """Return a whole number."""
    return f"{value:,.0f}"


def one_decimal(value: float) -> str:
    """Return a number with one decimal."""
    return show.decimals(value, 1)


def two_decimals(value: float) -> str:
    """Return a number with two decimals."""
    return show.decimals(value, 2)


def _each(values: "pd.Series[Any]", as_text: Callable[[float], str]) -> list[str]:
    # Cells beyond those shown are only counted: they need no text.
    shown = [
        "–" if pd.isna(value) else as_text(value) for value in values.iloc[:MOST_ROWS].tolist()
    ]
    return shown + [""] * (len(values) - len(shown))


def rates_table(rows: pd.DataFrame, column: str, title: str, level: float) -> Table:
    """Return rates with their bounds.

    Parameters
    ----------
    rows : DataFrame
        Of :func:`ndtstats.rates.rates`, of one basis.
    column : str
        What the rates are broken down by.
    title : str
        What they are.
    level : float
        Confidence level of the bounds.
    """
    shared = (number(rows, "shared", "shared", counted),) if column == "welder" else ()
    return Table(
        f"{title}; bounds at {show.level(level)} confidence",
        (
            text(rows, column, column),
            number(rows, "rejected", "rejected", counted),
            number(rows, "examined", "examined", counted),
            number(rows, "rate", "rate", show.percent),
            bounds(rows, ("lower", "upper"), "bounds", show.percent),
            number(rows, "effective", "worth", one_decimal),
            *shared,
        ),
    )


def hidden_table(rows: pd.DataFrame, by: str) -> Table:
    """Return what is likely hidden, one row each."""
    bound = show.level(float(rows["level"].iloc[0])) if len(rows) else "90 %"
    return Table(
        f"Rejectable imperfections likely still hidden, by {by}",
        (
            text(rows, by, by),
            number(rows, "found", "found", counted),
            number(rows, "examined_m", "rate rests on, m", one_decimal),
            number(rows, "looked_at_m", "examined, m", one_decimal),
            number(rows, "unexamined_m", "not examined, m", one_decimal),
            number(rows, "mean", "expected there", one_decimal),
            number(rows, "upper", f"at most ({bound})", counted),
            number(rows, "none", "none at all", show.percent),
        ),
    )


def monthly(rows: pd.DataFrame) -> tuple[Column, ...]:
    """Return the columns of a table of months: what was rejected, and what chance alone brings."""
    return (
        text(rows, "month", "month"),
        number(rows, "rejected", "rejected", counted),
        number(rows, "examined", "examined", counted),
        number(rows, "share", "rate", show.percent),
        bounds(rows, ("lower", "upper"), "by chance", show.percent),
    )


def lapsing_table(rows: pd.DataFrame) -> Table:
    """Return certificates that lapse soon, as :func:`ndtstats.qualification.lapsing` gives them."""
    return Table(
        "Certificates that lapse soon, unless something is done",
        (
            text(rows, "welder", "welder"),
            text(rows, "process", "process"),
            text(rows, "certificate", "certificate"),
            text(rows, "standard", "standard"),
            Column("last day", [show.day(day) for day in rows["lapses_on"]], number=True),
            text(rows, "because", "ended by"),
        ),
        roomy=True,
    )


def compared(rows: pd.DataFrame) -> tuple[Column, ...]:
    """Return what was observed against what was to be expected, as columns.

    Parameters
    ----------
    rows : DataFrame
        As :func:`ndtstats.rates.compare_welders` gives them.
    """
    return (
        number(rows, "expected", "to be expected", one_decimal),
        number(rows, "ratio", "observed ÷ expected", two_decimals),
        bounds(rows, ("ratio_lower", "ratio_upper"), "bounds", two_decimals),
        number(rows, "adjusted_p", "adjusted p", small_number),
        Column("stands out", rows["stands_out"].replace("", "no").tolist()),
    )
