"""Every older register is brought up to date with all it holds, on every database."""

import sqlite3
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa

from ndtstats.errors import CannotGoOn, UseError
from ndtstats.register import Register, upgrade, verify
from ndtstats.register import engine as db
from ndtstats.register.schema import SCHEMA_VERSION

OLDER = Path(__file__).parent / "older"
MADE = ["schema_1", "schema_2_early", "schema_2", "schema_3", "schema_4"]
T0 = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def restore(target: str, name: str) -> str:
    """Fill a new database with the dump of an older one."""
    if "://" not in target:
        connection = sqlite3.connect(target)
        connection.executescript((OLDER / f"{name}.sqlite.sql").read_text())
        connection.close()
        return target
    engine = sa.create_engine(target)
    with engine.begin() as connection:
        connection.exec_driver_sql((OLDER / f"{name}.postgresql.sql").read_text())
    engine.dispose()
    return target


def shape(target: str) -> dict[str, object]:
    """What a database has: columns with type and need, keys and indexes, whatever their order."""
    engine = db.engine_for(db.url_of(target))
    look = sa.inspect(engine)
    found: dict[str, object] = {}
    columns, foreign = look.get_multi_columns(), look.get_multi_foreign_keys()
    indexes, keys = look.get_multi_indexes(), look.get_multi_pk_constraint()
    for place in columns:
        found[str(place[1])] = (
            {c["name"]: (str(c["type"]), c["nullable"]) for c in columns[place]},
            {(*k["constrained_columns"], k["referred_table"]) for k in foreign[place]},
            {(i["name"], *i["column_names"], i["unique"], *_where(i)) for i in indexes[place]},
            keys[place]["constrained_columns"],
        )
    engine.dispose()
    return found


def _where(index: dict) -> tuple[str, ...]:
    return tuple(str(v).strip("()") for k, v in index["dialect_options"].items() if "where" in k)


@pytest.fixture(scope="module")
def new_shapes() -> dict[str, object]:
    return {}


@pytest.fixture
def new_shape(kind, new_shapes, new_database, tmp_path):
    """The shape of a new register, made once for each kind of database."""
    if kind not in new_shapes:
        with new_database(kind, tmp_path / "new.sqlite") as made:
            Register.open(made, create=True).close()
            new_shapes[kind] = shape(made)
    return new_shapes[kind]


@pytest.mark.parametrize("name", MADE)
def test_an_upgrade_loses_nothing_and_gives_the_shape_of_a_new_register(target, name, new_shape):
    done = upgrade(restore(target, name))
    assert (done.found, done.now) == (int(name.split("_")[1]), SCHEMA_VERSION)
    # Fails as well if somebody changes the schema without a step that leads to it.
    assert shape(target) == new_shape
    register = Register.open(target)
    joints = register.table("joints").set_index("joint")["length_mm"]
    assert joints.to_dict() == {"B-1": 1000.0, "B-2": 2600.0, "Ω-3": 800.1}
    before = register.table("joints", as_of=T0 + timedelta(days=1, hours=1)).set_index("joint")
    assert before.loc["B-2", "length_mm"] == 2500.5
    assert register.table("imperfections")["imperfection"].tolist() == ["401"]
    assert register.table("spots")["pi"].tolist() == [1 / 3]
    assert register.batches()["subject"].tolist() == [
        "jobs", "joints", "joints", "examinations", "examinations", "H1",
    ]  # fmt: skip
    # The past is chained, and the register says since when.
    with register.batch(kind="load", subject="jobs", now=T0 + timedelta(days=9)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H2"]}))
    found = verify(register)
    assert found.holds
    # What was chained before stays so; what was not is chained from today on.
    kept_from = 1 if name == "schema_4" else 7
    assert (found.chain.entries, found.chain.kept_from) == (7, kept_from)
    register.close()


def test_the_same_register_has_the_same_chain_in_each_database(target, tmp_path):
    upgrade(restore(target, "schema_2"))
    other = restore(str(tmp_path / "other.sqlite"), "schema_2")
    upgrade(other)
    digests = []
    for path in (target, other):
        register = Register.open(path)
        digests.append(register.batches()["digest"].tolist())
        register.close()
    assert digests[0] == digests[1]


def test_an_older_register_is_refused_with_the_command_that_mends_it(target):
    restore(target, "schema_1")
    with pytest.raises(UseError, match="ndtstats upgrade"):
        Register.open(target)
    with pytest.raises(UseError, match="ndtstats upgrade"):
        Register.open(target, create=True)
    upgrade(target)


def test_an_upgrade_tells_what_is_done_of_it(tmp_path):
    told: list[str] = []
    older = restore(str(tmp_path / "yard.sqlite"), "schema_3")
    upgrade(older, progress=lambda what, done, total: told.append(what) if done == total else None)
    assert told == ["copy", "check", "steps", "rows"]


def test_a_file_is_kept_as_it_was(tmp_path):
    path = tmp_path / "yard.sqlite"
    copies = []
    for _ in range(2):
        path.unlink(missing_ok=True)
        copies.append(upgrade(restore(str(path), "schema_2")).copy)
    assert [copy.name for copy in copies] == ["yard.schema-2.sqlite", "yard.schema-2-2.sqlite"]
    with pytest.raises(UseError, match="schema 2"):
        Register.open(copies[0])


def test_an_upgrade_that_fails_leaves_the_register_as_it_was(target, monkeypatch):
    restore(target, "schema_2")
    before = shape(target)

    def fail(*_given: object) -> None:
        raise RuntimeError

    monkeypatch.setattr(sys.modules["ndtstats.register.upgrade"], "chain_all", fail)
    with pytest.raises(RuntimeError):
        upgrade(target)
    assert shape(target) == before
    monkeypatch.undo()
    assert upgrade(target).found == 2


def test_a_damaged_file_is_not_upgraded(tmp_path):
    path = Path(restore(str(tmp_path / "yard.sqlite"), "schema_2"))
    content = bytearray(path.read_bytes())
    middle = len(content) // 8192 * 4096
    content[middle : middle + 8192] = b"\xff" * 8192
    path.write_bytes(content)
    with pytest.raises(CannotGoOn, match="damaged"):
        upgrade(path)
    assert not list(tmp_path.glob("*schema*"))
    with pytest.raises(UseError, match="schema 2"):
        Register.open(path)


def test_an_upgrade_twice_changes_nothing_the_second_time(target):
    upgrade(restore(target, "schema_3"))
    again = upgrade(target)
    assert (again.found, again.chained, again.copy) == (SCHEMA_VERSION, 0, None)


def test_only_a_register_is_upgraded(target, tmp_path):
    if "://" not in target:
        sqlite3.connect(target).close()
        with pytest.raises(UseError, match="there is no register"):
            upgrade(tmp_path / "none.sqlite")
    with pytest.raises(UseError, match="holds no register"):
        upgrade(target)


def test_the_verb_tells_what_it_did(ndtstats, tmp_path):
    restore(str(tmp_path / "ndtstats.sqlite"), "schema_2")
    code, out, _ = ndtstats("upgrade")
    assert code == 0
    assert f"from schema 2 to {SCHEMA_VERSION}" in out
    assert "ndtstats.schema-2.sqlite" in out
    assert "6 batches were chained today" in out
    assert "up to date" in ndtstats("upgrade")[1]
    assert "Batches up to 6 are older than the chain" in ndtstats("verify")[1]
