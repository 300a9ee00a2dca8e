"""Opening a database: where it is, how it is locked, and what to say when it cannot be had."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError

from ndtstats.errors import CannotGoOn, UseError

#: How long a writer waits for another one before it gives up.
LOCK_WAIT_S = 30

#: Number under which PostgreSQL keeps the lock of the one writer of a database: "ndts" in ASCII.
_WRITER = 0x6E647473


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


def require_there(url: sa.URL) -> None:
    """Refuse the path of a file that does not exist: opening it would make an empty one.

    Raises
    ------
    UseError
        If there is none.
    """
    if url.get_backend_name() == "sqlite" and not Path(str(url.database)).exists():
        raise UseError(
            f"there is no register at {shown(url)}; make one with: ndtstats init "
            "(or name another with --register)"
        )


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
    arguments: dict[str, dict[str, Any]] = {
        "sqlite": {"timeout": LOCK_WAIT_S},
        # Whatever the surroundings say: names of joints and people come in any letters.
        "postgresql": {"client_encoding": "UTF8"},
    }
    try:
        engine = sa.create_engine(url, connect_args=arguments[backend])
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise UseError(
            f"the driver for {shown(url)} is not installed; "
            "install ndtstats with its extra: pip install 'ndtstats[postgresql]'"
        ) from error
    if backend == "sqlite":
        sa.event.listen(engine, "connect", _prepare_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
    else:
        sa.event.listen(engine, "connect", partial(_require_utf8, shown(url)))
    return engine


def _require_utf8(name: str, connection: Any, _record: object) -> None:
    """Refuse a database that cannot hold every letter, before a load fails in the middle."""
    cursor = connection.cursor()
    cursor.execute("SHOW server_encoding")
    (encoding,) = cursor.fetchone()
    connection.rollback()
    if encoding != "UTF8":
        connection.close()
        raise UseError(
            f"register {name}: the database keeps text as {encoding}, and cannot hold every "
            "letter; make one with: CREATE DATABASE ... ENCODING 'UTF8' TEMPLATE template0"
        )


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
    with _told_plainly(engine), engine.connect() as plain:
        # Else each question to PostgreSQL would see what was written since the one before.
        once = plain.dialect.name == "postgresql"
        yield plain.execution_options(isolation_level="REPEATABLE READ") if once else plain


@contextmanager
def writing(engine: sa.Engine) -> Iterator[sa.Connection]:
    """Yield the connection of the only writer; commit at the end, or leave nothing behind."""
    with _told_plainly(engine), engine.connect() as plain:
        connection = plain.execution_options(writes=True)
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{1000 * LOCK_WAIT_S:.0f}ms'")
                # A lock on a table would need rights to change all of it.
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITER})")
            yield connection


@contextmanager
def _told_plainly(engine: sa.Engine) -> Iterator[None]:
    """Turn what a database says of its surroundings into a sentence."""
    try:
        yield
    except DBAPIError as error:
        text = str(error.orig)
        if "not a database" in text:
            raise UseError(f"{shown(engine.url)} is not a register") from error
        reason = reason_of(text, getattr(error.orig, "sqlstate", None))
        if reason is None and not isinstance(error, OperationalError):
            raise
        first_line = text.strip().splitlines()[0]
        raise CannotGoOn(f"register {shown(engine.url)}: {reason or first_line}") from error
    except UnicodeDecodeError as error:
        # Bytes that nobody wrote, in a text or in what SQLite says of them.
        raise CannotGoOn(f"register {shown(engine.url)}: {DAMAGED}") from error


#: What is said of a register that holds what cannot be.
DAMAGED = "the file is damaged; keep it as it is, and go on with the last backup"

#: What databases say, and how it is told. The words are those of SQLite and of PostgreSQL's
#: messages in English. A server that speaks another language is understood by the codes of its
#: states (PostgreSQL, appendix A, as psycopg.errors lists them), and quoted as it stands where it
#: refuses a connection.
_TOLD: tuple[tuple[str, frozenset[str], str], ...] = (
    (
        r"locked|lock timeout",
        frozenset({"55P03"}),
        f"somebody else has been writing for {LOCK_WAIT_S} seconds; try again when he is done",
    ),
    (
        r"unable to open",
        frozenset(),
        "cannot be opened; check that the folder exists and may be written to",
    ),
    (
        r"readonly",
        frozenset(),
        "may not be written to; check the rights of the file and its folder",
    ),
    (
        r"disk is full|no space left|file too large|disk I/O error",
        frozenset({"53100"}),
        "the disk is full, or fails; nothing was written",
    ),
    (r"malformed|corrupt|could not decode", frozenset(), DAMAGED),
    (
        r"permission denied|must be owner|read-only transaction",
        frozenset({"42501", "25006"}),
        "this user may not do that; ask who keeps the register for a user who loads or plans",
    ),
    (
        r"password authentication failed|no password supplied|not permitted to log in"
        r'|role "[^"]*" does not exist',
        frozenset({"28P01", "28000"}),
        "the server refuses the user or the password; check both",
    ),
    (
        r"connection refused|could not translate host|name or service not known|timeout expired",
        frozenset(),
        "no server answers there; check host and port, and whether it runs",
    ),
    (
        r"terminating connection|server closed the connection|connection is (?:lost|closed)"
        r"|the connection is closed|shutting down",
        frozenset({"57P01", "57P02", "57P03", "08003", "08006"}),
        "the server ended the connection; nothing was written, try again when it is back",
    ),
    (
        r'database "[^"]*" does not exist',
        frozenset({"3D000"}),
        "the server has no such database; make it first",
    ),
)


def reason_of(text: str, state: str | None = None) -> str | None:
    """Return the sentence for what a database says; None if it says something else.

    Parameters
    ----------
    text : str
        Its message.
    state : str, optional
        The code of its state, where it gives one.

    Examples
    --------
    >>> reason_of("FEHLER:  keine Berechtigung für Tabelle joints", "42501")
    'this user may not do that; ask who keeps the register for a user who loads or plans'
    """
    found = (
        told
        for said, states, told in _TOLD
        if state in states or re.search(said, text, re.IGNORECASE)
    )
    return next(found, None)
