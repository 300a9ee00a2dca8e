"""The time left of verbs that cannot count their work."""

import io
import re
import time
from pathlib import Path

import click
import pytest

import ndtstats
from ndtstats.cli import console
from ndtstats.cli.pace import MARKS, Pace
from ndtstats.cli.root import root
from ndtstats.progress import EACH_JOB, silent
from ndtstats.register.schema import SQL_TABLES

TWO = {"examinations": 0.4, "extent": 0.8}


@pytest.fixture
def clock(monkeypatch):
    """A clock that stands where it is put, in seconds."""
    stands = [0.0]
    monkeypatch.setattr("ndtstats.cli.pace.monotonic", lambda: stands[0])

    def put(second: float) -> None:
        stands[0] = second

    return put


def test_the_time_left_follows_from_what_is_read_and_then_from_the_pace(clock):
    pace = Pace(TWO, 0.0)
    clock(2)
    assert pace.text() == ""
    pace.tell("examinations", 0, 100)
    pace.tell("examinations", 50, 100)
    # Half of the first mark is a fifth of all: 2 s of 10.
    assert pace.text() == "reading examinations, some 8 s left"
    clock(4)
    pace.tell("examinations", 100, 100)
    assert pace.text() == "at work for 4 s, some 6 s left"
    clock(6)
    assert pace.text() == "at work for 6 s, some 4 s left"
    # What is not done counts no further than its mark: 0.8 of all took 10 s.
    clock(10)
    assert pace.text() == "at work for 10 s, some 2 s left"
    clock(12)
    assert pace.text() == "at work for 12 s, some 3 s left"
    pace.tell("extent", 1, 1)
    clock(16)
    # More than was foreseen is gone: nothing can be told.
    assert pace.text() == ""


def test_what_has_no_mark_or_was_passed_changes_nothing(clock):
    pace = Pace(TWO, 0.0)
    clock(8)
    pace.tell("extent", 1, 1)
    assert pace.text() == "at work for 8 s, some 2 s left"
    for told in (("examinations", 100, 100), ("joints", 5, 5), ("extent", 1, 1)):
        pace.tell(*told)
    assert pace.text() == "at work for 8 s, some 2 s left"


def test_a_table_that_begins_after_other_work_counts_from_there(clock):
    pace = Pace({"joints": 0.2, "frame_cells": 0.6}, 0.0)
    clock(2)
    pace.tell("joints", 9, 9)
    clock(4)
    pace.tell("frame_cells", 0, 10)
    clock(5)
    pace.tell("frame_cells", 5, 10)
    # From 0.4 of all on to 0.6: half of that is 0.5.
    assert pace.text() == "reading frame cells, some 5 s left"


def test_what_is_not_told_before_its_first_piece_counts_from_there_too(clock):
    pace = Pace({"steps": 0.2, "rows": 1.0}, 0.0)
    clock(2)
    pace.tell("steps", 1, 1)
    pace.tell("rows", 1, 8)
    # A tenth more than 0.2.
    assert pace.text() == "reading rows, some 5 s left"


def test_each_job_is_a_part_of_the_whole(clock):
    pace = Pace(TWO, 0.0)
    pace.tell(EACH_JOB, 0, 2)
    clock(4)
    pace.tell("examinations", 1, 1)
    assert pace.text() == "at work for 4 s, some 16 s left"
    clock(10)
    pace.tell(EACH_JOB, 1, 2)
    assert pace.text() == "at work for 10 s, some 10 s left"
    clock(14)
    pace.tell("examinations", 1, 1)
    assert pace.text() == "at work for 14 s, some 6 s left"


def test_jobs_that_only_a_part_goes_over_begin_nothing_anew(clock):
    pace = Pace(TWO, 0.0)
    clock(4)
    pace.tell("examinations", 1, 1)
    pace.tell(EACH_JOB, 0, 3)
    pace.tell(EACH_JOB, 2, 3)
    assert pace.text() == "at work for 4 s, some 6 s left"


def commands(group: click.Group, before: str = "") -> dict[str, click.Command]:
    found: dict[str, click.Command] = {}
    for name in group.list_commands(click.Context(group)):
        command = group.get_command(click.Context(group), name)
        found[f"{before}{name}"] = command
        if isinstance(command, click.Group):
            found |= commands(command, f"{before}{name} ")
    return found


def test_each_mark_is_a_share_and_something_that_registers_tell():
    asked = "".join(path.read_text() for path in Path(ndtstats.__file__).parent.rglob("*.py"))
    questions = re.findall(r'\.once\(\s*\("([^"]+)"', asked)
    tells = {*SQL_TABLES, *questions, "counts", "rows"}
    tells |= set(re.findall(r'progress\("([^"]+)", 1, 1\)', asked))
    for verb, marks in MARKS.items():
        assert set(marks) <= tells, verb
        assert sorted(marks.values()) == list(marks.values()), verb
        assert all(0 < share < 1 for share in marks.values()), verb


def test_each_verb_with_marks_can_be_typed():
    known = commands(root)
    assert {verb for verb in MARKS if not any(verb.startswith(name) for name in known)} == set()


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def shown(stream: Terminal, what: str) -> bool:
    """Wait until something is shown, for some seconds at most."""
    until = time.monotonic() + 10
    while what not in stream.getvalue() and time.monotonic() < until:
        time.sleep(0.005)
    return what in stream.getvalue()


def test_a_terminal_is_told_and_left_as_it_was(monkeypatch):
    stream = Terminal()
    monkeypatch.setattr("sys.stderr", stream)
    monkeypatch.setattr(console, "PATIENCE_S", 0.0)
    monkeypatch.setattr(console, "ANEW_S", 0.005)
    with console.paced(TWO) as tell:
        assert shown(stream, "at work for 0 s")
        tell("examinations", 0, 10)
        tell("examinations", 5, 10)
        assert shown(stream, "reading examinations, some 1 s left")
    assert stream.getvalue().endswith("\r\x1b[K")


def test_nobody_is_told_where_nobody_looks(capsys):
    with console.paced(TWO) as tell:
        assert tell is silent
    assert capsys.readouterr().err == ""
