"""The register itself: the only module that reads and writes the database."""

import hashlib
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from operator import itemgetter
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pandas as pd
import sqlalchemy as sa

from ndtstats.columns import TABLES, Column
from ndtstats.errors import UseError
from ndtstats.progress import Progress, silent
from ndtstats.register import chain
from ndtstats.register import engine as db
from ndtstats.register.frames import (
    KEY_SEPARATOR,
    differs,
    from_pieces,
    from_rows,
    natural_key,
    to_rows,
    typed,
)
from ndtstats.register.schema import (
    SCHEMA_VERSION,
    SQL_TABLES,
    STORED,
    batches,
    make_tables,
    properties,
)

T = TypeVar("T")

#: Rows written or looked up at a time: bounds the memory of a load.
CHUNK = 20_000

#: Tables that one question of a page reads, and only some columns of: not worth keeping.
_ASKED_ONCE = ("frame_cells",)

#: Rows turned into columns at a time.
_READ_AT_ONCE = 10_000

#: What is looked up by name at a time; databases take some ten thousand.
_ASKED_AT_ONCE = 5_000

#: The character that follows the separator of keys: keys of one job sort before it.
_AFTER_SEPARATOR = chr(ord(KEY_SEPARATOR) + 1)

_ID = Column("id", "whole", "id of the row")
_BATCH = Column("batch", "whole", "log entry that brought the row")


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


class Register:
    """A register of welds in a SQLite file or a PostgreSQL database.

    Examples
    --------
    >>> import pandas as pd, tempfile, pathlib
    >>> from datetime import datetime, UTC
    >>> folder = tempfile.TemporaryDirectory()
    >>> register = Register.open(pathlib.Path(folder.name) / "yard.sqlite", create=True)
    >>> instant = datetime(2026, 1, 5, tzinfo=UTC)
    >>> with register.batch(kind="load", subject="welders", now=instant) as batch:
    ...     batch.merge("welders", pd.DataFrame({"welder": ["K7"], "name": ["Welder K7"]}))
    Counts(new=1, unchanged=0, corrected=0)
    >>> register.table("welders")["welder"].tolist()
    ['K7']
    >>> register.close(); folder.cleanup()
    """

    def __init__(self, engine: sa.Engine, progress: Progress = silent) -> None:
        self._engine = engine
        self.progress = progress

    @classmethod
    def open(
        cls, target: str | Path, *, create: bool = False, progress: Progress = silent
    ) -> "Register":
        """Open a register given as a path or a database URL.

        Parameters
        ----------
        target : str or Path
            Path of a SQLite file, or an SQLAlchemy URL.
        create : bool
            Make the tables; an existing register is left as it is.
        progress : Progress
            Is told how far each table has been read, and what has been answered.

        Raises
        ------
        UseError
            If there is no register there, or a newer program made it.
        CannotGoOn
            If it cannot be opened.
        """
        url = db.url_of(target)
        if not create:
            db.require_there(url)
        register = cls(db.engine_for(url), progress)
        try:
            if create:
                register._create()
            register._check_version()
        except BaseException:
            register.close()
            raise
        return register

    def _create(self) -> None:
        with db.writing(self._engine) as connection:
            # Tables that an older register lacks are made by an upgrade, not here.
            if schema_found(connection) is None:
                make_tables(connection)
                row = {"name": "schema", "value": str(SCHEMA_VERSION)}
                connection.execute(sa.insert(properties).values(row))

    def _check_version(self) -> None:
        with db.reading(self._engine) as connection:
            found = schema_found(connection)
        if found is None:
            raise UseError(f"{self.name} holds no register; make one with: ndtstats init")
        refuse_newer(self.name, found)
        if found < SCHEMA_VERSION:
            raise UseError(
                f"{self.name} was made by an older ndtstats (schema {found}, this one needs "
                f"{SCHEMA_VERSION}); bring it up to date with: ndtstats upgrade"
            )

    @property
    def name(self) -> str:
        """Where the register is, as it may be shown."""
        return db.shown(self._engine.url)

    @property
    def backend(self) -> str:
        """What keeps it: "sqlite" or "postgresql"."""
        return self._engine.url.get_backend_name()

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Yield a connection that sees one consistent state, for what goes over whole tables."""
        with db.reading(self._engine) as connection:
            yield connection
        self.progress("counts", 1, 1)

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    # ------------------------------------------------------------------ reading

    def table(
        self,
        name: str,
        *,
        job: str | None = None,
        as_of: datetime | None = None,
        columns: Sequence[str] | None = None,
        only: Mapping[str, Sequence[str]] | None = None,
    ) -> pd.DataFrame:
        """Return the rows of a table that were in force at an instant.

        Parameters
        ----------
        name : str
            A table of :data:`ndtstats.register.schema.STORED`.
        job : str, optional
            Only rows of this job, where the table has jobs.
        as_of : datetime, optional
            What was known then; None: what is known now.
        columns : sequence of str, optional
            Only these columns.
        only : mapping, optional
            By column of text: only rows that hold one of these texts there, some thousands at most.

        Returns
        -------
        DataFrame
            The columns asked for, and ``id`` and ``batch`` of each row, in order of ``id``.
        """
        wanted = [c for c in STORED[name] if columns is None or c.name in columns]
        chosen = [_ID, _BATCH, *wanted]
        table = SQL_TABLES[name]
        query = sa.select(*(_raw(table.c[c.name]) for c in chosen)).order_by(table.c.id)
        if job is not None and "job" in table.c:
            query = query.where(table.c.job == job)
        for column, texts in (only or {}).items():
            query = query.where(table.c[column].in_(list(texts)))
        with db.reading(self._engine) as connection:
            query = query.where(_in_force(table, self._last_batch(connection, as_of)))
            found = connection.execute(query, execution_options={"yield_per": _READ_AT_ONCE})
            return from_pieces(self._told(found.partitions(), name, connection), chosen)

    def _told(
        self, pieces: Iterator[Sequence[Sequence[Any]]], name: str, connection: sa.Connection
    ) -> Iterator[Sequence[Sequence[Any]]]:
        """Yield pieces of a table in order of id, and tell how far into the table each reaches."""
        last = 0
        if self.progress is not silent:
            last = connection.execute(sa.select(sa.func.max(SQL_TABLES[name].c.id))).scalar() or 0
            self.progress(name, 0, last + 1)
        for piece in pieces:
            yield piece
            self.progress(name, piece[-1][0], last + 1)
        self.progress(name, last + 1, last + 1)

    def keys(self, name: str, *, as_of: datetime | None = None) -> "pd.Series[int]":
        """Return for each row in force of a table with a natural key the batch that brought it.

        The index is the key; the order is that of :meth:`table`.
        """
        table = SQL_TABLES[name]
        query = sa.select(table.c.key, table.c.batch).order_by(table.c.id)
        with db.reading(self._engine) as connection:
            query = query.where(_in_force(table, self._last_batch(connection, as_of)))
            rows = connection.execute(query).all()
        keys = pd.Index([row[0] for row in rows], dtype="str")
        return pd.Series([row[1] for row in rows], keys, dtype="int64")

    def snapshot(self, as_of: datetime | None = None) -> "Register":
        """Return the register as of one instant, reading each table once however often asked.

        For pages that many questions go into: they are quicker, and agree with one another even
        while somebody writes.
        """
        return _Snapshot(self._engine, self.progress, as_of or self.latest_time())

    #: Whether answers are remembered, so that it pays to read what several of them share.
    remembers = False

    def once(self, question: Hashable, answer: Callable[[], T]) -> T:
        """Return the answer to a question, as worked out now; a snapshot remembers it.

        Parameters
        ----------
        question : hashable
            Who asks and with which arguments: all that the answer rests on besides the register.
        answer : callable
            Works it out.
        """
        return self._answered(question, answer)

    def _answered(self, question: Hashable, answer: Callable[[], T]) -> T:
        found = answer()
        self.progress(str(question[0] if isinstance(question, tuple) else question), 1, 1)
        return found

    def batches(self, as_of: datetime | None = None) -> pd.DataFrame:
        """Return the log up to an instant: one row a batch, oldest first; ``at`` in UTC."""
        query = sa.select(batches).order_by(batches.c.number)
        if as_of is not None:
            query = query.where(batches.c.at <= _instant_text(as_of))
        with db.reading(self._engine) as connection:
            rows = connection.execute(query).all()
        frame = pd.DataFrame.from_records([tuple(r) for r in rows], columns=list(batches.c.keys()))
        return frame.assign(at=pd.to_datetime(frame["at"], utc=True))

    def latest_time(self, as_of: datetime | None = None) -> datetime | None:
        """Return when the register last changed, up to an instant; None if it is empty."""
        query = sa.select(sa.func.max(batches.c.at))
        if as_of is not None:
            query = query.where(batches.c.at <= _instant_text(as_of))
        with db.reading(self._engine) as connection:
            text = connection.execute(query).scalar()
        return None if text is None else datetime.fromisoformat(text)

    def data_sha256(self, as_of: datetime | None = None) -> str:
        """Return a digest of all that was loaded up to an instant: equal data, equal digest."""
        log = self.batches(as_of)
        told = log[["kind", "subject", "source", "sha256", "new", "corrected"]]
        return hashlib.sha256(told.to_csv(index=False, lineterminator="\n").encode()).hexdigest()

    def in_force(
        self, connection: sa.Connection, name: str, as_of: datetime | None
    ) -> sa.ColumnElement[bool]:
        """Return the condition that a row of a table was in force at an instant, for queries."""
        return _in_force(SQL_TABLES[name], self._last_batch(connection, as_of))

    def _last_batch(self, connection: sa.Connection, as_of: datetime | None) -> int | None:
        if as_of is None:
            return None
        query = sa.select(sa.func.max(batches.c.number)).where(batches.c.at <= _instant_text(as_of))
        return connection.execute(query).scalar() or 0

    # ------------------------------------------------------------------ writing

    @contextmanager
    def batch(
        self,
        *,
        kind: str,
        subject: str,
        now: datetime,
        source: str | None = None,
        sha256: str | None = None,
        by: str | None = None,
        left_out: int = 0,
        skip_if_unchanged: bool = False,
        rehearse: bool = False,
    ) -> "Iterator[Batch]":
        """Write one batch: everything within the block, or nothing.

        Parameters
        ----------
        kind, subject : str
            What the log entry is ("load", "plan", "rules") and of what (a table, a job).
        now : datetime
            The instant, aware.
        source, sha256, by : str, optional
            File it came from, digest of it, and who.
        left_out : int
            Rows of the file that were not taken.
        skip_if_unchanged : bool
            Leave no log entry when nothing was counted.
        rehearse : bool
            Do everything and keep nothing, to see what it would do.

        Raises
        ------
        CannotGoOn
            If another writer does not finish in time, or the disk does not allow it.
        """
        with db.writing(self._engine) as connection:
            number, at = _next_entry(connection, now)
            entry = {
                "number": number, "at": at, "kind": kind, "subject": subject, "source": source,
                "sha256": sha256, "by": by, "left_out": left_out,
                "new": 0, "unchanged": 0, "corrected": 0,
            }  # fmt: skip
            connection.execute(sa.insert(batches).values(entry))
            batch = Batch(connection, number)
            yield batch
            if rehearse or (skip_if_unchanged and not batch.counts.changed):
                connection.get_transaction().rollback()  # type: ignore[union-attr]  # it is open
                return
            counts = {
                "new": batch.counts.new,
                "unchanged": batch.counts.unchanged,
                "corrected": batch.counts.corrected,
            }
            closed = counts | {"digest": batch.link(entry | counts)}
            this = batches.c.number == number
            connection.execute(sa.update(batches).where(this).values(closed))


def schema_found(connection: sa.Connection) -> int | None:
    """Return the schema of the register in a database; None if there is no register."""
    if not sa.inspect(connection).has_table("properties"):
        return None
    query = sa.select(properties.c.value).where(properties.c.name == "schema")
    found = connection.execute(query).scalar()
    return None if found is None else int(found)


def refuse_newer(name: str, found: int) -> None:
    """Refuse a register whose schema this program does not know.

    Raises
    ------
    UseError
        If it was made by a newer program.
    """
    if found > SCHEMA_VERSION:
        raise UseError(
            f"{name} was made by a newer ndtstats (schema {found}, this one knows "
            f"{SCHEMA_VERSION}); update ndtstats"
        )


class _Snapshot(Register):
    """A register whose tables are those of one instant."""

    remembers = True

    def __init__(self, engine: sa.Engine, progress: Progress, as_of: datetime | None) -> None:
        super().__init__(engine, progress)
        self._as_of = as_of
        self._kept: dict[tuple[str, str | None], pd.DataFrame] = {}
        self._answers: dict[Hashable, Any] = {}

    def table(
        self,
        name: str,
        *,
        job: str | None = None,
        as_of: datetime | None = None,  # noqa: ARG002  (its own instant is what it is for)
        columns: Sequence[str] | None = None,
        only: Mapping[str, Sequence[str]] | None = None,
    ) -> pd.DataFrame:
        """Return the rows in force at the instant of the snapshot; the same frame each time."""
        if only or name in _ASKED_ONCE:
            return super().table(name, job=job, as_of=self._as_of, columns=columns, only=only)
        whole = self._whole(name, job)
        # Copy-on-write: what is done to the frame given out does not reach the one kept.
        return whole.copy(deep=False) if columns is None else whole[["id", "batch", *columns]]

    def _whole(self, name: str, job: str | None) -> pd.DataFrame:
        """Return all columns of a table, of one job if one is named."""
        if (name, job) not in self._kept:
            self._kept[name, job] = (
                self._kept[name, None]
                if job is not None and self._all_of(name, job)
                else super().table(name, job=job, as_of=self._as_of)
            )
        return self._kept[name, job]

    def _all_of(self, name: str, job: str) -> bool:
        """Return whether a table is all of that job: most registers that ask twice hold one."""
        if set(self._whole("jobs", None)["job"]) != {job} or "job" not in SQL_TABLES[name].c:
            return False
        return bool((self._whole(name, None)["job"] == job).all())

    def once(self, question: Hashable, answer: Callable[[], T]) -> T:
        """Return the answer to a question, worked out when it is first asked."""
        if question not in self._answers:
            self._answers[question] = self._answered(question, answer)
        found: T = self._answers[question]
        return found.copy(deep=False) if isinstance(found, pd.DataFrame) else found

    def snapshot(self, as_of: datetime | None = None) -> Register:
        """Return itself, with all that it has read, unless another instant is asked for."""
        return self if as_of in (None, self._as_of) else super().snapshot(as_of)

    def in_force(
        self,
        connection: sa.Connection,
        name: str,
        as_of: datetime | None,  # noqa: ARG002  (its own instant is what it is for)
    ) -> sa.ColumnElement[bool]:
        """Return the condition that a row was in force at the instant of the snapshot."""
        return super().in_force(connection, name, self._as_of)

    def keys(self, name: str, *, as_of: datetime | None = None) -> "pd.Series[int]":  # noqa: ARG002
        """Return the keys in force at the instant of the snapshot, and the batch of each."""
        return super().keys(name, as_of=self._as_of)


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
        columns = [Column("key", "text", "natural key"), _ID, *STORED[name]]
        rows: list[Any] = []
        if len(keys) and self._held_before(name, frame):
            incoming = sa.table("incoming", sa.column("key"))
            self._connection.exec_driver_sql(
                "CREATE TEMPORARY TABLE incoming (key TEXT PRIMARY KEY)"
            )
            _insert(self._connection, "incoming", keys.to_frame("key"))
            query = (
                sa.select(*(_raw(table.c[c.name]) for c in columns))
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
        query = sa.select(*(_raw(table.c[c.name]) for c in columns))
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


def _next_entry(connection: sa.Connection, now: datetime) -> tuple[int, str]:
    """Return number and instant of the next log entry; instants never run backwards."""
    last = connection.execute(
        sa.select(sa.func.max(batches.c.number), sa.func.max(batches.c.at))
    ).one()
    if last[0] is None:
        return 1, _instant_text(now)
    after = datetime.fromisoformat(last[1]) + timedelta(microseconds=1)
    return int(last[0]) + 1, _instant_text(max(now, after))


def _instant_text(instant: datetime) -> str:
    return instant.astimezone(UTC).isoformat(timespec="microseconds")


def _in_force(table: sa.Table, last_batch: int | None) -> sa.ColumnElement[bool]:
    if last_batch is None:
        # Asked in this way SQLite goes over the table, and not over its rows in the order of keys.
        return sa.func.coalesce(table.c.superseded, 0) == 0
    return sa.and_(
        table.c.batch <= last_batch,
        sa.or_(table.c.superseded.is_(None), table.c.superseded > last_batch),
    )


def _raw(column: sa.Column[Any]) -> sa.ColumnElement[Any]:
    """Return the column without conversion row by row; whole columns are converted later."""
    return sa.type_coerce(column, sa.types.NullType()).label(column.name)


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
