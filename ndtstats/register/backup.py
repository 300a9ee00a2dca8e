"""Copies of a register, and proofs that one is whole: made while others go on working."""

import contextlib
import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

import sqlalchemy as sa

from ndtstats.errors import CannotGoOn, UseError
from ndtstats.progress import Progress, silent
from ndtstats.register import engine as db
from ndtstats.register.chain import ChainState, check_chain
from ndtstats.register.store import Register

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Verified:
    """What the checks of a register showed.

    Attributes
    ----------
    chain : ChainState
        Whether the past is as it was written.
    damage : tuple of str
        What the database itself finds wrong with its file; empty if nothing.
    """

    chain: ChainState
    damage: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether nothing is wrong."""
        return not self.damage and not self.chain.broken


def verify(register: Register, *, progress: Progress = silent) -> Verified:
    """Check the file and the chain over its log, in one consistent state.

    A PostgreSQL server guards its own files; only the chain is checked there. ``progress`` is told
    how many rows were gone over.
    """
    with register.reading() as connection:
        damage = file_damage(connection)
        return Verified(check_chain(connection, progress), damage)


#: What a question to a whole register never ends with.
_NEVER = (
    ValueError, TypeError, LookupError, AttributeError, ArithmeticError, AssertionError,
    sa.exc.SQLAlchemyError,
)  # fmt: skip


@contextlib.contextmanager
def blamed_on_damage(register: Register) -> Iterator[None]:
    """Where something fails that never should, see whether the register is to blame, and say so.

    A register that another program wrote into, or a failing disk, can hold anything: no question
    can foresee it all.

    Raises
    ------
    CannotGoOn
        If the register does not hold what was written; else what failed is raised as it was.
    """
    try:
        yield
    except _NEVER as error:
        if _holds(register):
            raise
        raise CannotGoOn(
            f"register {register.name} holds what was not written into it; keep it as it is, see "
            "what with: ndtstats verify, and go on with the last backup"
        ) from error


def _holds(register: Register) -> bool:
    try:
        return verify(register).holds
    except Exception:  # whatever it is, a whole register can be checked
        return False


def file_damage(connection: sa.Connection) -> tuple[str, ...]:
    """Return what SQLite finds wrong with its file; nothing for another database."""
    if connection.dialect.name != "sqlite":
        return ()
    found = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    strays = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return (
        *(text for text in found if text != "ok"),
        *(f"row {row[1]} of {row[0]} points at no row of {row[2]}" for row in strays),
    )


def backup(register: Register, path: str | Path, *, progress: Progress = silent) -> Verified:
    """Write a verified copy of a register to a new file, while others read and write.

    Parameters
    ----------
    register : Register
        In a SQLite file.
    path : str or Path
        Where to; the copy is a register itself, and can be opened as one.
    progress : Progress
        Is told how many rows of the copy were checked.

    Returns
    -------
    Verified
        What the checks of the copy showed: damage of the register is in its copy too.

    Raises
    ------
    UseError
        If the file is there already, or the register is in PostgreSQL.
    CannotGoOn
        If the copy cannot be written.
    """
    if register.backend != "sqlite":
        raise UseError(
            f"{register.name} is in PostgreSQL: make a copy with its own pg_dump, "
            "restore it into an empty database, and check that with: ndtstats verify"
        )
    with register.reading() as connection:
        return copy_file(connection, Path(path), partial(_verified, progress=progress))


def copy_file(connection: sa.Connection, path: Path, check: Callable[[Path], T]) -> T:
    """Copy the SQLite file of a connection to a new path, and return what a check of it says.

    The path appears when the copy is whole and checked; if the check raises, it never does.
    """
    if path.exists():
        raise UseError(f"{path} is there already; name another file, or remove it first")
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".copy-") as folder:
            part = Path(folder) / path.name
            _copy(connection, part)
            found = check(part)
            # Refuses a file that came in the meantime; a renaming alone would replace it.
            path.open("xb").close()
            part.replace(path)
    except FileExistsError as error:
        raise UseError(f"{path} is there already; name another file") from error
    except OSError as error:
        raise CannotGoOn(f"{path} cannot be written: {error.strerror}") from error
    except sqlite3.Error as error:
        reason = db.reason_of(str(error)) or str(error)
        raise CannotGoOn(f"{path} cannot be written: {reason}") from error
    return found


def _copy(connection: sa.Connection, part: Path) -> None:
    raw = connection.connection.driver_connection
    assert isinstance(raw, sqlite3.Connection)  # noqa: S101  (callers ask before)
    with contextlib.closing(sqlite3.connect(part)) as copy:
        raw.backup(copy)
    with part.open("rb+") as file:
        os.fsync(file.fileno())


def _verified(part: Path, progress: Progress) -> Verified:
    copy = Register.open(part)
    try:
        return verify(copy, progress=progress)
    finally:
        copy.close()
