"""Copies are made while others write, are whole, and never replace anything."""

import sqlite3
import threading
from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest

from ndtstats.errors import CannotGoOn, UseError
from ndtstats.register import Register, backup, verify

T0 = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def filled(tmp_path):
    register = Register.open(tmp_path / "yard.sqlite", create=True)
    load(register, "H1", 0)
    yield register
    register.close()


def load(register: Register, job: str, day: int) -> None:
    with register.batch(kind="load", subject="jobs", now=T0 + timedelta(days=day)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": [job]}))


def test_a_copy_is_a_register_with_the_same_past(filled, tmp_path):
    found = backup(filled, tmp_path / "copy.sqlite")
    assert found.holds
    copy = Register.open(tmp_path / "copy.sqlite")
    pd.testing.assert_frame_equal(copy.table("jobs"), filled.table("jobs"))
    assert found.chain.digest == verify(filled).chain.digest
    copy.close()


def test_a_copy_is_made_while_somebody_writes(filled, tmp_path):
    with filled.batch(kind="load", subject="jobs", now=T0 + timedelta(days=1)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H2"]}))
        found = backup(filled, tmp_path / "copy.sqlite")
    assert (found.holds, found.chain.entries) == (True, 1)
    assert verify(filled).chain.entries == 2


def test_copies_while_a_loader_loads_on_are_whole(filled, tmp_path):
    done = threading.Event()

    def work() -> None:
        mine = Register.open(tmp_path / "yard.sqlite")
        for number in range(8):
            load(mine, f"X{number}", number + 1)
        mine.close()
        done.set()

    loader = threading.Thread(target=work)
    loader.start()
    copies = []
    while not done.is_set() or len(copies) < 2:
        copies.append(backup(filled, tmp_path / f"copy-{len(copies)}.sqlite"))
    loader.join()
    assert all(copy.holds for copy in copies)
    entries = [copy.chain.entries for copy in copies]
    assert entries == sorted(entries)


def test_nothing_is_replaced(filled, tmp_path):
    there = tmp_path / "copy.sqlite"
    there.write_text("a letter")
    with pytest.raises(UseError, match="there already"):
        backup(filled, there)
    assert there.read_text() == "a letter"


def test_a_folder_that_does_not_exist_is_said(filled, tmp_path):
    with pytest.raises(CannotGoOn, match="No such file or directory"):
        backup(filled, tmp_path / "nowhere" / "copy.sqlite")


def test_a_full_disk_leaves_no_half_copy(filled, tmp_path, small_files):
    with small_files(8192), pytest.raises(CannotGoOn, match="disk is full"):
        backup(filled, tmp_path / "copy.sqlite")
    assert sorted(path.name for path in tmp_path.iterdir() if "yard" not in path.name) == []


def test_a_copy_of_a_changed_past_is_made_and_told(filled, tmp_path):
    connection = sqlite3.connect(tmp_path / "yard.sqlite")
    connection.execute("UPDATE jobs SET job = 'H9'")
    connection.commit()
    connection.close()
    found = backup(filled, tmp_path / "copy.sqlite")
    assert not found.holds
    assert (tmp_path / "copy.sqlite").exists()


def test_a_register_on_a_server_is_copied_by_the_server(postgresql, tmp_path):
    register = Register.open(postgresql, create=True)
    with pytest.raises(UseError, match="pg_dump"):
        backup(register, tmp_path / "copy.sqlite")
    register.close()


def test_the_verb_tells_what_the_copy_holds(ndtstats, tmp_path):
    ndtstats("init")
    code, out, _ = ndtstats("backup", "copy.sqlite")
    assert (code, out) == (0, "copy.sqlite: whole and empty.\n")
    assert ndtstats("backup", "copy.sqlite")[0] == 2
