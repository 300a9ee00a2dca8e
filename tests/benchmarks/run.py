"""Time the slow work against the bare tools doing the same, in one run, and print the ratios.

    python tests/benchmarks/run.py [--examinations 100000] [--joints 10000]

Times on a shared machine mean little; the ratios of one run mean more. Nothing here fails by time.
"""

import argparse
import csv
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from make_large import JOB, make_tables
from scipy import special

from ndtstats.escalation import owed
from ndtstats.extent import extent
from ndtstats.intake import load
from ndtstats.planning import draw_plan
from ndtstats.planning.draw import draw_systematic, inclusion_probabilities
from ndtstats.rates import rates
from ndtstats.register import Register
from ndtstats.report import qa_page, render_page
from ndtstats.rules import load_rules
from ndtstats.statistics import proportion_interval, union_length

NOW = datetime(2026, 6, 1, tzinfo=UTC)


def timed(work: Callable[[], Any]) -> float:
    """Return how long one run takes, in seconds."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def middle(work: Callable[[], Any], runs: int = 3) -> float:
    """Return the median of several runs, in seconds."""
    return float(np.median([timed(work) for _ in range(runs)]))


def told(what: str, ours: float, bare: float | None = None, against: str = "") -> None:
    """Print one line: what, how long, and how many times the bare tool's time."""
    ratio = f"{ours / bare:8.1f} x {against} ({bare:.3f} s)" if bare else ""
    print(f"{what:<44} {ours:8.3f} s {ratio}", flush=True)  # noqa: T201


def bare_load(path: Path, folder: Path) -> None:
    """Read a CSV file and insert its rows as they are: what no loader can do without."""
    database = folder / "bare.sqlite"
    database.unlink(missing_ok=True)
    frame = pd.read_csv(path, dtype="str", keep_default_na=False)
    with sqlite3.connect(database) as connection:
        columns = ", ".join(f'"{name}" TEXT' for name in frame.columns)
        marks = ", ".join("?" * len(frame.columns))
        connection.execute(f"CREATE TABLE examinations ({columns})")
        rows = frame.to_numpy().tolist()
        connection.executemany(f"INSERT INTO examinations VALUES ({marks})", rows)  # noqa: S608


def bare_rates(folder: Path) -> None:
    """Count rejects by joint in the bare table."""
    with sqlite3.connect(folder / "bare.sqlite") as connection:
        connection.execute(
            "SELECT joint, count(*), sum(verdict = 'reject') FROM examinations GROUP BY joint"
        ).fetchall()


def register_work(folder: Path, joints: int, examinations: int) -> None:
    """Time loading, planning, the questions and the page."""
    for name, frame in make_tables(joints, examinations, seed=1).items():
        frame.to_csv(folder / f"{name}.csv", index=False, quoting=csv.QUOTE_MINIMAL)
    register = Register.open(folder / "register.sqlite", create=True)
    for name in ("jobs", "zones", "joints", "welders", "deposits"):
        load(register, name, folder / f"{name}.csv", now=NOW)
    path = folder / "examinations.csv"
    bare = timed(lambda: bare_load(path, folder))
    ours = timed(lambda: load(register, "examinations", path, now=NOW))
    told(f"load {examinations:,} examinations with all checks", ours, bare, "read_csv + insert")
    told("load the same file again", timed(lambda: load(register, "examinations", path, now=NOW)),
         ours, "the first load")  # fmt: skip
    aggregate = middle(lambda: bare_rates(folder))
    told("rates by welder", middle(lambda: rates(register, method="RT")), aggregate, "SQL GROUP BY")
    rules = load_rules("aluminium-hull")
    told("plan drawn and stored", timed(
        lambda: draw_plan(register, job=JOB, rules=rules, seed=1, now=NOW)))  # fmt: skip
    told("extents", timed(lambda: extent(register, job=JOB, rules=rules)))
    told("owed", timed(lambda: owed(register, job=JOB, rules=rules)))
    told("QA page", timed(lambda: render_page(qa_page(register, job=JOB))))
    register.close()


def mathematics(number: int) -> None:
    """Time the vectorised mathematics on a million of each."""
    rng = np.random.default_rng(1)
    n = rng.integers(1, 200, number)
    k = rng.binomial(n, 0.05)
    bare = middle(lambda: special.betaincinv(k + 1, np.maximum(n - k, 1), 0.975))
    told(f"{number:,} exact intervals", middle(lambda: proportion_interval(k, n)), bare,
         "one bound by the bare function")  # fmt: skip
    group, start = rng.integers(0, number // 10, number), rng.integers(0, 5000, number)
    end = start + 300
    packed = group * 8192 + start
    bare = middle(lambda: np.sort(packed))
    told(f"union of {number:,} intervals", middle(lambda: union_length(group, start, end)),
         bare, "a bare sort of packed keys")  # fmt: skip
    size, stratum = rng.gamma(2.0, size=number), np.sort(rng.integers(0, 50, number))
    wanted = np.full(50, number // 1000)
    bare = middle(lambda: np.cumsum(size))

    def draw() -> None:
        draw_systematic(inclusion_probabilities(size, stratum, wanted), stratum, rng)

    told(f"probabilities and draw of {number:,} cells", middle(draw), bare, "a cumulative sum")


def start_up() -> None:
    """Time the help against importing click alone."""

    def run(*arguments: str) -> Callable[[], Any]:
        command = [sys.executable, *arguments]
        return lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL)

    ours, bare = middle(run("-m", "ndtstats", "--help")), middle(run("-c", "import click"))
    told("ndtstats --help", ours, bare, "import click")


def main() -> None:
    """Run all of it and print a line each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--joints", type=int, default=10_000)
    parser.add_argument("--examinations", type=int, default=100_000)
    chosen = parser.parse_args()
    start_up()
    mathematics(1_000_000)
    with tempfile.TemporaryDirectory() as folder:
        register_work(Path(folder), chosen.joints, chosen.examinations)


if __name__ == "__main__":
    main()
