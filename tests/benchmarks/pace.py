"""Print what share of each verb's time is spent when, as the table of ``ndtstats/cli/pace.py``.

    python tests/benchmarks/pace.py [--examinations 100000] [--only owed "plan value" ...]

Each verb runs once on one invented register, after a run on a small one that loads what has to be
loaded. A mark is what the register tells for the first time when a tenth of the time or more
went since the mark before, and is still to go. Processor time; the lines are meant to be pasted.
"""

import argparse
import contextlib
import io
import shlex
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pandas as pd
from make_large import JOB
from report import NOW
from scale import filled

from ndtstats.cli.root import run
from ndtstats.escalation import lives, owed, severity
from ndtstats.register import Register
from ndtstats.rules import adopt, load_rules

WARM = 10_000

#: A share of the time that is worth a mark.
WORTH = 0.1

#: By verb, and by its way to work: what is typed. The plan comes first, for others ask for it.
TYPED = {
    "plan draw": "plan draw --seed 1",
    "owed": "owed",
    "repairs": "repairs",
    "severity": "severity",
    "severity lots": "severity --show lots",
    "extent": "extent",
    "release": "release",
    "warnings": "warnings",
    "walk": "walk --zone 'BLOCK 07'",
    "tightness": "tightness",
    "welders": "welders",
    "beads": "beads",
    "rates spots": "rates",
    "rates joints": "rates --measure joints",
    "rates length": "rates --measure length",
    "rates per-metre": "rates --measure per-metre",
    "compare": "compare --method RT",
    "trend": "trend --method RT",
    "hidden": "hidden --method RT",
    "plan show": "plan show P1",
    "plan why": "plan why SPOT",
    "plan value": "plan value",
    "plan repeat": "plan repeat P1",
    "plan shifts": "plan shifts P1 --exposures 8",
    "plan shortfall": "plan shortfall P1 --exposures 8 --per-day 1 --from 2026-06-01",
    "plan strip": "plan strip --zone 'BLOCK 07'",
    "request write": "request write P1 asked.xlsx",
    "request reconcile": "request reconcile P1",
    "report qa": "report qa --out pages",
    "report management": "report management --out pages",
    "report contractor": "report contractor --out pages",
    "report welder": "report welder --welder W01 --out pages",
    "report all": "report all --out pages",
    "plan extra": "plan extra",
    "waive": "waive ITEM --by NAME --reason why",
    "review": "review STAMP --by NAME --reason why",
    "overturn": "overturn REJECT --by NAME --reason why",
}

#: What stands for a name that only a register knows.
NAMED: dict[str, Callable[[Register], str]] = {
    "SPOT": lambda register: register.table("spots")["spot"].iloc[0],
    "ITEM": lambda register: owed(register)["handle"].iloc[0],
    "STAMP": lambda register: changed(register).iloc[0],
    "REJECT": lambda register: lives(register)["reject"].iloc[0],
}


class Told:
    """What a register told for the first time, and after how many seconds of processor time."""

    def __init__(self) -> None:
        self.began = time.process_time()
        self.at: dict[str, float] = {}

    def __call__(self, what: str, done: int, total: int) -> None:
        """Take note of what is whole."""
        if done == total:
            self.at.setdefault(what, time.process_time() - self.began)

    def marks(self, whole: float) -> dict[str, float]:
        """Return the share of the whole time at each mark."""
        found, last = {}, 0.0
        for what, at in self.at.items():
            if last + WORTH <= at / whole <= 1 - WORTH:
                found[what] = last = at / whole
        return found


def changed(register: Register) -> "pd.Series[str]":
    """Return the welders whose examination is tightened or stopped."""
    standing = severity(register, job=JOB).standing
    return standing.loc[standing["severity"] != "normal", "welder"]


def made(path: Path, examinations: int) -> None:
    """Make a register of a job under rules, in a folder of its own."""
    path.parent.mkdir()
    register = filled(path, examinations)
    adopt(register, JOB, load_rules("aluminium-hull"), agreed_by=None, by=None, now=NOW)
    register.close()


def typed(command: str, path: Path) -> list[str]:
    """Return the words of a command line, with the names of a register in their place."""
    register = Register.open(path)
    words = [NAMED[word](register) if word in NAMED else word for word in shlex.split(command)]
    register.close()
    return [*words, "--register", str(path)]


def heard(command: str, path: Path) -> tuple[Told, float]:
    """Run a command line on a register; return what was told, and the seconds since it opened."""
    told: list[Told] = []
    words = typed(command, path)
    whole = Register.open

    def opened(target: Path, *, create: bool = False, progress: object = None) -> Register:
        told.append(Told())
        return whole(target, create=create, progress=told[-1])

    Register.open = opened  # type: ignore[method-assign]
    try:
        with (
            contextlib.redirect_stdout(io.StringIO()),
            contextlib.redirect_stderr(io.StringIO()),
            contextlib.chdir(path.parent),
        ):
            code = run(words)
    finally:
        Register.open = whole  # type: ignore[method-assign]
    assert code in {0, 1}, command
    return told[0], time.process_time() - told[0].began


def main() -> None:
    """Print a line for each verb."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--examinations", type=int, default=100_000)
    parser.add_argument("--only", nargs="+", default=list(TYPED))
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        small, large = Path(folder) / "small" / "it.sqlite", Path(folder) / "large" / "it.sqlite"
        for path, size in ((small, WARM), (large, given.examinations)):
            made(path, size)
        for verb in dict.fromkeys(["plan draw", *given.only]):
            heard(TYPED[verb], small)
            told, spent = heard(TYPED[verb], large)
            marks = ", ".join(f'"{what}": {at:.2f}' for what, at in told.marks(spent).items())
            print(f'    "{verb}": {{{marks}}},  # {spent:.1f} s', flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
