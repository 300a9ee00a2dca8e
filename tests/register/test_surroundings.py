"""Whatever disk, lock or server do: a sentence, and all of a load or none of it."""

import os
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pandas as pd
import psycopg
import pytest
import sqlalchemy as sa

from ndtstats.errors import CannotGoOn, UseError
from ndtstats.register import Register, verify
from ndtstats.register import engine as db

T0 = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
NOBODY = 65534


def joints(number: int, rows: int = 500) -> pd.DataFrame:
    names = [f"{number}-{row}" for row in range(rows)]
    return pd.DataFrame({"job": "H1", "joint": names, "length_mm": 100.0})


def load(register: Register, frame: pd.DataFrame) -> None:
    with register.batch(kind="load", subject="joints", now=T0) as batch:
        batch.merge("joints", frame)


def holds(target: str | Path, joints: int) -> bool:
    """Whether a register opens, passes its checks and has so many joints."""
    register = Register.open(target)
    try:
        return verify(register).holds and len(register.table("joints")) == joints
    finally:
        register.close()


def test_two_loaders_at_once_both_finish(target):
    Register.open(target, create=True).close()
    errors: list[Exception] = []

    def work(first: int) -> None:
        mine = Register.open(target)
        try:
            for number in range(first, first + 3):
                load(mine, joints(number, 50))
        except Exception as error:
            errors.append(error)
        finally:
            mine.close()

    loaders = [threading.Thread(target=work, args=(first,)) for first in (0, 100)]
    for loader in loaders:
        loader.start()
    for loader in loaders:
        loader.join()
    assert errors == []
    assert holds(target, 300)


def test_a_loader_that_waits_too_long_is_told(target, monkeypatch):
    monkeypatch.setattr(db, "LOCK_WAIT_S", 0.2)
    Register.open(target, create=True).close()
    first, second = Register.open(target), Register.open(target)
    with first.batch(kind="load", subject="joints", now=T0) as batch:
        batch.merge("joints", joints(1))
        with pytest.raises(CannotGoOn, match="somebody else has been writing"):
            load(second, joints(2))
    load(second, joints(2))
    assert holds(target, 1000)
    for register in (first, second):
        register.close()


def test_readers_are_not_held_up_and_never_see_half(target, monkeypatch):
    # A reader that waits for the writer would wait for itself here, and be told.
    monkeypatch.setattr(db, "LOCK_WAIT_S", 0.2)
    register = Register.open(target, create=True)
    reader = Register.open(target)
    load(register, joints(1))
    with register.batch(kind="load", subject="joints", now=T0 + timedelta(days=1)) as batch:
        batch.merge("joints", joints(2))
        assert len(reader.table("joints")) == 500
        batch.merge("zones", pd.DataFrame({"job": ["H1"], "zone": ["Z1"]}))
        assert verify(reader).holds
        assert reader.table("zones").empty
    assert len(reader.table("joints")) == 1000
    for opened in (register, reader):
        opened.close()


def test_one_question_over_several_tables_sees_one_state(target):
    register = Register.open(target, create=True)
    with register.reading() as connection:
        before = connection.execute(sa.text("SELECT count(*) FROM joints")).scalar()
        load(register, joints(1))
        assert connection.execute(sa.text("SELECT count(*) FROM joints")).scalar() == before
    register.close()


def test_a_full_disk_is_told_and_leaves_nothing(tmp_path, small_files):
    path = tmp_path / "yard.sqlite"
    register = Register.open(path, create=True)
    load(register, joints(1))
    size = max(file.stat().st_size for file in tmp_path.iterdir())
    with small_files(size + 65536), pytest.raises(CannotGoOn, match="disk is full"):
        load(register, joints(2, 20_000))
    register.close()
    assert holds(path, 500)


@contextmanager
def as_nobody() -> Iterator[None]:
    """Rights do not bind root, so the work is done as somebody without any."""
    if os.geteuid() == 0:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if os.getuid() == 0:
            os.seteuid(0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that everybody may look into."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        folder.chmod(0o755)


def test_a_folder_that_may_not_be_written_to_is_told(open_folder):
    path = open_folder / "yard.sqlite"
    register = Register.open(path, create=True)
    load(register, joints(1))
    register.close()
    path.chmod(0o444)
    open_folder.chmod(0o555)
    with as_nobody(), pytest.raises(CannotGoOn, match="written to"):
        Register.open(open_folder / "new.sqlite", create=True)
    with as_nobody(), pytest.raises(CannotGoOn, match="written to"):
        load(Register.open(path), joints(2))
    assert sorted(file.name for file in open_folder.iterdir()) == ["yard.sqlite"]
    open_folder.chmod(0o755)
    assert holds(path, 500)


def test_a_folder_in_place_of_the_register_is_told(tmp_path):
    with pytest.raises(CannotGoOn, match="cannot be opened"):
        Register.open(tmp_path)


def test_a_damaged_file_is_told(tmp_path):
    path = tmp_path / "yard.sqlite"
    register = Register.open(path, create=True)
    load(register, joints(1, 3000))
    register.close()
    content = bytearray(path.read_bytes())
    content[len(content) // 2 :] = os.urandom(len(content) - len(content) // 2)
    path.write_bytes(content)

    def ask() -> None:
        damaged = Register.open(path)
        try:
            found = verify(damaged)
            assert found.damage
            damaged.table("joints")
        finally:
            damaged.close()

    with pytest.raises(CannotGoOn, match="damaged"):
        ask()


def test_a_truncated_file_is_told(tmp_path):
    path = tmp_path / "yard.sqlite"
    register = Register.open(path, create=True)
    load(register, joints(1, 3000))
    register.close()
    path.write_bytes(path.read_bytes()[:50_000])

    def ask() -> None:
        short = Register.open(path)
        try:
            verify(short)
            short.table("joints")
        finally:
            short.close()

    with pytest.raises(CannotGoOn, match="damaged"):
        ask()


# ------------------------------------------------------------------ a server


@pytest.fixture
def keyed(postgresql: str) -> Iterator[sa.URL]:
    """A user whom the server asks for a password (.ci/postgresql tells it to)."""
    server = sa.create_engine(postgresql, isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.exec_driver_sql("CREATE ROLE keyed LOGIN PASSWORD 'right'")
        yield sa.make_url(postgresql).set(username="keyed")
        connection.exec_driver_sql("DROP ROLE keyed")
    server.dispose()


@pytest.mark.parametrize("password", ["guessed", None])
def test_a_wrong_password_is_told_and_not_shown(keyed, password):
    url = keyed.set(password=password)
    with pytest.raises(CannotGoOn, match="refuses the user or the password") as told:
        Register.open(url.render_as_string(hide_password=False))
    assert "guessed" not in str(told.value)


def test_no_server_is_told():
    with pytest.raises(CannotGoOn, match="no server answers"):
        Register.open("postgresql+psycopg://yard@127.0.0.1:1/none")


def test_a_database_that_does_not_exist_is_told(postgresql):
    missing = sa.make_url(postgresql).set(database="nowhere")
    with pytest.raises(CannotGoOn, match="no such database"):
        Register.open(missing.render_as_string(hide_password=False))


@pytest.fixture
def latin(postgresql: str) -> Iterator[str]:
    """A database that holds the letters of western Europe only."""
    server = sa.create_engine(postgresql, isolation_level="AUTOCOMMIT")
    name = f"latin_{uuid4().hex}"
    with server.connect() as connection:
        connection.exec_driver_sql(
            f"CREATE DATABASE {name} ENCODING 'LATIN1' LC_COLLATE 'C' LC_CTYPE 'C' "
            "TEMPLATE template0"
        )
        yield sa.make_url(postgresql).set(database=name).render_as_string(hide_password=False)
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    server.dispose()


def test_a_database_that_cannot_hold_every_letter_is_refused(latin):
    with pytest.raises(UseError, match=r"text as LATIN1.*ENCODING 'UTF8'"):
        Register.open(latin, create=True)


def test_letters_go_through_whatever_the_surroundings_say(postgresql, monkeypatch):
    monkeypatch.setenv("PGCLIENTENCODING", "LATIN1")
    register = Register.open(postgresql, create=True)
    load(register, joints(1, rows=1).assign(joint="Шов-1 溶接"))
    assert register.table("joints")["joint"].tolist() == ["Шов-1 溶接"]
    register.close()


@pytest.mark.parametrize(
    ("error", "told"),
    [
        ("InsufficientPrivilege", "may not do that"),
        ("ReadOnlySqlTransaction", "may not do that"),
        ("LockNotAvailable", "somebody else has been writing"),
        ("DiskFull", "disk is full"),
        ("AdminShutdown", "ended the connection"),
        ("InvalidPassword", "user or the password"),
        ("InvalidCatalogName", "no such database"),
    ],
)
def test_a_server_that_speaks_another_language_is_understood_by_its_states(error, told):
    # psycopg.errors: what PostgreSQL's appendix A calls each state, and its code.
    state = getattr(psycopg.errors, error).sqlstate
    assert told in str(db.reason_of("FEHLER:  etwas anderes", state))
    assert db.reason_of("FEHLER:  etwas anderes", "22012") is None


def test_an_empty_database_is_told(postgresql):
    with pytest.raises(UseError, match="ndtstats init"):
        Register.open(postgresql)


def test_a_server_that_goes_in_the_middle_of_a_load_is_told_and_leaves_nothing(postgresql):
    register = Register.open(postgresql, create=True)
    load(register, joints(1))

    def cut_off() -> None:
        with register.batch(kind="load", subject="joints", now=T0) as batch:
            batch.merge("joints", joints(2))
            _end_connections(postgresql)
            batch.merge("joints", joints(3))

    with pytest.raises(CannotGoOn, match="ended the connection; nothing was written"):
        cut_off()
    register.close()
    assert holds(postgresql, 500)


def _end_connections(target: str) -> None:
    server = sa.create_engine(target, isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.exec_driver_sql(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
    server.dispose()
