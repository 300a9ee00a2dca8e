"""Between rows of the database and data frames: types, missing values, natural keys."""

import gc
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.columns import TABLES, Column

#: Parts the pieces of a natural key; cannot occur in text read from a file.
KEY_SEPARATOR = "\x1f"

#: Data type of a column of each kind. A whole number with gaps becomes a nullable one.
_DTYPES: dict[str, Any] = {
    "text": "str",
    "numbers": "str",
    "number": "float64",
    "whole": "Int64",
    "date": "datetime64[s]",
    "flag": "boolean",
}

Rows = list[tuple[Any, ...]]


def typed(frame: pd.DataFrame, columns: Sequence[Column]) -> pd.DataFrame:
    """Return ``frame`` with exactly ``columns``, each in its data type; absent ones are missing.

    Examples
    --------
    >>> from ndtstats.columns import Column
    >>> typed(pd.DataFrame({"length_mm": [10]}), [Column("length_mm", "number", "")]).dtypes.iloc[0]
    dtype('float64')
    """
    return pd.DataFrame(
        {
            column.name: _typed(frame.get(column.name), column.kind, frame.index)
            for column in columns
        },
        index=frame.index,
    )


def _typed(values: "pd.Series[Any] | None", kind: str, index: "pd.Index[Any]") -> "pd.Series[Any]":
    dtype = _DTYPES[kind]
    if values is None:
        missing: pd.Series[Any] = pd.Series([None] * len(index), index=index, dtype=dtype)
        return missing
    if kind == "date":
        values = pd.to_datetime(values)
    elif kind == "number":
        values = pd.to_numeric(values)
    converted: pd.Series[Any] = values.astype(dtype)
    return converted


def from_rows(rows: Sequence[Sequence[Any]], columns: Sequence[Column]) -> pd.DataFrame:
    """Return rows as read from the database as a typed frame.

    Whole numbers without gaps come as ``int64``: they are ids and counts that people index with.
    """
    return from_pieces([rows], columns)


def from_pieces(
    pieces: Iterable[Sequence[Sequence[Any]]], columns: Sequence[Column]
) -> pd.DataFrame:
    """Return rows that are read piece by piece as one typed frame, as :func:`from_rows` does."""
    with _uncollected():
        frames = [_piece(rows, columns) for rows in pieces] or [_piece((), columns)]
    frame = frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True)
    solid = [
        column.name
        for column in columns
        if column.kind == "whole" and not frame[column.name].isna().any()
    ]
    return frame.astype(dict.fromkeys(solid, "int64"))


@contextmanager
def _uncollected() -> Iterator[None]:
    """Look for no garbage: rows are plain values, and each of them would make Python look again."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def _piece(rows: Sequence[Sequence[Any]], columns: Sequence[Column]) -> pd.DataFrame:
    # Column by column: a frame of mixed rows would be taken apart again at once.
    cells = list(zip(*rows, strict=True)) or [()] * len(columns)
    return pd.DataFrame(
        {
            column.name: _read(values, column.kind)
            for column, values in zip(columns, cells, strict=True)
        },
        index=pd.RangeIndex(len(rows)),
    )


def _read(values: tuple[Any, ...], kind: str) -> Any:
    """Return the cells of a column as read from the database in its data type."""
    if kind == "number":
        return np.array(values, dtype="float64")
    if kind == "whole" and (known := np.array(values)).dtype == np.int64:
        return known
    cells = np.array(values, dtype=object)
    if kind not in {"text", "numbers", "date"}:
        return pd.array(cells, dtype=_DTYPES[kind])
    # Most texts and days stand in many rows: each is converted, and kept, once.
    codes, distinct = pd.factorize(cells)
    index = pd.RangeIndex(len(distinct))
    each = _typed(pd.Series(distinct, index, dtype=object), kind, index)
    return each.array.take(codes, allow_fill=True)


def to_rows(frame: pd.DataFrame, size: int) -> Iterator[Rows]:
    """Yield the rows of a typed frame as tuples of plain Python values, ``size`` at a time.

    Plain values matter: the SQLite driver stores a numpy integer as raw bytes without a word.
    """
    for start in range(0, len(frame), size):
        piece = frame.iloc[start : start + size]
        yield list(zip(*(_plain(piece[name]) for name in piece.columns), strict=True))


def _plain(values: "pd.Series[Any]") -> list[Any]:
    if pd.api.types.is_datetime64_any_dtype(values):
        return list(_texts(values, None))
    if isinstance(values.dtype, pd.StringDtype):
        return list(_filled(values, None))
    plain = values.to_numpy(dtype=object, copy=True)
    plain[values.isna().to_numpy()] = None
    return list(plain)


def _filled(values: "pd.Series[Any]", missing: str | None) -> "np.ndarray[Any, Any]":
    """Return a column of text as an array of objects, what is missing filled in."""
    texts = values.to_numpy(dtype=object, copy=True)
    texts[values.isna().to_numpy()] = missing
    return texts


def _texts(values: "pd.Series[Any]", missing: str | None) -> "np.ndarray[Any, Any]":
    """Return a column that holds no text as texts; each distinct value is written once."""
    codes, distinct = pd.factorize(values)
    if pd.api.types.is_datetime64_any_dtype(values):
        days = distinct.to_numpy("datetime64[s]")
        written = np.datetime_as_string(days, unit="D").astype(object)
    else:
        written = pd.Series(distinct).astype("str").to_numpy(dtype=object)
    # What is missing has the code -1, the last one.
    return np.array([*written, missing], dtype=object)[codes]


def natural_key(table: str, frame: pd.DataFrame) -> "pd.Series[Any]":
    r"""Return the natural key of each row of a typed frame as one text.

    An examination that answers a request is known by the request; any other by its place.

    Examples
    --------
    >>> rows = pd.DataFrame({"job": ["H1"], "joint": ["B-1"]})
    >>> natural_key("joints", rows).tolist() == ["H1\x1fB-1"]
    True
    """
    pieces = {name: _key_texts(frame[name]) for name in TABLES[table].key}
    if table == "examinations":
        asked = frame["request"].notna().to_numpy()
        for place in ("from_mm", "to_mm"):
            pieces[place] = np.where(asked, "", pieces[place])
    keys = list(map(KEY_SEPARATOR.join, zip(*pieces.values(), strict=True)))
    return pd.Series(keys, frame.index, dtype="str")


def _key_texts(values: "pd.Series[Any]") -> "np.ndarray[Any, Any]":
    return _filled(values, "") if isinstance(values.dtype, pd.StringDtype) else _texts(values, "")


def differs(
    left: "pd.Series[Any]", right: "pd.Series[Any]"
) -> "np.ndarray[Any, np.dtype[np.bool_]]":
    """Return where two columns of the same kind differ; missing equals missing."""
    missing_left, missing_right = left.isna().to_numpy(), right.isna().to_numpy()
    # A missing value compares equal to nothing, not even itself, so it is taken apart first.
    equal = left.astype(object).where(~missing_left, None).to_numpy() == (
        right.astype(object).where(~missing_right, None).to_numpy()
    )
    return ~np.where(missing_left | missing_right, missing_left & missing_right, equal).astype(bool)
