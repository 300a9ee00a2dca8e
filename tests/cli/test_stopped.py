"""Ctrl-C: one sentence, its exit code, and nothing left half done."""

import os
import signal
from pathlib import Path

import pytest

from ndtstats.register import Register
from ndtstats.register.batch import Batch
from ndtstats.report import render

RULES = """
title = "rules of an invented yard"
follows = "nothing: rules for a test"
edition = "none"

[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", percent = 10.0 }
"""

FILES = {
    "jobs": "job\nH1\n",
    "zones": "job,zone\nH1,Z\n",
    "joints": "job,zone,joint,category,joint_type,length_mm\n"
    + "".join(f"H1,Z,B-{n},A,butt,3000\n" for n in range(4)),
}


@pytest.fixture
def yard(ndtstats, tmp_path):
    ndtstats("init")
    for table, text in FILES.items():
        (tmp_path / f"{table}.csv").write_text(text)
        assert ndtstats("load", table, f"{table}.csv")[0] == 0
    (tmp_path / "welders.csv").write_text("welder\nK1\nK2\n")
    (tmp_path / "rules.toml").write_text(RULES)
    return ndtstats


@pytest.fixture
def stopped(monkeypatch):
    """Have Ctrl-C pressed when a function has done its work, and before anything after it."""

    def when(owner: object, name: str) -> None:
        whole = getattr(owner, name)

        def then_stopped(*arguments: object, **named: object) -> object:
            done = whole(*arguments, **named)
            os.kill(os.getpid(), signal.SIGINT)
            return done

        monkeypatch.setattr(owner, name, then_stopped)

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield when
    signal.signal(signal.SIGINT, before)


def held(tmp_path: Path) -> dict[str, int]:
    register = Register.open(tmp_path / "ndtstats.sqlite")
    rows = {name: len(register.table(name)) for name in ("welders", "plans", "spots")}
    rows["batches"] = len(register.batches())
    register.close()
    return rows


@pytest.mark.parametrize(
    ("command", "writes"),
    [
        (["load", "welders", "welders.csv"], "merge"),
        (["plan", "draw", "--rules", "rules.toml", "--seed", "1"], "insert"),
    ],
    ids=["load", "plan draw"],
)
def test_what_is_stopped_while_it_writes_leaves_the_register_as_it_was(
    yard, stopped, tmp_path, command, writes
):
    before = held(tmp_path)
    stopped(Batch, writes)
    code, out, err = yard(*command)
    assert (code, out) == (130, "")
    assert err.splitlines()[-1] == "Stopped; nothing was left half done."
    assert held(tmp_path) == before


@pytest.mark.parametrize("moment", ["render_page", "_write_whole"])
def test_a_report_is_there_whole_or_not_at_all(yard, stopped, tmp_path, moment):
    stopped(render, moment)
    code, _, err = yard("report", "qa", "--out", "pages")
    assert code == 130
    assert err.splitlines()[-1] == "Stopped; nothing was left half done."
    pages = [path.name for path in (tmp_path / "pages").iterdir()]
    assert pages == (["qa-H1.html"] if moment == "_write_whole" else [])


def test_a_page_that_is_stopped_while_it_is_written_leaves_the_old_one(yard, stopped, tmp_path):
    assert yard("report", "qa", "--out", "pages")[0] == 0
    old = (tmp_path / "pages" / "qa-H1.html").read_bytes()
    stopped(Path, "write_text")
    assert yard("report", "qa", "--out", "pages")[0] == 130
    assert [path.name for path in (tmp_path / "pages").iterdir()] == ["qa-H1.html"]
    assert (tmp_path / "pages" / "qa-H1.html").read_bytes() == old
