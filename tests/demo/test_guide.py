import os
from datetime import date
from pathlib import Path

import pytest

from ndtstats.clock import now
from ndtstats.demo.guide import Guide, inside
from ndtstats.errors import CannotGoOn


@pytest.fixture
def told():
    return []


def test_a_command_is_printed_before_it_runs(told, tmp_path, capsys):
    guide = Guide(told.append)
    with inside(tmp_path):
        assert guide.run("init") == 0
    assert told == ["\n$ ndtstats init"]
    assert "is ready" in capsys.readouterr().out
    assert guide.commands == 1


def test_a_finding_is_told_where_it_is_foreseen(told, tmp_path):
    with inside(tmp_path):
        assert Guide(told.append).run("plan list", exits=(2,)) == 2
    assert told[-1] == "(exit code 2)"


def test_on_a_day_of_the_story_the_clock_of_the_commands_stands_there(told, tmp_path, capsys):
    guide = Guide(told.append)
    with inside(tmp_path):
        guide.day(date(2026, 5, 25))
        guide.run("init")
        guide.run("load jobs jobs.csv", exits=(2,))
        Path("jobs.csv").write_text("job,title\nA-1,invented\n")
        guide.run("load jobs jobs.csv")
        capsys.readouterr()
        guide.run("history --format csv")
    assert told[0] == "\n# It is 2026-05-25."
    assert ",2026-05-25 08:10:00+00:00," in capsys.readouterr().out
    assert now().year > 2025


def test_an_exit_code_that_was_not_foreseen_ends_the_tour(told, tmp_path):
    with inside(tmp_path), pytest.raises(CannotGoOn, match=r"exit code 2, not 0 or 1"):
        Guide(told.append).run("plan list", exits=(0, 1))


def test_a_register_named_in_the_environment_is_not_touched(told, tmp_path, monkeypatch):
    real = tmp_path / "real.sqlite"
    monkeypatch.setenv("NDTSTATS_REGISTER", str(real))
    folder = tmp_path / "demo"
    folder.mkdir()
    with inside(folder):
        Guide(told.append).run("init")
    assert not real.exists()
    assert (folder / "ndtstats.sqlite").exists()
    assert os.environ["NDTSTATS_REGISTER"] == str(real)


def test_the_working_folder_is_the_old_one_again_after_a_mistake(tmp_path):
    before = Path.cwd()
    with pytest.raises(RuntimeError), inside(tmp_path):
        raise RuntimeError
    assert Path.cwd() == before
