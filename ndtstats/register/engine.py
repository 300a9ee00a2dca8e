"""Opening a database: where it is, how it is locked, and what to say when it cannot be had."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError

from ndtstats.errors import CannotGoOn, UseError

#: How long a writer waits for another one before it gives up.
LOCK_WAIT_S = 30


def url_of(target: str | Path) -> sa.URL:
    """Return the database URL of a register given as a path or as a URL.

    Examples
    --------
    >>> str(url_of("yard.sqlite"))
    'sqlite:///yard.sqlite'
    """
    text = str(target)
    if "://" not in text:
        return sa.URL.create("sqlite", database=text)
    try:
        return sa.make_url(text)
    except ArgumentError as error:
        raise UseError(
            f'register "{text}" is neither a path nor a database URL; '
            "write a path, or a URL such as postgresql+psycopg://user@host/name"
        ) from error


def shown(url: sa.URL) -> str:
    """Return a URL as it may be shown: a path for an embedded file, never a password."""
    if url.get_backend_name() == "sqlite":
        return url.database or ":memory:"
    return url.render_as_string(hide_password=True)


def engine_for(url: sa.URL) -> sa.Engine:
    """Return an engine for the URL; nothing is opened yet.

    Raises
    ------
    UseError
        If the database or its driver is not known here.
    """
    backend = url.get_backend_name()
    if backend not in {"sqlite", "postgresql"}:
        raise UseError(f'"{backend}" is not supported as a register; use SQLite or PostgreSQL')
    arguments: dict[str, Any] = {"timeout": LOCK_WAIT_S} if backend == "sqlite" else {}
    try:
        engine = sa.create_engine(url, connect_args=arguments)
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise UseError(
            f"the driver for {shown(url)} is not installed; "
            "install ndtstats with its extra: pip install 'ndtstats[postgresql]'"
        ) from error
    if backend == "sqlite":
        sa.event.listen(engine, "connect", _prepare_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # The driver's own transaction handling opens transactions late and commits before schema
    # statements; with it switched off, "begin" below really begins.
    connection.isolation_level = None
    # Readers go on while one writer writes, and none of them sees half a load.
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")


def _begin_sqlite(connection: sa.Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    # A writer takes the lock at once: taking it later, after reading, can only fail.
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: sa.Engine) -> Iterator[sa.Connection]:
    """Yield a connection that sees one consistent state."""
    with _told_plainly(engine), engine.connect() as connection:
        yield connection


@contextmanager
def writing(engine: sa.Engine, *, lock: str | None = "batches") -> Iterator[sa.Connection]:
    """Yield the connection of the only writer; commit at the end, or leave nothing behind.

    ``lock`` names the table that a writer holds in PostgreSQL; None while there is none yet.
    """
    with _told_plainly(engine), engine.connect() as plain:
        connection = plain.execution_options(writes=True)
        with connection.begin():
            if lock and connection.dialect.name == "postgresql":
                connection.exec_driver_sql(f"LOCK TABLE {lock} IN EXCLUSIVE MODE")
            yield connection


@contextmanager
def _told_plainly(engine: sa.Engine) -> Iterator[None]:
    """Turn what a database says of its surroundings into a sentence."""
    try:
        yield
    except OperationalError as error:
        raise CannotGoOn(f"register {shown(engine.url)}: {_reason(error)}") from error
    except DBAPIError as error:
        if "not a database" in str(error.orig):
            raise UseError(f"{shown(engine.url)} is not a register") from error
        raise


def _reason(error: OperationalError) -> str:
    text = str(error.orig).strip().splitlines()[0]
    if "locked" in text:
        return (
            f"somebody else has been writing for {LOCK_WAIT_S} seconds; try again when he is done"
        )
    if "unable to open" in text:
        return "cannot be opened; check that the folder exists and may be written to"
    if "readonly" in text:
        return "may not be written to; check the rights of the file and its folder"
    if "full" in text:
        return "the disk is full; nothing was written"
    return text
