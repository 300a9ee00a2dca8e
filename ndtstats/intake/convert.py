"""Text to typed columns, by what the table declares; what can be read two ways is refused.

Every function takes a column of stripped text ("" where blank) and returns the converted column
and the texts that could not be read. The work is done once per distinct text.

Numbers and dates are read in every notation there is; what only one notation can read settles the
column, and what two can read otherwise, with nothing to settle it, is refused with both readings.
"""

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.columns import Column
from ndtstats.errors import nearest
from ndtstats.units import MM_PER_UNIT

#: Days as a spreadsheet counts them start here; 1900 was no leap year, though it thinks so.
_SERIAL_ORIGIN = pd.Timestamp("1899-12-30")
#: 1950 to 2100: a date outside says that a column was read wrongly.
_FIRST_DAY, _LAST_DAY = pd.Timestamp("1950-01-01"), pd.Timestamp("2100-12-31")

_YES = {"yes", "y", "true", "1", "x"}
_NO = {"no", "n", "false", "0", "-"}

#: Columns of codes: trimmed and in capitals, so that "k7" is the stamp K7.
CAPITALS = {"welder", "method", "position", "positions"}

#: How a spreadsheet is told that a cell is text, though it begins like a formula.
_MARKED_TEXT = ("'=", "'+", "'-", "'@")

#: Controls, marks that turn the direction of writing, blanks of no width, soft hyphens. Blanks and
#: line breaks are not among them, nor what joins letters in some scripts.
_UNSEEN = re.compile(
    "[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\xad\u061c\u200b\u200e\u200f"
    "\u202a-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb]"
)

#: A number from here on is a slip, whatever it measures.
_TOO_LARGE = 1e12

#: Lengths are kept to a millionth of a millimetre: 0.07 m is 70 mm and not 70.00000000000001,
#: or the same spot given in two units would be two spots.
_LENGTH_DIGITS = 6


@dataclass(frozen=True, slots=True)
class Unread:
    """Why some texts of a column could not be read: a code, and a sentence for each text."""

    code: str
    reason: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Converted:
    """A column as typed values, and for each row that could not be read the reason."""

    values: Any
    unread: dict[str, Unread]


def clean(texts: Any) -> Any:
    r"""Return texts without surrounding blanks and with single ones inside.

    An apostrophe before a sign that begins a formula only marks the cell as text, and is dropped.
    So are characters that nobody sees: two joints whose names look the same are the same.

    Examples
    --------
    >>> clean(pd.Series([" B-1  a\u00a0", "'-7"])).tolist()
    ['B-1 a', '-7']
    """
    codes, distinct = pd.factorize(texts)
    cleaned = [clean_text(text) for text in distinct]
    return pd.Series(np.array(cleaned, dtype=object).take(codes), texts.index, dtype="str")


def clean_text(text: str) -> str:
    """Return one text as :func:`clean` does."""
    single = " ".join(_UNSEEN.sub("", text).split())
    return single[1:] if single.startswith(_MARKED_TEXT) else single


def convert(
    texts: Any,
    column: Column,
    *,
    unit: str | None = None,
    decimal: str | None = None,
    dates: str | None = None,
    points: bool = True,
) -> Converted:
    """Return a column of text as the type that its table declares.

    Parameters
    ----------
    texts : Series of str
        Cleaned cells, "" where blank.
    column : Column
        What it is.
    unit : str, optional
        Unit in which a length is given; millimetres if not declared.
    decimal : {",", "."}, optional
        The decimal mark, if declared.
    dates : {"dmy", "mdy", "iso", "serial"}, optional
        The order of day and month, if declared.
    points : bool
        Whether the source itself writes numbers with a point, as a spreadsheet does with real ones.

    Examples
    --------
    >>> from ndtstats.columns import TABLES
    >>> length = TABLES["joints"].column("length_mm")
    >>> convert(pd.Series(["1,5", ""]), length, unit="m").values.tolist()
    [1500.0, nan]
    """
    codes, found = pd.factorize(texts)
    done = convert_distinct(
        pd.Series(found, dtype="str"), column, unit=unit, decimal=decimal, dates=dates,
        points=points,
    )  # fmt: skip
    return Converted(done.values.take(codes).set_axis(texts.index), done.unread)


def convert_distinct(
    distinct: Any,
    column: Column,
    *,
    unit: str | None = None,
    decimal: str | None = None,
    dates: str | None = None,
    points: bool = True,
) -> Converted:
    """Return texts of which each stands once as :func:`convert` does."""
    filled = distinct[distinct != ""]
    scale = MM_PER_UNIT[unit or "mm"] if column.unit == "mm" else 1.0
    if column.kind == "number":
        values, unread = _numbers(filled, decimal, points)
        values = (values * scale).round(_LENGTH_DIGITS)
    elif column.kind == "date":
        values, unread = _dates(filled, dates)
    elif column.kind == "whole":
        values, unread = _whole(filled, column)
    elif column.kind == "flag":
        values, unread = _flags(filled)
    elif column.kind == "numbers":
        values, unread = _several(filled, decimal, scale, points)
    else:
        values, unread = _words(filled, column)
    return Converted(values.reindex(distinct.index), unread)


# ------------------------------------------------------------------ numbers

#: A number with the decimal mark {0}; and one in groups of three, parted by the other mark {1}.
_PLAIN = r"[+-]?(?:\d+{0}?\d*|{0}\d+)(?:[eE][+-]?\d+)?"
_GROUPED = r"[+-]?[1-9]\d{{0,2}}([{1} '’])\d{{3}}(?:\1\d{{3}})*(?:{0}\d+)?"


def _numbers(texts: Any, decimal: str | None, points: bool) -> tuple[Any, dict[str, Unread]]:
    point, comma = _with_mark(texts, ".", ","), _with_mark(texts, ",", ".")
    two_ways = point.notna() & comma.notna() & (point != comma)
    order = decimal or _only(point.notna() & comma.isna(), comma.notna() & point.isna(), ".", ",")
    # Where real numbers may stand, "1.250" may be one of them, even beside a "12,5" that is text.
    real = texts.str.contains(".", regex=False) & points
    refused = two_ways & {".": real & False, ",": real}.get(order or "", ~real)
    # What only one notation can read is what it says, whatever stands beside it...
    values = comma.fillna(point) if order == "," else point.fillna(comma)
    if decimal == "." or (decimal == "," and not points):
        values = point if decimal == "." else comma  # ...unless a person declared the other one.
    values = values.where(~refused & (values.abs() < _TOO_LARGE)) + 0.0  # -0 is 0
    unread = {text: _two_numbers(text) for text in texts[refused]}
    remedy = "write it as 12.5, or declare decimal in a mapping file"
    wrong = texts[values.isna() & ~refused]
    return values, unread | dict.fromkeys(wrong, Unread("NUMBER", "is not a number", remedy))


def _with_mark(texts: Any, mark: str, other: str) -> Any:
    """Return the numbers as read with a decimal mark, NaN where they cannot be read so."""
    marks = (re.escape(mark), re.escape(other))
    fits = texts.str.fullmatch(_PLAIN.format(*marks), flags=re.ASCII)
    fits |= texts.str.fullmatch(_GROUPED.format(*marks), flags=re.ASCII)
    plain = texts.where(fits).str.replace(rf"[{marks[1]} '’]", "", regex=True)
    numbers = pd.to_numeric(plain.str.replace(mark, ".", regex=False), errors="coerce")
    return numbers.astype("float64")


def _only(first: Any, second: Any, name: str, other: str) -> str | None:
    """Return the notation that something in the column calls for, if nothing calls for both."""
    if bool(first.any()) == bool(second.any()):
        return None
    return name if bool(first.any()) else other


def _two_numbers(text: str) -> Unread:
    as_thousands, as_decimal = re.sub("[.,]", "", text), text.replace(",", ".")
    return Unread(
        "NUMBER-AMBIGUOUS",
        f"can be read as {as_thousands} or as {as_decimal}",
        'declare decimal = "," or decimal = "." in a mapping file',
    )


def _whole(texts: Any, column: Column) -> tuple[Any, dict[str, Unread]]:
    # "R1" is how the first repair is written in the trade: common practice, no source.
    text = texts.str.replace(r"^[Rr](\d+)$", r"\1", regex=True) if column.name == "round" else texts
    values = pd.to_numeric(text.where(text.str.fullmatch(r"\d{1,6}(\.0+)?")), errors="coerce")
    wrong = texts[values.isna()]
    reason = Unread("WHOLE", "is not a whole number", "write 0, 1, 2 …")
    return values, dict.fromkeys(wrong, reason)


def _several(
    texts: Any, decimal: str | None, scale: float, points: bool
) -> tuple[Any, dict[str, Unread]]:
    parts = texts.str.split(";").explode().str.strip()
    parts = parts[parts != ""]
    distinct = parts.drop_duplicates()
    values, unread = _numbers(distinct, decimal, points)
    lookup = pd.Series((values * scale).round(_LENGTH_DIGITS).to_numpy(), distinct.to_numpy())
    numbers = parts.map(lookup)
    wrong = texts.index.isin(parts.index[numbers.isna() | (numbers < 0)]) | ~texts.index.isin(
        parts.index
    )
    # The same places in another order are the same list.
    shown = numbers.sort_values().map("{:.12g}".format).groupby(level=0).agg(";".join)
    reason = Unread("NUMBERS", "is not a list of positions", "write them as 250;1800")
    two_ways = {
        texts[row]: unread[part]
        for row, part in parts.items()
        if part in unread and unread[part].code == "NUMBER-AMBIGUOUS"
    }
    values = shown.reindex(texts.index).astype("str").mask(wrong)
    return values, dict.fromkeys(texts[wrong], reason) | two_ways


# ------------------------------------------------------------------ dates

_ISO = re.compile(r"^([0-9]{4})([-/.]?)([0-9]{2})\2([0-9]{2})(?:[T ][0-9:.]+)?$")
_DAY_FIRST = re.compile(r"^([0-9]{1,2})[./\- ]+([0-9]{1,2})[./\- ]+([0-9]{4}|[0-9]{2})$")


def _dates(texts: Any, order: str | None) -> tuple[Any, dict[str, Unread]]:
    iso = texts.str.extract(_ISO)
    parted = texts.str.extract(_DAY_FIRST)
    day_first = _calendar(parted[2], parted[1], parted[0])
    month_first = _calendar(parted[2], parted[0], parted[1])
    two_ways = day_first.notna() & month_first.notna() & (day_first != month_first)
    if order is None:
        only_day = day_first.notna() & month_first.isna()
        only_month = month_first.notna() & day_first.isna()
        settled = _only(only_day, only_month, "dmy", "mdy")
        two_ways &= settled is None
        values = month_first if settled == "mdy" else day_first
        values = values.fillna(month_first).fillna(day_first).mask(two_ways)
    else:
        two_ways &= False
        nothing = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[s]")
        values = {"dmy": day_first, "mdy": month_first}.get(order, nothing)
    values = values.fillna(_calendar(iso[0], iso[2], iso[3])).fillna(_counted(texts))
    values = values.where((values >= _FIRST_DAY) & (values <= _LAST_DAY))
    unread = {text: _two_dates(text) for text in texts[two_ways]}
    declared = f"; dates are declared as {order}" if order else ""
    reason = "is not a date between 1950 and 2100"
    wrong = Unread("DATE", reason, f"write it as 2026-03-01{declared}")
    return values, unread | dict.fromkeys(texts[values.isna() & ~two_ways], wrong)


def _counted(texts: Any) -> Any:
    """Return the days that a spreadsheet counts as plain numbers; nobody else writes dates so."""
    serial = texts.where(texts.str.fullmatch(r"\d{5}(\.\d+)?", flags=re.ASCII))
    days = pd.to_timedelta(np.floor(pd.to_numeric(serial, errors="coerce")), unit="D")
    return (_SERIAL_ORIGIN + days).astype("datetime64[s]")


def _calendar(year: Any, month: Any, day: Any) -> Any:
    full = pd.to_numeric(year)
    # 26 is 2026; 0026 is a slip, as is the year 0.
    full = full.where(year.str.len() != 2, full + 2000)
    parts = pd.DataFrame({"year": full, "month": month, "day": day})
    return pd.to_datetime(parts, errors="coerce").astype("datetime64[s]")


def _two_dates(text: str) -> Unread:
    match = _DAY_FIRST.match(text)
    first, second, year = match.groups() if match else ("?", "?", "?")
    year = f"20{year}" if len(year) == 2 else year
    return Unread(
        "DATE-AMBIGUOUS",
        f"can be read as {year}-{second:0>2}-{first:0>2} (day first) "
        f"or as {year}-{first:0>2}-{second:0>2} (month first)",
        'declare dates = "dmy" or dates = "mdy" in a mapping file',
    )


# ------------------------------------------------------------------ words


def _flags(texts: Any) -> tuple[Any, dict[str, Unread]]:
    folded = texts.str.casefold()
    values = pd.Series(pd.NA, index=texts.index, dtype="boolean")
    values[folded.isin(_YES)] = True
    values[folded.isin(_NO)] = False
    reason = Unread("FLAG", "is neither yes nor no", "write yes or no, or leave it blank")
    return values, dict.fromkeys(texts[values.isna()], reason)


def _words(texts: Any, column: Column) -> tuple[Any, dict[str, Unread]]:
    if column.name in CAPITALS:
        texts = texts.str.upper()
    if not column.allowed:
        return texts, {}
    by_folded = {_bare(word): word for word in column.allowed}
    values = texts.map(_bare).map(by_folded)
    wrong = texts[values.isna()]
    return values, {text: _not_a_word(text, column) for text in wrong}


def _bare(text: str) -> str:
    return re.sub(r"[\s_\-]+", "", text.casefold())


def _not_a_word(text: str, column: Column) -> Unread:
    close = nearest(text, column.allowed)
    kind = column.name.replace("_", " ").removeprefix("imp ")
    article = "an" if kind[0] in "aeiou" else "a"
    hint = f'did you mean "{close}"?' if close else f"write one of {', '.join(column.allowed)}"
    return Unread("WORD", f"is not {article} {kind}", hint)
