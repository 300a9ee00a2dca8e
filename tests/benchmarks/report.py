"""Time each page at two sizes against bare reading and writing in the same run.

    python tests/benchmarks/report.py [--sizes 10000 100000] [--only qa release ...]

The bare work is what no page can do without: the tables of the register read by pandas, and as many
figures as the page has written as JSON. Processor time of one run, each of a register opened anew,
after one at a small size that loads what has to be loaded. Pages are also written as a command in a
process that has to load all of that first. Nothing here fails by time.
"""

import argparse
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd
from make_large import JOB
from scale import filled

from ndtstats.escalation import owed
from ndtstats.planning import draw_plan
from ndtstats.register import Register
from ndtstats.release import releases
from ndtstats.report import management_page, qa_page, render_page
from ndtstats.report.contractor import contractor_page
from ndtstats.report.page import Page
from ndtstats.report.welder import welder_page
from ndtstats.rules import adopt, load_rules

NOW = datetime(2026, 6, 1, tzinfo=UTC)
WARM = 2_000

#: The tables that pages rest on.
TABLES = ("joints", "deposits", "examinations", "imperfections", "spots", "frame_cells")

PAGES: dict[str, Callable[[Register], Page]] = {
    "qa": lambda register: qa_page(register, job=JOB),
    "management": management_page,
    "contractor": contractor_page,
    "welder": lambda register: welder_page(register, "W01"),
}
#: What each page is asked with as a command.
OPTIONS: dict[str, list[str]] = {
    "qa": ["--job", JOB], "management": [], "contractor": [], "welder": ["--welder", "W01"],
}  # fmt: skip
ANSWERS: dict[str, Callable[[Register], Any]] = {
    "release": lambda register: releases(register, job=JOB),
    "owed": lambda register: owed(register, job=JOB),
}


def made(path: Path, examinations: int) -> None:
    """Make a register of a job under rules, with a plan drawn before anything was examined."""
    register = filled(path, examinations)
    rules = load_rules("aluminium-hull")
    adopt(register, JOB, rules, agreed_by=None, by=None, now=NOW)
    draw_plan(register, job=JOB, rules=rules, seed=1, now=NOW)
    register.close()


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return the processor time of some work in seconds, and its result."""
    started = time.process_time()
    result = work()
    return time.process_time() - started, result


def bare(path: Path, figures: list[Any]) -> None:
    """Read the tables, and write as many figures."""
    with sqlite3.connect(path) as connection:
        for table in TABLES:
            pd.read_sql(f"SELECT * FROM {table} WHERE superseded IS NULL", connection)  # noqa: S608
    for figure in figures:
        json.dumps(figure)


def drawn(page: Page) -> list[Any]:
    """Return the figures of a page as plain lists and numbers."""
    return [json.loads(figure.to_json()) for figure in page.figures.values()]


def as_command(path: Path, name: str) -> float:
    """Return the processor time of the command that writes a page, in seconds."""
    started = sum(os.times()[2:4])
    with tempfile.TemporaryDirectory() as folder:
        asked = ["report", name, *OPTIONS[name], "--register", str(path), "--out", folder]
        subprocess.run(
            [sys.executable, "-m", "ndtstats", *asked], check=True, stdout=subprocess.DEVNULL
        )
    return sum(os.times()[2:4]) - started


def run(path: Path, chosen: list[str], *, tell: bool) -> None:
    """Time each page and answer of one register, and print a line each."""
    for name in chosen:
        register = Register.open(path)
        if name in PAGES:
            asked, page = timed(lambda: PAGES[name](register))  # noqa: B023  (called at once)
            written, text = timed(lambda: render_page(page))  # noqa: B023
            figures, size = drawn(page), len(text) / 1e6
        else:
            asked, _ = timed(lambda: ANSWERS[name](register))  # noqa: B023
            written, figures, size = 0.0, [], 0.0
        register.close()
        least, _ = timed(lambda: bare(path, figures))  # noqa: B023
        if tell:
            print(  # noqa: T201
                f"  {name:<12} {asked:7.2f} s asked {written:6.2f} s written {size:6.1f} MB"
                f"   bare {least:6.2f} s   {(asked + written) / least:6.1f} x"
                + (f"   {as_command(path, name):6.2f} s as a command" if name in PAGES else ""),
                flush=True,
            )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--sizes", type=int, nargs="+", default=[10_000, 100_000])
    parser.add_argument("--only", nargs="+", default=[*PAGES, *ANSWERS])
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        for size in [WARM, *given.sizes]:
            path = Path(folder) / f"{size}.sqlite"
            made(path, size)
            if size != WARM:
                print(f"{size:,} examinations on {size // 10:,} joints")  # noqa: T201
            run(path, given.only, tell=size != WARM)


if __name__ == "__main__":
    main()
