"""The chain over the log: a digest of each batch, made over the one before, tells a changed past.

The digest of a batch covers its log entry, all rows it brought, the marks it set on rows that it
superseded, and the digest of the batch before. Who changes, removes or adds a row of the past
breaks the link of its batch, and can only hide that by making every later link anew: a digest kept
outside the register shows even that. Entries removed from the end are noticed only so.

A value is digested by what it is and not by how a database keeps it: SQLite and PostgreSQL give the
same digest. Columns in which a batch has nothing do not count, so that one added later changes no
digest.

Chained hashes as evidence of order: Haber and Stornetta, Journal of Cryptology 3 (1991) 99-111.
"""

import hashlib
import itertools
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import sqlalchemy as sa

from ndtstats.columns import Column
from ndtstats.progress import Progress, silent
from ndtstats.register.frames import from_rows
from ndtstats.register.schema import BATCH, ID, KEY, SQL_TABLES, STORED, batches, raw

#: Rows read at a time when the chain is worked out anew.
CHUNK = 20_000

#: What the digest of the first batch is made over.
FIRST = hashlib.sha256(b"ndtstats register").hexdigest()


def hashed_columns(table: str) -> tuple[Column, ...]:
    """Return the columns of a stored table that its digest covers."""
    keyed = (KEY,) if "key" in SQL_TABLES[table].c else ()
    return (ID, *keyed, *STORED[table])


class RowsDigest:
    """Digest of the rows of one table, added piece by piece; how they are cut does not matter.

    Parameters
    ----------
    columns : sequence of Column
        What the pieces hold, in the types of :func:`ndtstats.register.frames.typed`.

    Examples
    --------
    >>> columns = (Column("welder", "text", ""), Column("name", "text", ""))
    >>> rows = pd.DataFrame({"welder": ["K7", "M2"], "name": pd.Series([None, None], dtype="str")})
    >>> whole, parts = RowsDigest(columns), RowsDigest(columns)
    >>> whole.add(rows); parts.add(rows.iloc[:1]); parts.add(rows.iloc[1:])
    >>> whole.hexdigest() == parts.hexdigest()
    True
    """

    def __init__(self, columns: tuple[Column, ...]) -> None:
        self._columns = columns
        self._streams = {column.name: hashlib.sha256() for column in columns}
        self._filled: set[str] = set()

    def add(self, frame: pd.DataFrame) -> None:
        """Add rows that follow those added before."""
        for column in self._columns:
            values = frame[column.name]
            self._streams[column.name].update(_ENCODINGS[column.kind](values))
            if column.name not in self._filled and values.notna().any():
                self._filled.add(column.name)

    def hexdigest(self) -> str:
        """Return the digest of all rows added so far."""
        told = {name: self._streams[name].hexdigest() for name in sorted(self._filled)}
        return _sha256(told)


def _text_bytes(values: "pd.Series[Any]") -> bytes:
    plain = values.astype(object).where(values.notna(), None).tolist()
    # Each cell ends in a comma, however many stand in a piece.
    return (json.dumps(plain, separators=(",", ":"))[1:-1] + ",").encode() if plain else b""


def _number_bytes(values: "pd.Series[Any]") -> bytes:
    numbers = values.to_numpy("float64", na_value=np.nan)
    # One zero and one NaN: SQLite keeps no sign of a zero.
    return np.where(np.isnan(numbers), np.nan, numbers + 0.0).astype("<f8").tobytes()


def _whole_bytes(values: "pd.Series[Any]") -> bytes:
    pairs = np.zeros(len(values), dtype=[("missing", "u1"), ("value", "<i8")])
    pairs["missing"] = values.isna()
    pairs["value"] = values.fillna(0).to_numpy("int64")
    return pairs.tobytes()


def _date_bytes(values: "pd.Series[Any]") -> bytes:
    return values.to_numpy("datetime64[D]").astype("<i8").tobytes()


def _flag_bytes(values: "pd.Series[Any]") -> bytes:
    flags = values.astype("boolean").astype("Int8").fillna(-1)
    return flags.to_numpy("int8").tobytes()


_ENCODINGS: dict[str, Callable[["pd.Series[Any]"], bytes]] = {
    "text": _text_bytes,
    "numbers": _text_bytes,
    "number": _number_bytes,
    "whole": _whole_bytes,
    "date": _date_bytes,
    "flag": _flag_bytes,
}


def _sha256(told: Any) -> str:
    text = json.dumps(told, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def link(
    before: str, entry: Mapping[str, Any], rows: Mapping[str, str], marks: Mapping[str, str]
) -> str:
    """Return the digest of a batch.

    Parameters
    ----------
    before : str
        Digest of the batch before.
    entry : mapping
        Its log entry; what is missing there does not count.
    rows, marks : mapping
        By table, the digest of the rows it brought and of the ids it superseded.
    """
    told = {name: value for name, value in entry.items() if value is not None and name != "digest"}
    return _sha256([before, told, dict(rows), dict(marks)])


def _marks_digest(ids: npt.NDArray[np.int64]) -> str:
    """Return the digest of the ids of rows that a batch superseded, in ascending order."""
    return hashlib.sha256(ids.astype("<i8").tobytes()).hexdigest()


# ------------------------------------------------------------------ working it out anew


@dataclass(frozen=True, slots=True)
class ChainState:
    """What working out the chain anew showed.

    Attributes
    ----------
    entries : int
        Batches in the log.
    kept_from : int
        First batch whose digest was made when it was written; those before were chained later.
    broken : tuple of (int, str)
        Batches that do not hold, in order, and what is wrong with each.
    digest : str or None
        Digest of the last batch.
    """

    entries: int
    kept_from: int
    broken: tuple[tuple[int, str], ...]
    digest: str | None


def check_chain(connection: sa.Connection, progress: Progress = silent) -> ChainState:
    """Work out every link anew from what the tables hold, and compare.

    Parameters
    ----------
    connection : Connection
        One that sees one consistent state.
    progress : Progress
        Is told how many rows were gone over.
    """
    log = _log(connection)
    rows, marks = _rows_written(connection, progress), _marks_set(connection)
    there = {entry["number"] for entry in log}
    gone = set(range(1, max(there, default=0) + 1)) - there
    broken = dict.fromkeys(gone, "its entry is not in the log")
    broken |= dict.fromkeys(({*rows, *marks}) - there, "there are rows of it, and no entry")
    before = FIRST
    for entry in log:
        number = entry["number"]
        if entry["digest"] != link(before, entry, rows.get(number, {}), marks.get(number, {})):
            broken[number] = "its entry, its rows or the marks it set are not as they were written"
        before = entry["digest"] or FIRST
    later = sum(bool(entry["chained_later"]) for entry in log)
    return ChainState(len(log), later + 1, tuple(sorted(broken.items())), before if log else None)


def chain_all(connection: sa.Connection, progress: Progress = silent) -> None:
    """Chain the batches of a register that was made before there was a chain."""
    rows, marks = _rows_written(connection, progress), _marks_set(connection)
    before = FIRST
    for entry in _log(connection):
        number = entry["number"]
        entry["chained_later"] = True
        before = link(before, entry, rows.get(number, {}), marks.get(number, {}))
        this = batches.c.number == number
        connection.execute(sa.update(batches).where(this).values(chained_later=True, digest=before))


def digest_before(connection: sa.Connection, number: int) -> str:
    """Return the digest over which that of a batch is made."""
    query = sa.select(batches.c.digest).where(batches.c.number == number - 1)
    return connection.execute(query).scalar() or FIRST


def marks_of(connection: sa.Connection, number: int, tables: Iterable[str]) -> dict[str, str]:
    """Return by table the digest of the ids of the rows that a batch superseded."""
    found = {}
    for table in tables:
        rows = SQL_TABLES[table].c
        query = sa.select(rows.id).where(rows.superseded == number).order_by(rows.id)
        ids = connection.execute(query).scalars().all()
        if ids:
            found[table] = _marks_digest(np.array(ids, dtype="int64"))
    return found


def _log(connection: sa.Connection) -> list[dict[str, Any]]:
    query = sa.select(batches).order_by(batches.c.number)
    return [dict(row) for row in connection.execute(query).mappings()]


def _rows_written(
    connection: sa.Connection, progress: Progress = silent
) -> dict[int, dict[str, str]]:
    """Return by batch and table the digest of the rows it brought."""
    found: dict[int, dict[str, str]] = {}
    counted = [sa.select(sa.func.count()).select_from(table) for table in SQL_TABLES.values()]
    total = sum(int(connection.execute(query).scalar_one()) for query in counted)
    done = 0
    for table in SQL_TABLES:
        tallies: dict[int, RowsDigest] = {}
        for number, piece in _pieces(connection, table):
            tallies.setdefault(number, RowsDigest(hashed_columns(table))).add(piece)
            done += len(piece)
            progress("rows", done, total)
        for number, tally in tallies.items():
            found.setdefault(number, {})[table] = tally.hexdigest()
    return found


def _pieces(connection: sa.Connection, table: str) -> Iterator[tuple[int, pd.DataFrame]]:
    """Yield the rows of a table in order of id, cut where the batch changes."""
    columns = (BATCH, *hashed_columns(table))
    cells = SQL_TABLES[table].c
    query = sa.select(*(raw(cells[c.name]) for c in columns)).order_by(cells.id)
    for rows in connection.execute(query, execution_options={"yield_per": CHUNK}).partitions():
        frame = from_rows(rows, columns)
        number = frame["batch"].to_numpy()
        starts = [0, *(np.flatnonzero(np.diff(number)) + 1).tolist(), len(frame)]
        for first, end in itertools.pairwise(starts):
            yield int(number[first]), frame.iloc[first:end]


def _marks_set(connection: sa.Connection) -> dict[int, dict[str, str]]:
    """Return by batch and table the digest of the ids of the rows it superseded."""
    found: dict[int, dict[str, str]] = {}
    for table, sql_table in SQL_TABLES.items():
        rows = sql_table.c
        query = sa.select(rows.superseded, rows.id).where(rows.superseded.is_not(None))
        marked = connection.execute(query.order_by(rows.superseded, rows.id)).all()
        pairs = pd.DataFrame.from_records([tuple(row) for row in marked], columns=["by", "id"])
        for number, ids in pairs.groupby("by")["id"]:
            found.setdefault(int(str(number)), {})[table] = _marks_digest(ids.to_numpy("int64"))
    return found
