"""The storage tests run on every database the register supports."""

import os
import resource
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa

from ndtstats.register import Register

SERVER = os.environ.get("NDTSTATS_TEST_POSTGRESQL")


@contextmanager
def new_database(kind: str, path: Path) -> Iterator[str]:
    """Yield where to make a new register: a file, or a database of its own on a real server."""
    if kind == "sqlite":
        yield str(path)
        return
    if SERVER is None:
        if os.environ.get("CI"):
            pytest.fail("CI must start PostgreSQL and name it in NDTSTATS_TEST_POSTGRESQL")
        pytest.skip("NDTSTATS_TEST_POSTGRESQL names no server")
    name = f"yard_{uuid4().hex}"
    server = sa.create_engine(SERVER, isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    yield sa.make_url(SERVER).set(database=name).render_as_string(hide_password=False)
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    server.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def target(kind: str, tmp_path: Path) -> Iterator[str]:
    """Where to make a new register."""
    with new_database(kind, tmp_path / "register.sqlite") as made:
        yield made


@pytest.fixture(scope="session", name="new_database")
def _new_database() -> Callable[[str, Path], AbstractContextManager[str]]:
    return new_database


@pytest.fixture
def postgresql(tmp_path: Path) -> Iterator[str]:
    """A database of its own on a real server."""
    with new_database("postgresql", tmp_path) as made:
        yield made


@pytest.fixture
def register(target: str) -> Iterator[Register]:
    """An empty register in each kind of database."""
    opened = Register.open(target, create=True)
    yield opened
    opened.close()


@pytest.fixture
def small_files() -> Callable[[int], AbstractContextManager[None]]:
    """Let no file grow beyond so many bytes: what a full disk is to who writes."""

    @contextmanager
    def limited(size: int) -> Iterator[None]:
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))

    return limited
