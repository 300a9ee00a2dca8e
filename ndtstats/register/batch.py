"""One batch of the log: everything that a transaction writes, and the digest that chains it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa

from ndtstats.columns import TABLES
from ndtstats.register import chain
from ndtstats.register.frames import (
    KEY_SEPARATOR,
    differs,
    from_pieces,
    from_rows,
    natural_key,
    to_rows,
    typed,
)
from ndtstats.register.schema import ID, KEY, SQL_TABLES, STORED, raw

#: Rows written or looked up at a time: bounds the memory of a load.
CHUNK = 20_000

#: What is looked up by name at a time; databases take some ten thousand.
_ASKED_AT_ONCE = 5_000

#: The character that follows the separator of keys: keys of one job sort before it.
_AFTER_SEPARATOR = chr(ord(KEY_SEPARATOR) + 1)


@dataclass(frozen=True, slots=True)
class Counts:
    """What merging rows did: how many were new, already there, or corrected."""

    new: int = 0
    unchanged: int = 0
    corrected: int = 0

    @property
    def changed(self) -> bool:
        """Whether anything was written."""
        return bool(self.new or self.corrected)


class Batch:
    """The one transaction in which a log entry and its rows are written."""

    def __init__(self, connection: sa.Connection, number: int) -> None:
        self._connection = connection
        self.number = number
        self.counts = Counts()
        self._written: dict[str, chain.RowsDigest] = {}
        self._marked: set[str] = set()
        self._held: dict[tuple[str, str | None], bool] = {}

    def insert(self, table: str, frame: pd.DataFrame, *, counted: bool = False) -> None:
        """Append rows to a table without natural key (plans, cells, spots, warnings).

        ``counted`` rows are those that the log entry is about.
        """
        self._append(table, typed(frame, STORED[table]))
        if counted:
            self._count(Counts(new=len(frame)))

    def merge(
        self, table: str, frame: pd.DataFrame, imperfections: pd.DataFrame | None = None
    ) -> Counts:
        """Bring rows in by their natural key: new ones are added, changed ones supersede.

        Parameters
        ----------
        table : str
            A table with a natural key.
        frame : DataFrame
            Its rows, no key twice.
        imperfections : DataFrame, optional
            For examinations: their imperfections; column ``examination`` holds the index label
            of the row of ``frame`` that shows it.

        Returns
        -------
        Counts
            How many rows were new, unchanged, corrected.
        """
        rows = typed(frame, STORED[table])
        keys = natural_key(table, rows)
        known = self._in_force(table, rows, keys)
        # Place of each row among the known ones, or -1.
        at = known.index.get_indexer(pd.Index(keys))
        fresh, old = rows[at >= 0], known.take(at[at >= 0])
        corrected = self._corrected(table, fresh, old, imperfections)
        replaced = old["id"].to_numpy()[corrected].tolist()
        self._supersede(table, replaced)
        if table == "examinations":
            self._supersede("imperfections", replaced, by="examination")
        to_write = pd.concat([rows[at < 0], fresh[corrected]]).sort_index() if len(old) else rows
        ids = self._append(table, to_write.assign(key=keys.loc[to_write.index]))
        self._append_imperfections(to_write, ids, imperfections)
        counts = Counts(int((at < 0).sum()), int((~corrected).sum()), int(corrected.sum()))
        self._count(counts)
        return counts

    def brought(self, table: str, keys: Sequence[str]) -> set[str]:
        """Return those of some natural keys whose rows this batch wrote."""
        rows = SQL_TABLES[table].c
        found: set[str] = set()
        mine = sa.select(rows.key).where(rows.batch == self.number, rows.superseded.is_(None))
        for asked in _cut(keys):
            found.update(self._connection.execute(mine.where(rows.key.in_(asked))).scalars())
        return found

    def link(self, entry: Mapping[str, Any]) -> str:
        """Return the digest that chains this batch to the one before, given its log entry."""
        rows = {table: tally.hexdigest() for table, tally in self._written.items()}
        marks = chain.marks_of(self._connection, self.number, self._marked)
        before = chain.digest_before(self._connection, self.number)
        return chain.link(before, entry, rows, marks)

    def _count(self, more: Counts) -> None:
        have = self.counts
        self.counts = Counts(
            have.new + more.new, have.unchanged + more.unchanged, have.corrected + more.corrected
        )

    def _in_force(self, name: str, frame: pd.DataFrame, keys: "pd.Series[Any]") -> pd.DataFrame:
        """Return the rows in force with these keys, indexed by key."""
        table = SQL_TABLES[name]
        columns = [KEY, ID, *STORED[name]]
        rows: list[Any] = []
        if len(keys) and self._held_before(name, frame):
            incoming = sa.table("incoming", sa.column("key"))
            self._connection.exec_driver_sql(
                "CREATE TEMPORARY TABLE incoming (key TEXT PRIMARY KEY)"
            )
            _insert(self._connection, "incoming", keys.to_frame("key"))
            query = (
                sa.select(*(raw(table.c[c.name]) for c in columns))
                .select_from(incoming.join(table, table.c.key == incoming.c.key))
                .where(table.c.superseded.is_(None))
            )
            rows = list(self._connection.execute(query).all())
            self._connection.exec_driver_sql("DROP TABLE incoming")
        return from_rows(rows, columns).set_index("key")

    def _held_before(self, name: str, frame: pd.DataFrame) -> bool:
        """Return whether there were rows in force of these jobs when the batch first met them.

        Where there were none no row need be looked up: a batch brings no key twice.
        """
        # SQLite compares keys byte by byte, and the job comes first in them, with more behind it.
        key = TABLES[name].key
        by_job = key[0] == "job" and len(key) > 1 and self._connection.dialect.name == "sqlite"
        held = []
        for job in frame["job"].dropna().unique().tolist() if by_job else [None]:
            if (name, job) not in self._held:
                self._held[name, job] = self._holds(SQL_TABLES[name].c, job)
            held.append(self._held[name, job])
        return any(held)

    def _holds(self, rows: Any, job: str | None) -> bool:
        query = sa.select(rows.id).where(rows.superseded.is_(None), rows.batch < self.number)
        if job is not None:
            query = query.where(rows.key >= job + KEY_SEPARATOR, rows.key < job + _AFTER_SEPARATOR)
        return self._connection.execute(query.limit(1)).first() is not None

    def _supersede(self, table: str, ids: list[int], by: str = "id") -> None:
        mark = _placeholder(self._connection)
        sql = (
            f"UPDATE {table} SET superseded = {mark} "  # noqa: S608  (own names only)
            f"WHERE {by} = {mark} AND superseded IS NULL"
        )
        if ids:
            self._connection.exec_driver_sql(sql, [(self.number, row) for row in ids])
            self._marked.add(table)

    def _append(self, table: str, frame: pd.DataFrame) -> range:
        sql_table = SQL_TABLES[table]
        first = (self._connection.execute(sa.select(sa.func.max(sql_table.c.id))).scalar() or 0) + 1
        ids = range(first, first + len(frame))
        if ids:
            rows = frame.assign(id=np.arange(ids.start, ids.stop), batch=self.number)
            _insert(self._connection, table, rows)
            columns = chain.hashed_columns(table)
            self._written.setdefault(table, chain.RowsDigest(columns)).add(rows)
        return ids

    def _corrected(
        self, table: str, fresh: pd.DataFrame, old: pd.DataFrame, shown: pd.DataFrame | None
    ) -> "np.ndarray[Any, np.dtype[np.bool_]]":
        """Return which rows differ from those known by the same key."""
        changed = np.zeros(len(fresh), dtype=bool)
        if len(fresh):
            for column in STORED[table]:
                changed |= differs(fresh[column.name], old[column.name])
            if table == "examinations":
                known = _shown_imperfections(self._imperfections_of(old["id"].tolist()))
                before = known.reindex(old["id"]).fillna("").to_numpy()
                now = _shown_imperfections(shown).reindex(fresh.index).fillna("").to_numpy()
                changed |= before != now
        return changed

    def _imperfections_of(self, examinations: list[int]) -> pd.DataFrame:
        table, columns = SQL_TABLES["imperfections"], STORED["imperfections"]
        query = sa.select(*(raw(table.c[c.name]) for c in columns))
        query = query.where(table.c.superseded.is_(None))
        pieces = (
            self._connection.execute(query.where(table.c.examination.in_(asked))).all()
            for asked in _cut(examinations)
        )
        return from_pieces(pieces, columns)

    def _append_imperfections(
        self, written: pd.DataFrame, ids: range, imperfections: pd.DataFrame | None
    ) -> None:
        if imperfections is None or imperfections.empty:
            return
        id_of = pd.Series(list(ids), index=written.index)
        kept = imperfections[imperfections["examination"].isin(written.index)]
        of = kept["examination"]
        rows = kept.assign(
            examination=of.map(id_of), job=of.map(written["job"]), joint=of.map(written["joint"])
        )
        self._append("imperfections", typed(rows, STORED["imperfections"]))


def _shown_imperfections(imperfections: pd.DataFrame | None) -> "pd.Series[Any]":
    """Return the imperfections of each examination as one text, whatever their order."""
    if imperfections is None or imperfections.empty:
        return pd.Series([], dtype="str")
    columns = [c for c in STORED["imperfections"] if c.name.startswith("imp")]
    texts = typed(imperfections, columns).astype("str").fillna("")
    joined = map("|".join, zip(*(texts[name] for name in texts), strict=True))
    text = pd.Series(list(joined), imperfections.index, dtype="str")
    return text.sort_values().groupby(imperfections["examination"]).agg("\n".join)


def _cut(asked: Sequence[Any]) -> Iterator[Sequence[Any]]:
    """Yield what is asked for by name, as much at a time as a database takes."""
    for start in range(0, len(asked), _ASKED_AT_ONCE):
        yield asked[start : start + _ASKED_AT_ONCE]


def _placeholder(connection: sa.Connection) -> str:
    return "?" if connection.dialect.paramstyle == "qmark" else "%s"


def _insert(connection: sa.Connection, table: str, frame: pd.DataFrame) -> None:
    """Insert a typed frame by the driver's own bulk call, a chunk at a time."""
    names = ", ".join(f'"{name}"' for name in frame.columns)
    marks = ", ".join([_placeholder(connection)] * len(frame.columns))
    sql = f"INSERT INTO {table} ({names}) VALUES ({marks})"  # noqa: S608  (own names only)
    for rows in to_rows(frame, CHUNK):
        if "key" in frame:
            # In the order of its keys a chunk goes through the index once, and not all over it.
            rows.sort(key=itemgetter(frame.columns.get_loc("key")))
        connection.exec_driver_sql(sql, rows)
