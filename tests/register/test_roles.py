"""Rights on a real server: who reads cannot write, who loads or plans cannot change the past."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest
import sqlalchemy as sa

from ndtstats.errors import CannotGoOn
from ndtstats.register import Register, record_decisions, verify
from ndtstats.register.roles import roles_sql
from ndtstats.register.schema import SQL_TABLES

T0 = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
JOINTS = pd.DataFrame({"job": "H1", "joint": ["B-1", "B-2"], "length_mm": [100.0, 200.0]})
PEOPLE = {"reader": "ndtstats_read", "loader": "ndtstats_load", "planner": "ndtstats_plan"}


@pytest.fixture
def user(postgresql: str) -> Iterator[Callable[[str], str]]:
    """The URL of a register with one load, as its owner or as somebody with one of the roles."""
    Register.open(postgresql, create=True).close()
    owner = sa.create_engine(postgresql, isolation_level="AUTOCOMMIT")
    with owner.connect() as connection:
        for _ in range(2):  # running it again changes nothing
            connection.exec_driver_sql(roles_sql())
        for name, role in PEOPLE.items():
            connection.exec_driver_sql(f"DROP ROLE IF EXISTS {name}")
            connection.exec_driver_sql(f"CREATE ROLE {name} LOGIN IN ROLE {role}")
    url = sa.make_url(postgresql)

    def of(name: str) -> str:
        return url.set(username=name).render_as_string(hide_password=False)

    load(of("loader"), JOINTS)
    yield of
    with owner.connect() as connection:
        for name in PEOPLE:
            connection.exec_driver_sql(f"DROP ROLE {name}")
    owner.dispose()


def load(target: str, frame: pd.DataFrame, day: int = 0, table: str = "joints") -> None:
    register = Register.open(target)
    try:
        with register.batch(
            kind="load", subject=table, now=T0 + timedelta(days=day), skip_if_unchanged=True
        ) as batch:
            batch.merge(table, frame)
    finally:
        register.close()


def decide(target: str) -> None:
    register = Register.open(target)
    try:
        record_decisions(
            register, kind="waiver", subjects=["item"], person="Lead", reason="seen", now=T0
        )
    finally:
        register.close()


def refused(target: str, sql: str) -> bool:
    """Whether the server refuses a statement for want of rights."""
    engine = sa.create_engine(target)
    try:
        with engine.begin() as connection:
            connection.exec_driver_sql(sql)
    except sa.exc.DBAPIError as error:
        return error.orig.sqlstate == "42501"
    finally:
        engine.dispose()
    return False


def test_a_reader_reads_and_cannot_write(user):
    register = Register.open(user("reader"))
    assert len(register.table("joints")) == 2
    assert verify(register).holds
    register.close()
    with pytest.raises(CannotGoOn, match="this user may not do that"):
        load(user("reader"), JOINTS.assign(length_mm=1.0), day=1)
    with pytest.raises(CannotGoOn, match="this user may not do that"):
        decide(user("reader"))
    for table in ("batches", "properties", *SQL_TABLES):
        for sql in (f"DELETE FROM {table}", f"TRUNCATE {table}", f"DROP TABLE {table}"):  # noqa: S608
            assert refused(user("reader"), sql), sql
    assert refused(user("reader"), "UPDATE joints SET superseded = 1")
    assert refused(user("reader"), "INSERT INTO batches VALUES (9)")
    assert refused(user("reader"), "CREATE TABLE mine (id integer)")


def test_a_loader_loads_corrects_and_cannot_change_the_past(user):
    load(user("loader"), JOINTS.assign(length_mm=[100.0, 250.0]), day=1)
    load(user("loader"), JOINTS.assign(length_mm=[100.0, 250.0]), day=2)  # nothing new
    register = Register.open(user("reader"))
    assert register.table("joints")["length_mm"].tolist() == [100.0, 250.0]
    assert verify(register).holds
    assert len(register.batches()) == 2
    register.close()
    for sql in (
        "UPDATE joints SET length_mm = 1",
        "DELETE FROM joints",
        "DROP TABLE joints",
        "TRUNCATE joints",
        "UPDATE joints SET superseded = NULL WHERE superseded IS NOT NULL",
        "UPDATE joints SET superseded = 1 WHERE superseded IS NOT NULL",
        "UPDATE batches SET new = 7",
        "UPDATE batches SET at = '2026-01-01'",
        "UPDATE batches SET digest = NULL",
        "DELETE FROM batches",
        "UPDATE properties SET value = '1'",
        "ALTER TABLE joints DISABLE TRIGGER ALL",
    ):
        assert refused(user("loader"), sql), sql
    with pytest.raises(CannotGoOn, match="this user may not do that"):
        decide(user("loader"))


def test_a_planner_decides_and_cannot_load(user):
    decide(user("planner"))
    register = Register.open(user("planner"))
    assert len(register.table("decisions")) == 1
    assert verify(register).holds
    register.close()
    with pytest.raises(CannotGoOn, match="this user may not do that"):
        load(user("planner"), JOINTS.assign(job="H2"), day=1)
    for sql in ("DELETE FROM plans", "UPDATE spots SET pi = 1", "UPDATE batches SET new = 7"):
        assert refused(user("planner"), sql), sql


def test_every_table_has_who_may_write_it(ndtstats):
    printed = ndtstats("roles")[1]
    granted = [line for line in printed.splitlines() if line.startswith("GRANT INSERT ON")]
    named = {name.strip() for line in granted for name in line[16:].split(" TO ")[0].split(",")}
    assert named == set(SQL_TABLES)
