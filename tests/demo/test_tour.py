"""The whole job from end to end, once, as the demo types it."""

import difflib
from pathlib import Path

import pytest

from ndtstats.cli.pace import MARKS
from ndtstats.demo.build import HULL, PIPING
from ndtstats.demo.folder import MARK
from ndtstats.demo.people import DRIFTING
from ndtstats.demo.readme import filled, outputs
from ndtstats.escalation import owed
from ndtstats.rates import rates
from ndtstats.register import Register

README = Path(__file__).parents[2] / "README.md"

COMMANDS = (
    "init", "template", "load jobs", "load zones", "load joints", "load welders",
    "load qualifications", "load deposits", "load beads", "load tests", "load examinations",
    "history", "rules list", "rules show", "rules copy", "rules check", "rules adopt",
    "plan draw", "plan list", "plan show", "plan repeat", "plan extra", "request write",
    "request reconcile", "extent", "rates", "owed", "report qa", "beads", "walk", "welders",
    "repairs", "severity", "tightness", "release", "warnings", "decisions", "verify",
    "report management", "report contractor", "report welder", "readers",
)  # fmt: skip


@pytest.fixture
def kept(ran):
    register = Register.open(ran.folder / "ndtstats.sqlite")
    yield register
    register.close()


def test_it_ends_well_and_names_the_report_to_open(ran):
    assert ran.code == 0
    *_, time, last = ran.out.splitlines()
    assert time.split()[1:3] == ["commands", "in"]
    report = Path(last.removeprefix("Open "))
    assert report.suffix == ".html"
    assert HULL in report.name
    assert report.read_text(encoding="utf-8").casefold().startswith("<!doctype html>")


@pytest.mark.parametrize("command", COMMANDS)
def test_it_runs_every_command_of_the_job(ran, command):
    assert any(line.startswith(command) for line, _ in ran.blocks)


def test_registers_tell_all_that_the_time_left_is_told_from(ran):
    """A question renamed, or a table read no longer, would leave a mark that never comes."""
    typed = {verb: told for verb, told in ran.told.items() if verb}
    assert {"owed", "extent", "release", "rates spots", "plan value", "report qa"} <= set(typed)
    missing = {verb: set(MARKS[verb]) - told for verb, told in typed.items()}
    assert {verb: marks for verb, marks in missing.items() if marks} == {}


def test_no_command_shows_a_traceback(ran):
    assert "Traceback" not in ran.out


def test_both_jobs_have_a_report(ran):
    names = " ".join(path.name for path in (ran.folder / "reports").glob("*.html"))
    assert HULL in names
    assert PIPING in names


def test_the_file_that_was_loaded_before_changes_nothing(ran):
    again = [
        text for line, text in ran.blocks if line.startswith("load examinations results-may.m")
    ]
    assert "nothing changed" not in again[0]
    assert "nothing changed" in again[1]


def test_the_plan_drawn_again_is_the_same(ran):
    assert "the same frame, the same spots" in ran.first("plan repeat")


def test_the_past_is_told_as_it_was(ran):
    then = ran.first(f"owed --job {PIPING}\n".strip())
    later = ran.first(f"owed --job {PIPING} --as-of")
    assert then.split("(exit code")[0] == later.split("(exit code")[0]
    today = next(text for line, text in reversed(ran.blocks) if line == "owed")
    assert today != then


def test_the_worst_rate_is_that_of_the_welder_who_drifts(kept):
    table = rates(kept, by=["welder"], job=HULL, method="RT")
    told = table[table["basis"] == "described"].set_index("welder")
    assert told["rate"].idxmax() == DRIFTING
    # Not by chance: his lower bound is above the rate of anybody else.
    others = told.drop(index=DRIFTING)
    assert told.loc[DRIFTING, "lower"] > others["rate"].max()


@pytest.mark.parametrize("job", [HULL, PIPING])
def test_an_escalation_is_left_half_done(kept, job):
    items = owed(kept, job=job, everything=True)
    extras = items[items["what"] == "extra"]
    assert {"open", "done"} <= set(extras["state"])


def test_all_that_it_left_is_listed_in_the_folder(ran):
    listed = (ran.folder / MARK).read_text(encoding="utf-8")
    there = [path for path in ran.folder.rglob("*") if path.is_file() and path.name != MARK]
    assert all(f"- {path.relative_to(ran.folder).as_posix()}\n" in listed for path in there)


def test_the_readme_shows_what_the_commands_say(ran):
    shown = README.read_text(encoding="utf-8")
    said = filled(shown, outputs(ran.out))
    changed = difflib.unified_diff(shown.splitlines(), said.splitlines(), "shown", "said", n=0)
    # Made anew with: python -m ndtstats.demo.readme README.md
    assert list(changed) == []


def test_a_block_is_filled_as_far_as_it_was_shown_before():
    said = (
        "$ ndtstats a --by lead\none\ntwo\nthree\nOpen it\n(exit code 1)\n\n"
        "# told\n$ ndtstats b\nx\n"
    )
    text = "```console\n$ ndtstats a   # why\nold\n…\n$ ndtstats b\nold\n```"
    assert filled(text, outputs(said)).splitlines() == [
        "```console", "$ ndtstats a   # why", "one", "…", "Open it", "(exit code 1)",
        "$ ndtstats b", "x", "```",
    ]  # fmt: skip
