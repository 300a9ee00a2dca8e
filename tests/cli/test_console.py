import io
import json
import time

import pandas as pd
import pytest

from ndtstats.cli.console import Shown, _Line, emit, progress, say
from ndtstats.progress import silent

FRAME = pd.DataFrame(
    {
        "welder": ["K7", "=cmd()", None],
        "rate": [0.125, float("nan"), 1.0],
        "places": [[{"joint": "B-1", "from_mm": 0.0}], [], None],
        "date": pd.to_datetime(["2026-03-01", None, "2026-03-02"]),
    }
)


def test_json_is_whole_and_missing_is_null(capsys):
    emit(FRAME, "json")
    first, second, third = json.loads(capsys.readouterr().out)
    assert first == {
        "welder": "K7",
        "rate": 0.125,
        "places": [{"joint": "B-1", "from_mm": 0.0}],
        "date": "2026-03-01",
    }
    assert second["rate"] is None
    assert third["welder"] is None


def test_csv_text_never_becomes_a_formula(capsys):
    emit(FRAME[["welder", "rate"]], "csv")
    assert capsys.readouterr().out.splitlines()[2] == "'=cmd(),"


def test_table_rounds_aligns_and_names_units(capsys):
    emit(
        FRAME,
        "table",
        columns=[Shown("welder", "welder"), Shown("rate", "rate", "percent")],
        conclusion="One welder.",
    )
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "One welder."
    assert any(line.startswith("K7") and "12.5 %" in line for line in lines)


def test_text_cannot_steer_the_terminal(capsys):
    emit(pd.DataFrame({"name": ["a\x1b[2Jb\u202ec"]}), "table")
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "\u202e" not in out


@pytest.mark.parametrize(
    ("style", "value", "shown"),
    [
        ("count", 12345, "12,345"),
        ("percent", 0.0531, "5.3 %"),
        ("mm", 1234.4, "1,234"),
        ("m", 26890.0, "26.89"),
        ("number", 0.000123456, "0.000123"),
    ],
)
def test_styles(style, value, shown, capsys):
    emit(pd.DataFrame({"x": [value]}), "table", columns=[Shown("x", "x", style)])
    assert shown in capsys.readouterr().out


def test_long_work_tells_the_time_left_where_it_is_known():
    line = _Line(began=time.monotonic() - 10)
    assert line.text() == "at work for 10 s"
    line.tell("rows", 0, 4_000)
    line.since = time.monotonic() - 10
    line.tell("rows", 1_000, 4_000)
    assert line.text() == "rows: 1,000 of 4,000, 30 s left"
    # A step of another name that is counted on is part of the same work; one counted anew is not.
    line.tell("checks", 2_000, 4_000)
    assert line.text() == "checks: 2,000 of 4,000, 10 s left"
    line.tell("pages", 1, 2)
    assert line.text() == "pages: 1 of 2, 0 s left"


def test_nobody_who_does_not_look_is_told_of_progress(capsys):
    with progress() as tell:
        assert tell is silent
    assert capsys.readouterr().err == ""


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("stream", "no_color", "coloured"),
    [(Terminal(), "", True), (Terminal(), "1", False), (io.StringIO(), "", False)],
    ids=["terminal", "NO_COLOR", "piped"],
)
def test_colours_are_for_terminals_that_want_them(monkeypatch, stream, no_color, coloured):
    monkeypatch.setenv("NO_COLOR", no_color)
    monkeypatch.setattr("sys.stdout", stream)
    say("error: nothing fits", colour="red")
    assert ("\x1b[31m" in stream.getvalue()) is coloured
    assert "error: nothing fits" in stream.getvalue()


def test_a_long_sentence_is_broken_between_words_on_a_terminal(monkeypatch):
    stream = Terminal()
    monkeypatch.setattr("sys.stdout", stream)
    monkeypatch.setenv("COLUMNS", "60")
    said = "With 95 % confidence " + "the rate lies below the limit " * 5
    say(said.strip())
    lines = stream.getvalue().splitlines()
    assert len(lines) > 1
    assert max(map(len, lines)) <= 60
    assert " ".join(lines) == said.strip()
