"""Time the loading of examinations against the bare tools doing the same, in one run.

    python tests/benchmarks/load.py [--rows 10000 100000 1000000]

The bare tools: pandas.read_csv, and executemany into a SQLite table with a unique index on the
columns of the natural key; they check nothing. Computing time counts, not waiting; each work runs
in a process of its own, so that its peak of memory is its own: it is told above what the process
took before, with the libraries imported and a file of one row gone through. Nothing here fails by
time.
"""

import argparse
import json
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
from make_large import JOB, make_tables

from ndtstats.columns import TABLES
from ndtstats.intake import load
from ndtstats.register import Register
from ndtstats.rules import adopt, load_rules

NOW = datetime(2026, 6, 1, tzinfo=UTC)
BEFORE = ("jobs", "zones", "joints", "welders", "deposits")

Row = dict[str, float]


def peak_mib() -> float:
    """Return the most memory that this process has taken, in MiB.

    Linux tells it of the process itself; what getrusage tells counts that of its parent too.
    """
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    taken = next(line for line in lines if line.startswith("VmHWM:"))
    return int(taken.split()[1]) / 1024


def measured(work: Callable[[], object]) -> Row:
    """Return the computing time of work in seconds, and its peak of memory above the one before."""
    before, started = peak_mib(), time.process_time()
    work()
    return {"cpu_s": time.process_time() - started, "mib": peak_mib() - before}


def prepare(folder: Path, rows: int) -> None:
    """Write the files of a large register, and a register that waits for the examinations."""
    tables = make_tables(max(rows // 10, 10), rows, seed=1)
    for name, frame in tables.items():
        frame.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    tables["examinations"][:1].to_csv(folder / "one.csv", index=False, date_format="%Y-%m-%d")
    register = Register.open(folder / "register.sqlite", create=True)
    for name in BEFORE:
        load(register, name, folder / f"{name}.csv", now=NOW)
    adopt(register, JOB, load_rules("aluminium-hull"), agreed_by=None, by=None, now=NOW)
    register.close()


def ours(folder: Path) -> dict[str, Row]:
    """Load the examinations, and load them again."""
    register = Register.open(folder / "register.sqlite")

    def load_file(name: str, *, dry_run: bool = False) -> None:
        result = load(register, "examinations", folder / name, now=NOW, dry_run=dry_run)
        if result.errors:
            raise SystemExit(str(result.errors[0]))

    load_file("one.csv", dry_run=True)
    told = {
        "first": measured(lambda: load_file("examinations.csv")),
        "again": measured(lambda: load_file("examinations.csv")),
    }
    register.close()
    return told


def bare(folder: Path) -> dict[str, Row]:
    """Read the file and insert its rows as they stand."""

    def load_file(name: str) -> None:
        database = folder / f"{name}.sqlite"
        frame = pd.read_csv(folder / name, dtype="str", keep_default_na=False)
        connection = sqlite3.connect(database)
        columns = ", ".join(f'"{column}" TEXT' for column in frame.columns)
        key = ", ".join(column for column in TABLES["examinations"].key if column in frame)
        connection.execute(f"CREATE TABLE examinations ({columns})")
        connection.execute(f"CREATE UNIQUE INDEX by_key ON examinations ({key})")
        marks = ", ".join("?" * len(frame.columns))
        rows = frame.to_numpy().tolist()
        connection.executemany(f"INSERT INTO examinations VALUES ({marks})", rows)  # noqa: S608
        connection.commit()
        connection.close()

    load_file("one.csv")
    return {"first": measured(lambda: load_file("examinations.csv"))}


def in_a_process(work: str, folder: Path) -> dict[str, Row]:
    """Run :func:`ours` or :func:`bare` in a process of its own and return what it measured."""
    command = [sys.executable, __file__, "--work", work, "--folder", str(folder)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    told: dict[str, Row] = json.loads(done.stdout)
    return told


def compare(sizes: list[int]) -> None:
    """Print a line for each number of rows."""
    print(f"{'':>10}  {'load':^20}  {'read_csv + insert':^20}  {'':>6}  the same file again")  # noqa: T201
    heads = ("rows", "CPU s", "peak MiB", "CPU s", "peak MiB", "ratio", "CPU s", "of the first")
    print("{:>10}  {:>9} {:>10}  {:>9} {:>10}  {:>6}  {:>6} {:>13}".format(*heads))  # noqa: T201
    for rows in sizes:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            prepare(folder, rows)
            mine, theirs = in_a_process("ours", folder), in_a_process("bare", folder)
        first, again, simple = mine["first"], mine["again"], theirs["first"]
        print(  # noqa: T201
            f"{rows:>10,}  {first['cpu_s']:>9.2f} {first['mib']:>10.0f}  "
            f"{simple['cpu_s']:>9.2f} {simple['mib']:>10.0f}  "
            f"{first['cpu_s'] / simple['cpu_s']:>6.2f}  "
            f"{again['cpu_s']:>6.2f} {again['cpu_s'] / first['cpu_s']:>13.3f}",
            flush=True,
        )


def main() -> None:
    """Measure what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rows", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--work", choices=["ours", "bare"], help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.work:
        work = {"ours": ours, "bare": bare}[chosen.work]
        print(json.dumps(work(chosen.folder)))  # noqa: T201
    else:
        compare(chosen.rows)


if __name__ == "__main__":
    main()
