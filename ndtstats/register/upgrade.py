"""Bringing an older register up to date: a copy first, then all steps at once or none."""

from dataclasses import dataclass
from functools import partial
from pathlib import Path

import sqlalchemy as sa

from ndtstats.errors import CannotGoOn, UseError
from ndtstats.progress import Progress, silent
from ndtstats.register import engine as db
from ndtstats.register.backup import copy_file, file_damage
from ndtstats.register.chain import chain_all
from ndtstats.register.migrations import migrate
from ndtstats.register.schema import SCHEMA_VERSION, batches, properties
from ndtstats.register.store import refuse_newer, schema_found


@dataclass(frozen=True, slots=True)
class Upgraded:
    """What an upgrade did.

    Attributes
    ----------
    name : str
        Where the register is.
    found, now : int
        Schema before and after; the same if nothing had to be done.
    chained : int
        Batches that were older than the chain over the log, and are chained from now on.
    copy : Path or None
        The register as it was, if it is a file.
    """

    name: str
    found: int
    now: int
    chained: int
    copy: Path | None


def upgrade(target: str | Path, *, progress: Progress = silent) -> Upgraded:
    """Bring the register at a path or URL to the schema of this program.

    A SQLite file is copied beside itself first. All rows stay as they are. ``progress`` is told
    what is done of it, and how many rows were gone over to chain them.

    Raises
    ------
    UseError
        If there is no register, or a newer program made it.
    CannotGoOn
        If another writer does not finish in time, or the disk does not allow it.
    """
    url = db.url_of(target)
    db.require_there(url)
    engine, name = db.engine_for(url), db.shown(url)
    try:
        with db.reading(engine) as connection:
            found = schema_found(connection)
            if found is None:
                raise UseError(f"{name} holds no register; make one with: ndtstats init")
            refuse_newer(name, found)
            copy = None
            if found < SCHEMA_VERSION and url.get_backend_name() == "sqlite":
                copy = _free(Path(str(url.database)), found)
                copy_file(connection, copy, partial(_refuse_damage, progress=progress))
        chained = _migrated(engine, progress) if found < SCHEMA_VERSION else 0
        return Upgraded(name, found, SCHEMA_VERSION, chained, copy)
    finally:
        engine.dispose()


def _free(path: Path, found: int) -> Path:
    """Return a free name for the copy: an earlier one is from an upgrade that failed, and stays."""
    number, free = 1, path.with_suffix(f".schema-{found}{path.suffix}")
    while free.exists():
        number += 1
        free = path.with_suffix(f".schema-{found}-{number}{path.suffix}")
    return free


def _refuse_damage(part: Path, progress: Progress) -> None:
    progress("copy", 1, 1)
    engine = db.engine_for(db.url_of(part))
    try:
        with db.reading(engine) as connection:
            damage = file_damage(connection)
    finally:
        engine.dispose()
    if damage:
        raise CannotGoOn(f"the register is damaged and was left as it is: {damage[0]}")
    progress("check", 1, 1)


def _migrated(engine: sa.Engine, progress: Progress) -> int:
    """Run all steps in one transaction; return how many batches were chained by it."""
    with db.writing(engine) as connection:
        # Somebody else may have upgraded it since it was looked at.
        found = schema_found(connection) or SCHEMA_VERSION
        if found == SCHEMA_VERSION:
            return 0
        migrate(connection, found)
        progress("steps", 1, 1)
        unchained = sa.select(sa.func.count()).where(batches.c.digest.is_(None))
        number = int(connection.execute(unchained).scalar_one())
        if number:
            chain_all(connection, progress)
        schema = properties.c.name == "schema"
        connection.execute(sa.update(properties).where(schema).values(value=str(SCHEMA_VERSION)))
        return number
