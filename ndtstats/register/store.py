"""The register itself: how it is opened, read as of an instant, and written batch by batch."""

import hashlib
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd
import sqlalchemy as sa

from ndtstats.errors import UseError
from ndtstats.progress import Progress, silent
from ndtstats.register import engine as db
from ndtstats.register.batch import Batch
from ndtstats.register.frames import from_pieces
from ndtstats.register.schema import (
    BATCH,
    ID,
    SCHEMA_VERSION,
    SQL_TABLES,
    STORED,
    batches,
    make_tables,
    properties,
    raw,
)

T = TypeVar("T")

#: Tables that one question of a page reads, and only some columns of: not worth keeping.
_ASKED_ONCE = ("frame_cells",)

#: Rows turned into columns at a time.
_READ_AT_ONCE = 10_000


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
        chosen = [ID, BATCH, *wanted]
        table = SQL_TABLES[name]
        query = sa.select(*(raw(table.c[c.name]) for c in chosen)).order_by(table.c.id)
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
