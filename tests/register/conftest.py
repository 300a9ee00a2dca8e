"""The storage tests run on every database the register supports."""

import os
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa

from ndtstats.register import Register

SERVER = os.environ.get("NDTSTATS_TEST_POSTGRESQL")


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Where to make a new register: a file, or a database of its own on a real server."""
    if request.param == "sqlite":
        yield str(tmp_path / "register.sqlite")
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


@pytest.fixture
def register(target: str) -> Iterator[Register]:
    """An empty register in each kind of database."""
    opened = Register.open(target, create=True)
    yield opened
    opened.close()
