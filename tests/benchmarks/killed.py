"""Kill loads and plans at random moments, and see each time that nothing is lost or left half done.

    python tests/benchmarks/killed.py [--kills 200] [--seed 1] [--rows 2000] [--target URL]

Each time a process of its own loads a file, or draws and stores a plan, into a register that grows
for twenty times, and is ended by SIGKILL after a random part of the time that it needs. After that
the register must open, pass the checks of its file and of the chain over its log, and hold all of
the work or none of it. Ends with exit code 1 at the first that does not. By default registers are
SQLite files; --target names an empty PostgreSQL database, which keeps growing.

A killed process is not a machine without power: what the disk has not kept then is up to the
operating system, which is asked to keep each commit (synchronous=FULL).
"""

import argparse
import os
import random
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from ndtstats.intake import load
from ndtstats.planning import draw_plan
from ndtstats.register import Register, verify
from ndtstats.rules import load_rules

NOW = datetime(2026, 6, 1, tzinfo=UTC)
JOB = "H1"


#: Kills for each register: one that has grown needs longer than was measured at its beginning.
_EACH = 20


class State(NamedTuple):
    """How much a register holds."""

    batches: int
    joints: int
    spots: int


def joints_csv(path: Path, number: int, rows: int) -> Path:
    """Write a file of new joints, with names that no file before has."""
    names = [f"{number}-{row}" for row in range(rows)]
    frame = pd.DataFrame(
        {
            "job": JOB, "zone": "Z1", "joint": names, "category": "SHELL-BUTT",
            "joint_type": "butt", "length_mm": np.arange(rows) % 900 + 300,
        }
    )  # fmt: skip
    frame.to_csv(path, index=False)
    return path


def start(target: str, folder: Path, joints: int) -> None:
    """Make a register with a job, a zone and some joints to plan on."""
    register = Register.open(target, create=True)
    (folder / "jobs.csv").write_text(f"job\n{JOB}\n")
    (folder / "zones.csv").write_text(f"job,zone\n{JOB},Z1\n")
    for table in ("jobs", "zones"):
        load(register, table, folder / f"{table}.csv", now=NOW)
    load(register, "joints", joints_csv(folder / "joints.csv", 0, joints), now=NOW)
    register.close()


def state(target: str) -> State:
    """Return what the register holds.

    Raises
    ------
    AssertionError
        If it does not pass its checks.
    """
    register = Register.open(target)
    found = verify(register)
    assert found.holds, found
    held = State(
        len(register.batches()), len(register.table("joints")), len(register.table("spots"))
    )
    register.close()
    return held


def loading(target: str, path: Path) -> None:
    """Load a file of joints, as the command line does."""
    register = Register.open(target)
    assert not load(register, "joints", path, now=NOW).errors
    register.close()


def planning(target: str, seed: int) -> None:
    """Draw a plan for the joints that have none, and store it."""
    register = Register.open(target)
    draw_plan(register, job=JOB, rules=load_rules("aluminium-hull"), seed=seed, now=NOW)
    register.close()


def child(work: Callable[[], None]) -> int:
    """Start work in a process of its own and return its id."""
    pid = os.fork()
    if pid == 0:
        try:
            work()
            os._exit(0)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(1)
    return pid


def killed_after(work: Callable[[], None], seconds: float) -> bool:
    """Run work in a process and kill it after some time; return whether it was done before."""
    pid = child(work)
    time.sleep(seconds)
    os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    if os.WIFEXITED(status):
        assert os.WEXITSTATUS(status) == 0, "the work failed by itself"
        return True
    return False


def needed(work: Callable[[], None]) -> float:
    """Return how long work takes in a process of its own."""
    started = time.perf_counter()
    _, status = os.waitpid(child(work), 0)
    assert status == 0, "the work failed by itself"
    return time.perf_counter() - started


def run(target: str, folder: Path, kills: int, rows: int, seed: int) -> dict[str, int]:
    """Kill loads and plans in turn and return how many were kept whole, and how many left nothing.

    Raises
    ------
    AssertionError
        At the first register that holds a part, or does not pass its checks.
    """
    chance = random.Random(seed)  # noqa: S311  (moments, no secrets)
    start(target, folder, rows)
    told = {"whole": 0, "nothing": 0, "planned": 0}
    works = {"load": loading_of(target, folder, rows), "plan": planning_of(target, folder, rows)}
    times = {name: needed(make(0)) for name, make in works.items()}
    before = state(target)
    for number in range(1, kills + 1):
        name = "plan" if number % 4 == 0 else "load"
        work = works[name](number)
        if name == "plan":
            before = state(target)
        # Much of what may go wrong lies about the commit, and that lies at the end.
        earliest = 0.1 if number % 3 else 0.9
        done = killed_after(work, chance.uniform(earliest, 1.1) * times[name])
        after = state(target)
        whole = kept(before, after, done=done, rows=rows if name == "load" else 0)
        before = after
        told["whole" if whole else "nothing"] += 1
        told["planned"] += whole and name == "plan"
    return told


def loading_of(target: str, folder: Path, rows: int) -> Callable[[int], Callable[[], None]]:
    """Return what makes ready a load of new joints and gives it."""

    def ready(number: int) -> Callable[[], None]:
        path = joints_csv(folder / "more.csv", 2 * number + 1, rows)
        return lambda: loading(target, path)

    return ready


def planning_of(target: str, folder: Path, rows: int) -> Callable[[int], Callable[[], None]]:
    """Return what makes ready a plan, with joints that have none yet, and gives it."""

    def ready(number: int) -> Callable[[], None]:
        loading(target, joints_csv(folder / "more.csv", 2 * number + 2, rows))
        return lambda: planning(target, number)

    return ready


def kept(before: State, after: State, *, done: bool, rows: int) -> bool:
    """Return whether the register holds all of a work, which is a plan if it brings no joints.

    Raises
    ------
    AssertionError
        If it holds a part, or lost work that had ended.
    """
    came = after.batches - before.batches
    assert came in {0, 1}, (before, after)
    assert came or not done, "work that had ended was lost"
    assert after.joints - before.joints == came * rows, (before, after)
    assert (after.spots > before.spots) == bool(came and not rows), (before, after)
    return bool(came)


def main() -> None:
    """Kill as often as asked and tell what was left."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--rows", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--target")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        each = chosen.kills if chosen.target else _EACH
        told: Counter[str] = Counter()
        try:
            for done in range(0, chosen.kills, each):
                target = chosen.target or str(folder / f"register-{done}.sqlite")
                kills = min(each, chosen.kills - done)
                told.update(run(target, folder, kills, chosen.rows, chosen.seed + done))
        except AssertionError as error:
            sys.exit(f"lost or left half done: {error}")
    print(  # noqa: T201
        f"{chosen.kills} killed: {told['whole']} were kept whole ({told['planned']} plans), "
        f"{told['nothing']} left nothing; none was half done."
    )


if __name__ == "__main__":
    main()
