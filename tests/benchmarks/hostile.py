"""Type what nobody should, and ask registers that were damaged: each answer must be a sentence.

    python tests/benchmarks/hostile.py [--seconds 300] [--seed 1]

The register of the demo is asked by every verb with options of any kind, half of them such as have
broken programs before; then copies of it are damaged (bytes, pages, words, its length) and asked in
the usual way. Anything that comes through as an exception is told with what was typed, and ends the
run with exit code 1, and so does an answer that takes more than a minute.
"""

import argparse
import contextlib
import io
import os
import random
import sqlite3
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import click

from ndtstats.cli.root import root, run
from ndtstats.demo import demo

#: Seconds that an answer may take: pages of the whole yard are among them.
LONGEST_S = 60.0

#: What has broken programs: numbers beyond counting or none, days that are none, paths, marks.
STRANGE = (
    "nan", "inf", "-1", "0", "1e308", "9" * 23, "../..", "=1+1", "\u0663", "", "0000-00-00",
    "0001-01-01", "9999-12-31T23:59", "x" * 5000, "\udcff", "'; DROP TABLE joints;--", "%s%n",
)  # fmt: skip

#: Verbs that make a register, and the one that draws thousands of yards.
LEFT_OUT = ("demo", "init", "upgrade", "plan simulate", "report all")

#: What is asked of a damaged register.
ASKED = (
    "history", "owed", "rates", "verify", "plan list", "release --job WB-41", "extent --job WB-41",
    "warnings", "hidden --job WB-41", "request reconcile P1", "trend", "compare", "welders",
    "severity --job WB-41", "repairs", "decisions", "plan why P1-0001", "plan repeat P1",
    "report qa --job WB-41 --out pages", "load joints none.csv", "plan draw --job PL-7 --seed 3",
)  # fmt: skip


def verbs(
    command: click.Command, path: tuple[str, ...] = ()
) -> Iterator[tuple[str, click.Command]]:
    """Yield every verb as it is typed, with what it takes."""
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            found = command.get_command(context, name)
            assert found is not None
            yield from verbs(found, (*path, name))
    elif " ".join(path) not in LEFT_OUT and path[0] not in LEFT_OUT:
        yield " ".join(path), command


def usual(register: Path) -> dict[str, list[str]]:
    """Return values that mean something, by the name of what takes them."""
    with contextlib.closing(sqlite3.connect(register)) as connection:
        known = {
            name: [row[0] for row in connection.execute(f"SELECT {name} FROM {table} LIMIT 40")]  # noqa: S608
            for name, table in (
                ("job", "jobs"), ("zone", "zones"), ("joint", "joints"), ("welder", "welders"),
                ("plan", "plans"), ("spot", "spots"),
            )
        }  # fmt: skip
    files = [str(path) for path in register.parent.iterdir() if path.suffix != ".sqlite"]
    return known | {
        "method": ["RT", "UT", "VT"], "by": ["welder", "zone", "month"], "level": ["0.9"],
        "as_of": ["2026-08-01"], "rules": ["aluminium-hull"], "rate": ["0.05"], "file": files,
        "examined": ["50"], "allowed": ["0"], "lot": ["100"], "out": ["pages"], "seed": ["7"],
    }  # fmt: skip


def value(parameter: click.Parameter, known: dict[str, list[str]], chance: random.Random) -> str:
    """Return something to type for a parameter."""
    if isinstance(parameter.type, click.Choice) and chance.random() < 0.9:
        return str(chance.choice(list(parameter.type.choices)))
    meant = next((found for name, found in known.items() if name in str(parameter.name)), None)
    return chance.choice(meant if meant and chance.random() < 0.75 else STRANGE)


def typed(known: dict[str, list[str]], chance: random.Random) -> list[str]:
    """Return a command line."""
    name, command = chance.choice(list(verbs(root)))
    line = name.split()
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            if parameter.name in {"register", "help"}:
                continue
            if parameter.required or chance.random() < 0.25:
                line.append(parameter.opts[0])
                line += [] if parameter.is_flag else [value(parameter, known, chance)]
        elif parameter.required or chance.random() < 0.5:
            line.append(value(parameter, known, chance))
    return line


def damaged(sound: bytes, chance: random.Random) -> bytes:
    """Return a register of which something is not as it was written."""
    content = bytearray(sound)
    at = chance.randrange(len(content))
    match chance.randrange(5):
        case 0:
            for _ in range(chance.randint(1, 200)):
                content[chance.randrange(len(content))] = chance.randrange(256)
        case 1:
            del content[at:]
        case 2:
            content[at : at + 4096 * chance.randint(1, 8)] = bytes(4096)
        case 3:
            for _ in range(chance.randint(1, 5)):
                content[chance.randrange(100)] = chance.randrange(256)
        case _:
            for _ in range(chance.randint(1, 40)):
                word = chance.choice((b"accept", b"reject", b"2026-", b"RT", b"WB-41", b"PL-7"))
                found = sound.find(word, chance.randrange(len(content)))
                if found > 0:
                    content[found : found + 3] = chance.randbytes(3)
    return bytes(content)


@contextlib.contextmanager
def silence() -> Iterator[None]:
    """Print nothing."""
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        yield


def answered(line: list[str]) -> str:
    """Return what came of a command line: its exit code, or what went wrong."""
    started = time.monotonic()
    try:
        with silence():
            outcome = f"exit code {run(line)}"
    except Exception:
        outcome = traceback.format_exc()
    spent = time.monotonic() - started
    return outcome if spent < LONGEST_S else f"took {spent:.0f} s"


def tried(register: Path, seconds: float, chance: random.Random) -> Counter[str]:
    """Type and damage by turns as long as asked, and count what came of it."""
    sound, known = register.read_bytes(), usual(register)
    told: Counter[str] = Counter()
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        for kind, content, lines in (
            ("typed", sound, [typed(known, chance) for _ in range(10)]),
            ("damaged", damaged(sound, chance), [one.split() for one in chance.sample(ASKED, 5)]),
        ):
            put(register, content)
            for line in lines:
                outcome = answered(line)
                told[f"{kind}, {outcome}"] += 1
                if not outcome.startswith("exit code"):
                    print([word[:60] for word in line], outcome[-800:], sep="\n")  # noqa: T201
    return told


def put(register: Path, content: bytes) -> None:
    """Write a register, without what SQLite keeps beside one."""
    for beside in register.parent.glob(f"{register.name}-*"):
        beside.unlink()
    register.write_bytes(content)


def main() -> None:
    """Try as long as asked and tell what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        yard = Path(name) / "yard"
        with silence():
            demo(yard)
        os.chdir(yard)
        told = tried(yard / "ndtstats.sqlite", chosen.seconds, random.Random(chosen.seed))  # noqa: S311
        os.chdir("/")
    for outcome, number in sorted(told.items()):
        print(f"{number:>8,}  {outcome.splitlines()[0]}")  # noqa: T201
    sys.exit(0 if all(", exit code" in outcome for outcome in told) else 1)


if __name__ == "__main__":
    main()
