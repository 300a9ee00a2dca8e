"""Text to typed columns, by what the table declares; what can be read two ways is refused.

Every function takes a column of stripped text ("" where blank) and returns the converted column
and the texts that could not be read. The work is done once per distinct text.
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
CAPITALS = {"welder", "method"}


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

    Examples
    --------
    >>> clean(pd.Series([" B-1  a\u00a0"])).tolist()
    ['B-1 a']
    """
    return texts.str.replace(r"[\s\u00a0\u2007\u202f]+", " ", regex=True).str.strip()


def convert(
    texts: Any,
    column: Column,
    *,
    unit: str | None = None,
    decimal: str | None = None,
    dates: str | None = None,
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

    Examples
    --------
    >>> from ndtstats.columns import TABLES
    >>> length = TABLES["joints"].column("length_mm")
    >>> convert(pd.Series(["1,5", ""]), length, unit="m").values.tolist()
    [1500.0, nan]
    """
    distinct = pd.Series(pd.unique(texts), dtype="str")
    filled = distinct[distinct != ""]
    if column.kind == "number":
        values, unread = _numbers(filled, decimal)
        values = values * MM_PER_UNIT[unit or "mm"] if column.unit == "mm" else values
    elif column.kind == "date":
        values, unread = _dates(filled, dates)
    elif column.kind == "whole":
        values, unread = _whole(filled, column)
    elif column.kind == "flag":
        values, unread = _flags(filled)
    elif column.kind == "numbers":
        values, unread = _several(filled, decimal, MM_PER_UNIT[unit or "mm"])
    else:
        values, unread = _words(filled, column)
    lookup = pd.Series(values.to_numpy(), index=filled.to_numpy())
    return Converted(texts.map(lookup), unread)


# ------------------------------------------------------------------ numbers

_PLAIN = r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?"
_COMMA = r"[+-]?(?:\d+|\d{1,3}(?:[. ']\d{3})+),\d+"
_THOUSANDS = r"[+-]?\d{1,3}(?:[, ']\d{3})+(?:\.\d+)?"
_EITHER = r"[+-]?\d{1,3},\d{3}"


def _numbers(texts: Any, decimal: str | None) -> tuple[Any, dict[str, Unread]]:
    comma = texts.str.fullmatch(_COMMA)
    either = texts.str.fullmatch(_EITHER)
    thousands = texts.str.fullmatch(_THOUSANDS)
    plain = texts.str.fullmatch(_PLAIN)
    # One value that can only have a decimal comma settles the column, if none speaks against it.
    only_comma = bool((comma & ~either).any() and not (thousands & ~either).any())
    if decimal == "," or (decimal is None and only_comma):
        readable = (
            comma
            | texts.str.fullmatch(r"[+-]?\d+")
            | (plain & ~texts.str.contains(".", regex=False))
        )
        if decimal is None:
            readable |= plain
        text = texts.where(plain & ~comma, texts.str.replace(r"[. ']", "", regex=True))
        text = text.str.replace(",", ".", regex=False)
        ambiguous = pd.Series(False, index=texts.index)
    else:
        readable = plain | thousands
        ambiguous = either if decimal is None else pd.Series(False, index=texts.index)
        text = texts.str.replace(r"[, ']", "", regex=True)
    good = readable & ~ambiguous
    values = pd.to_numeric(text.where(good), errors="coerce")
    finite = np.isfinite(values) | ~good
    values = values.where(finite)
    unread = {t: _two_numbers(t) for t in texts[ambiguous]}
    wrong = texts[(~good & ~ambiguous) | ~finite]
    remedy = "write it as 12.5, or declare decimal in a mapping file"
    unread |= dict.fromkeys(wrong, Unread("NUMBER", "is not a number", remedy))
    return values, unread


def _two_numbers(text: str) -> Unread:
    as_thousands, as_decimal = text.replace(",", ""), text.replace(",", ".")
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


def _several(texts: Any, decimal: str | None, scale: float) -> tuple[Any, dict[str, Unread]]:
    parts = texts.str.split(";").explode().str.strip()
    parts = parts[parts != ""]
    values, unread = _numbers(parts.drop_duplicates(), decimal)
    lookup = pd.Series(values.to_numpy(), index=parts.drop_duplicates().to_numpy())
    numbers = parts.map(lookup) * scale
    shown = numbers.map("{:g}".format).groupby(level=0).agg(";".join)
    bad = set(parts.index[numbers.isna() | (numbers < 0)])
    reason = Unread("NUMBERS", "is not a list of positions", "write them as 250;1800")
    joined = shown.reindex(texts.index).astype("str")
    return joined.mask(joined.index.isin(bad)), {texts[i]: reason for i in bad} | {
        texts[i]: unread[p]
        for i, p in parts.items()
        if p in unread and i in bad and unread[p].code == "NUMBER-AMBIGUOUS"
    }


# ------------------------------------------------------------------ dates

_DAY_FIRST = re.compile(r"^(\d{1,2})[./\- ](\d{1,2})[./\- ](\d{4}|\d{2})$")


def _dates(texts: Any, order: str | None) -> tuple[Any, dict[str, Unread]]:
    iso = texts.str.extract(r"^(\d{4})[-/.]?(\d{2})[-/.]?(\d{2})(?:[T ][\d:.]+)?$")
    parted = texts.str.extract(_DAY_FIRST.pattern)
    serial = texts.str.fullmatch(r"\d{5}(\.\d+)?")
    order = order or _only_order(parted)
    values = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[s]")
    if order in {"dmy", "mdy"}:
        day, month = (0, 1) if order == "dmy" else (1, 0)
        values = _calendar(parted[2], parted[month], parted[day])
    values = values.fillna(_calendar(iso[0], iso[1], iso[2]))
    counted = pd.to_numeric(texts.where(serial), errors="coerce")
    days = _SERIAL_ORIGIN + pd.to_timedelta(np.floor(counted), unit="D")
    values = values.fillna(days.astype("datetime64[s]"))
    values = values.where((values >= _FIRST_DAY) & (values <= _LAST_DAY))
    wrong = texts[values.isna()]
    two_ways = parted[0].notna() & (order not in {"dmy", "mdy"})
    not_a_day = Unread("DATE", "is not a date between 1950 and 2100", "write it as 2026-03-01")
    return values, {t: _two_dates(t) if two_ways[i] else not_a_day for i, t in wrong.items()}


def _only_order(parted: pd.DataFrame) -> str | None:
    """Return the only order in which all dates of a column can be read, if there is only one."""
    first, second = pd.to_numeric(parted[0]), pd.to_numeric(parted[1])
    if bool((first > 12).any()) == bool((second > 12).any()):
        return None
    return "dmy" if bool((first > 12).any()) else "mdy"


def _calendar(year: Any, month: Any, day: Any) -> Any:
    full = pd.to_numeric(year)
    full = full.where(full >= 100, full + 2000)
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
