"""Time the same work at three sizes against the bare tool in the same run, and print the growth.

    python tests/benchmarks/scale.py [--sizes 10000 100000 1000000] [--only rates plan ...]

Processor time, the best of several runs. A ratio is that of the largest size to its bare work; a
growth of 10 from size to size is as it should be. Nothing here fails by time. Loading and pages
have benchmarks of their own.
"""

import argparse
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from escalation import invented as invented_lots
from make_large import make_tables
from planning import SHARE, SPOT_MM, bare_draw
from planning import invented as invented_yard
from scipy import special

from ndtstats.columns import IMPERFECTION_COLUMNS
from ndtstats.escalation import decide
from ndtstats.planning import cut_frame
from ndtstats.planning.draw import draw_pivotal, inclusion_probabilities
from ndtstats.rates import rates, set_aside
from ndtstats.rates.base import NEEDED
from ndtstats.register import Register
from ndtstats.rules.procedures import PRESETS
from ndtstats.statistics import proportion_interval, union_length

NOW = datetime(2026, 6, 1, tzinfo=UTC)
WELDERS = 1_000

#: What nobody can do without who asks how often each welder was rejected.
BY_WELDER = """
    SELECT welder, count(*), sum(verdict = 'reject')
    FROM examinations JOIN deposits USING (job, joint)
    WHERE examinations.superseded IS NULL AND deposits.superseded IS NULL
        AND method = 'RT' AND round = 0 AND verdict IN ('accept', 'reject')
    GROUP BY welder
"""


class Timed(NamedTuple):
    """Seconds of some work of ours, and of the bare tool beside it."""

    what: str
    against: str
    ours: float
    bare: float


def best(work: Callable[[], Any], runs: int = 3) -> float:
    """Return the least processor time of several runs, in seconds."""
    times = []
    for _ in range(runs):
        started = time.process_time()
        work()
        times.append(time.process_time() - started)
    return min(times)


def filled(path: Path, examinations: int) -> Register:
    """Return a register of so many examinations on a tenth as many joints."""
    register = Register.open(path, create=True)
    with register.batch(kind="load", subject="all", now=NOW) as batch:
        for name, frame in make_tables(examinations // 10, examinations, seed=1).items():
            if name != "examinations":
                batch.merge(name, frame)
                continue
            looked = frame.assign(round=frame["round"].fillna(0))
            shown = [column for column in looked if column in IMPERFECTION_COLUMNS]
            found = looked.loc[looked["imperfection"].notna(), shown]
            batch.merge(name, looked, found.assign(examination=found.index))
    return register


def of_register(size: int, folder: Path) -> Iterator[Timed]:
    """Read back and ask for rates, against a bare aggregate in SQL."""
    path = folder / f"{size}.sqlite"
    register = filled(path, size)
    bare = sqlite3.connect(path)
    aggregate = best(lambda: bare.execute(BY_WELDER).fetchall())
    works: dict[str, Callable[[], Any]] = {
        "read back for statistics": lambda: register.table("examinations", columns=NEEDED),
        "rates by welder": lambda: rates(register, method="RT"),
        "rates by month": lambda: rates(register, by=["month"], method="RT"),
        "rates by welder, of length": lambda: rates(register, method="RT", measure="length"),
        "what is counted apart": lambda: set_aside(register, method="RT"),
    }
    for what, work in works.items():
        yield Timed(what, "SQL, by welder", best(work, 2), aggregate)
    bare.close()
    register.close()
    path.unlink()


def of_escalation(size: int, _: Path) -> Iterator[Timed]:
    """Decide what each reject asks for, against a groupby of the lots."""
    films, population = invented_lots(size, WELDERS)
    bare = best(lambda: films.groupby("lot")["rejected"].agg(["size", "sum"]))
    decided = best(lambda: decide(films, population, PRESETS["progressive-piping"]), 1)
    yield Timed("escalation, progressive", "groupby of the lots", decided, bare)


def of_plan(size: int, folder: Path) -> Iterator[Timed]:
    """Cut a frame, draw from it and keep what was drawn, against numpy and an insert."""
    joints = invented_yard(round(size / 9.5)).joints
    length = joints["length_mm"].to_numpy()
    chosen = pd.DataFrame()

    def drawn() -> None:
        nonlocal chosen
        cells = cut_frame(joints, spot_length_mm=SPOT_MM)
        size_mm = (cells["to_mm"] - cells["from_mm"]).to_numpy()
        stratum = np.zeros(len(cells), dtype=np.int64)
        pi = inclusion_probabilities(size_mm, stratum, [int(SHARE * len(cells))])
        chosen = cells[draw_pivotal(pi, stratum, np.random.default_rng(1))]

    ours, bare = best(drawn), best(lambda: bare_draw(length))
    yield Timed("frame and draw", "cut, sum, draw in numpy", ours, bare)
    spots = chosen.assign(
        spot=np.char.mod("P1-%07d", np.arange(len(chosen))), plan="P1", job="H1", method="RT",
        part="random", round=0,
    )  # fmt: skip
    columns = ["spot", "plan", "job", "joint", "method", "from_mm", "to_mm", "part", "round"]
    rows = list(spots[columns].itertuples(index=False, name=None))
    yield Timed("keep what was drawn", "bare insert", kept(folder, spots), inserted(folder, rows))


def kept(folder: Path, spots: pd.DataFrame) -> float:
    """Return how long a register takes to keep spots."""
    path = folder / "spots.sqlite"
    register = Register.open(path, create=True)

    def keep() -> None:
        with register.batch(kind="plan", subject="spots", now=NOW, rehearse=True) as batch:
            batch.insert("spots", spots)

    seconds = best(keep)
    register.close()
    path.unlink()
    return seconds


def inserted(folder: Path, rows: list[tuple[Any, ...]]) -> float:
    """Return how long a bare insert of the same rows takes."""
    connection = sqlite3.connect(folder / "bare.sqlite")
    connection.execute(f"CREATE TABLE spots ({', '.join(f'c{n}' for n in range(len(rows[0])))})")

    def insert() -> None:
        marks = ", ".join("?" * len(rows[0]))
        connection.executemany(f"INSERT INTO spots VALUES ({marks})", rows)  # noqa: S608
        connection.rollback()

    seconds = best(insert)
    connection.close()
    (folder / "bare.sqlite").unlink()
    return seconds


def of_intervals(size: int, _: Path) -> Iterator[Timed]:
    """Give exact intervals, against both bounds by the bare special function."""
    rng = np.random.default_rng(1)
    for what, most in (
        ("intervals, few pairs distinct", 200),
        ("intervals, many pairs distinct", 20_000),
    ):
        n = rng.integers(1, most, size)
        k = rng.binomial(n, 0.05)

        def both(k: Any = k, n: Any = n) -> None:
            special.betaincinv(np.maximum(k, 1), n - k + 1, 0.025)
            special.betaincinv(k + 1, np.maximum(n - k, 1), 0.975)

        ours = best(lambda k=k, n=n: proportion_interval(k, n), 2)
        yield Timed(what, "both bounds, bare", ours, best(both, 2))


def of_union(size: int, _: Path) -> Iterator[Timed]:
    """Unite intervals, against a sort of packed keys."""
    rng = np.random.default_rng(1)
    group, start = rng.integers(0, size // 10, size), rng.integers(0, 5000, size)
    end = start + 300
    packed = group * 8192 + start
    ours = best(lambda: union_length(group, start, end), 9)
    yield Timed("union of intervals", "sort of packed keys", ours, best(lambda: np.sort(packed), 9))


WORKS: dict[str, Callable[[int, Path], Iterator[Timed]]] = {
    "rates": of_register,
    "escalation": of_escalation,
    "plan": of_plan,
    "intervals": of_intervals,
    "union": of_union,
}


#: What a question to a register cannot do without.
_LIBRARIES = "import pandas, sqlalchemy, scipy.special"


def commands(folder: Path) -> None:
    """Print how long the help and small commands take, beside what they must import."""
    register = str(folder / "small.sqlite")
    asked = {
        "python -c 'import click'": ["-c", "import click"],
        f"python -c '{_LIBRARIES}'": ["-c", _LIBRARIES],
        "ndtstats --help": ["-m", "ndtstats", "--help"],
        "ndtstats init": ["-m", "ndtstats", "init", "--register", register],
        "ndtstats rates, empty register": ["-m", "ndtstats", "rates", "--register", register],
    }
    for what, arguments in asked.items():
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        say(f"| {what} | {used:.2f} s |")


def say(text: str) -> None:
    """Print a line at once."""
    print(text, flush=True)  # noqa: T201


def table(timed: list[list[Timed]]) -> Iterator[str]:
    """Yield a line for each work: seconds by size, growth, and the ratio to the bare work."""
    for of_sizes in zip(*timed, strict=True):
        seconds = [f"{one.ours:.3f}" for one in of_sizes]
        growth = [f"{after.ours / before.ours:.1f}" for before, after in pairwise(of_sizes)]
        ratios = [f"{one.ours / one.bare:.1f}" for one in of_sizes]
        last = of_sizes[-1]
        cells = [last.what, *seconds, *growth, f"{last.against}, {last.bare:.3f} s", *ratios]
        yield f"| {' | '.join(cells)} |"


def main() -> None:
    """Run all of it and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--sizes", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--only", choices=WORKS, nargs="+", default=list(WORKS))
    given = parser.parse_args()
    sizes = [f"{size:,}" for size in given.sizes]
    growths = [f"growth to {size}" for size in sizes[1:]]
    head = ["work, s", *sizes, *growths, "bare", *(f"ratio at {size}" for size in sizes)]
    with tempfile.TemporaryDirectory() as folder:
        commands(Path(folder))
        say(f"\n| {' | '.join(head)} |\n|{'---|' * len(head)}")
        for name in given.only:
            for line in table([list(WORKS[name](n, Path(folder))) for n in given.sizes]):
                say(line)


if __name__ == "__main__":
    main()
