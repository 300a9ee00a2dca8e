"""Time small commands, each in a process of its own beside the bare libraries, in one run.

    python tests/benchmarks/small.py [--times 5]

The bare libraries: a process that imports pandas and SQLAlchemy, and ends. Each command answers of
an empty register, and of one with a job and its rules; the libraries are timed anew just before it.
Of several times the least counts, for what else the machine does only adds. By the clock, as people
wait; the ratio is that of computing time. Nothing here fails by time.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage

BARE = ("-c", "import pandas, sqlalchemy")
SMALL = (
    "--help", "rules list", "init --register new.sqlite", "history", "plan list", "decisions",
    "owed", "rates", "warnings", "release",
)  # fmt: skip
JOB = "job,title\nX1,a job that has just begun\n"

Times = tuple[float, float]


def once(arguments: Sequence[str], folder: Path) -> Times:
    """Return the seconds that a process of Python took, by the clock and of computing."""
    for made in folder.glob("new.sqlite*"):
        made.unlink()
    before, started = getrusage(RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(
        [sys.executable, *arguments], cwd=folder, capture_output=True, text=True, check=False
    )
    clock, after = time.perf_counter() - started, getrusage(RUSAGE_CHILDREN)
    if "Traceback" in done.stderr:
        raise SystemExit(done.stderr)
    computing = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return clock, computing


def least(arguments: Sequence[str], folder: Path, times: int) -> Times:
    """Return the least seconds of several times."""
    clocks, computings = zip(*(once(arguments, folder) for _ in range(times)), strict=True)
    return min(clocks), min(computings)


def begin(folder: Path, *, with_job: bool) -> None:
    """Make a register; with a job and its rules, if that is asked for."""
    lines = ["init"]
    if with_job:
        (folder / "jobs.csv").write_text(JOB, encoding="utf-8")
        lines += ["load jobs jobs.csv", "rules adopt aluminium-hull --job X1"]
    for line in lines:
        subprocess.run(
            [sys.executable, "-m", "ndtstats", *line.split()],
            cwd=folder, capture_output=True, check=True,
        )  # fmt: skip


def main() -> None:
    """Print a table: seconds by the clock and of computing, and the ratio to the libraries."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=5)
    times = parser.parse_args().times
    sys.stdout.write(
        "| command | register | by the clock, s | computing, s | bare, computing, s | ratio |\n"
    )
    sys.stdout.write("|---|---|---|---|---|---|\n")
    for register, with_job in (("empty", False), ("a job", True)):
        with tempfile.TemporaryDirectory() as name:
            begin(Path(name), with_job=with_job)
            for line in SMALL:
                _, bare = least(BARE, Path(name), times)
                clock, computing = least(["-m", "ndtstats", *line.split()], Path(name), times)
                ratio = computing / bare
                sys.stdout.write(
                    f"| {line} | {register} | {clock:.2f} | {computing:.2f} | {bare:.2f} "
                    f"| {ratio:.1f} |\n"
                )


if __name__ == "__main__":
    main()
