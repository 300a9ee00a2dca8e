"""Give every reader of files mutated input, and see that each answer is a sentence or findings.

    python tests/benchmarks/fuzz.py [--inputs 100000] [--seed 1]

A sound file is cut, doubled, exchanged in parts and sprinkled with what has broken readers before.
An answer must come within ten seconds of computing and be rows with findings, or one of the
package's own errors; anything else is written to a file beside, told, and ends the run with exit
code 1. Of a hundred inputs 54 are text files of the tables, 10 of trials and readings, 20 rules
files, 15 mapping files, and one is a workbook, for each of those needs a process.
"""

import argparse
import io
import os
import random
import sys
import tempfile
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from ndtstats.columns import TABLES
from ndtstats.errors import NdtstatsError
from ndtstats.intake.body import make_body
from ndtstats.intake.draft import tell_bounds
from ndtstats.intake.examinations import gather
from ndtstats.intake.mapping import Mapping, read_mapping
from ndtstats.intake.sheets import choose_sheet
from ndtstats.intake.small import FLAWS, READINGS, read_small
from ndtstats.rules import list_presets, load_rules
from ndtstats.rules.reader import preset_text

#: Seconds of computing that one input may take.
LONGEST_S = 10.0

ROWS = (
    b"job,joint,method,from_mm,to_mm,round,verdict,date,report,imperfection,imp_from_mm\r\n"
    b'H1,B-1,RT,0,"1.250,5",0,accept,2026-03-10,R-1,,\r\n'
    b'H1,B-2,UT,"12,5",300,R1,reject,10/03/2026,"R 2; a",2013,120\r\n'
    b"H1,F-1,PT,,,,re-shoot,46091,R-3,401;2011,1e3\r\n"
    b"Total,,,,,,3,,,,\r\n"
)
MAPPING = (
    b'dates = "dmy"\ndecimal = ","\nheader_row = 2\n[columns]\n"Weld no" = "joint"\n'
    b'"Result" = "verdict"\n[values.verdict]\n"OK" = "accept"\n[units]\nfrom_mm = "cm"\n'
    b'[constants]\nmethod = "RT"\n'
)

SMALL = (
    b"image,reader,verdict\r\n1,A,accept\r\n1,B,reject\r\n2,A,re-shoot\r\n",
    b'size_mm;found\r\n"0,5";yes\r\n1,5;no\r\n3;1\r\n',
)
RULES = [preset_text(name).encode() for name in list_presets()]

#: What has broken readers: separators, marks, numbers without end, halves of characters, formulas.
SPICE = [
    *(bytes([code]) for code in b"\x00\"',;\t\r\n\x1f[]=(){}#<>\x85\x0c"),
    b"\xff\xfe", b"\xef\xbb\xbf", b'""', b"\xed\xa0\x80", b"\xe2\x80\xae", b"\xc2\xa0", b"&#0;",
    b"1e308", b"-0", b"NaN", b"inf", b"9" * 400, b"9" * 5000, b"0000-00-00", b"9999-12-31", b"=1+1",
    b"../..", b"," * 2000, b"x" * 5000, b"[" * 3000, b"{a=" * 3000, b"\\u0000", b"\xf0\x9f\x94\xa5",
    b"\xd9\xa3",
]  # fmt: skip


def mutated(sound: bytes, chance: random.Random) -> bytes:
    """Return a sound file with one to three things done to it."""
    content = bytearray(sound)
    for _ in range(chance.randint(1, 3)):
        at, other = chance.randrange(len(content) + 1), chance.randrange(len(content) + 1)
        first, last = min(at, other), min(max(at, other), min(at, other) + 60)
        match chance.randrange(6):
            case 0:
                content[at:at] = chance.choice(SPICE)
            case 1:
                del content[first:last]
            case 2:
                content[at:at] = content[first:last] * chance.randint(1, 20)
            case 3:
                content[first:last] = chance.choice(SPICE)
            case 4:
                content[at : at + 1] = bytes([chance.randrange(256)])
            case _:
                content[first:last] = chance.randbytes(last - first)
    return bytes(content)


def read_text(content: bytes, folder: Path, chance: random.Random) -> None:
    """Read, convert and check a text file as some table."""
    path = folder / "fuzz.csv"
    path.write_bytes(content)
    _draft(path, chance)


def read_workbook(content: bytes, folder: Path, chance: random.Random) -> None:
    """Read a workbook one of whose parts was mutated, or the whole of it."""
    path = folder / "fuzz.xlsx"
    path.write_bytes(content)
    _draft(path, chance)


def _draft(path: Path, chance: random.Random) -> None:
    table = TABLES[chance.choice(["examinations"] * 30 + list(TABLES))]
    sheet = choose_sheet(path, table, Mapping(), None)
    body = make_body(sheet.grid, sheet.header, table, Mapping())
    tell_bounds(body)
    gather(body)


def read_trial(content: bytes, folder: Path, chance: random.Random) -> None:
    """Read a trial of a method, or the readings of several people."""
    path = folder / "fuzz.csv"
    path.write_bytes(content)
    read_small(path, chance.choice([READINGS, FLAWS]))


def read_stated(content: bytes, folder: Path, _chance: random.Random) -> None:
    """Read a rules file."""
    path = folder / "fuzz.toml"
    path.write_bytes(content)
    load_rules(path)


def read_declared(content: bytes, folder: Path, _chance: random.Random) -> None:
    """Read a mapping file."""
    path = folder / "fuzz.toml"
    path.write_bytes(content)
    read_mapping(path, TABLES["examinations"])


def workbook() -> bytes:
    """Return the sound rows as a workbook."""
    kept = io.BytesIO()
    frame = pd.read_csv(io.BytesIO(ROWS), dtype="str")
    frame.to_excel(kept, sheet_name="examinations", index=False, engine="xlsxwriter")
    return kept.getvalue()


def mutated_workbook(sound: bytes, chance: random.Random) -> bytes:
    """Return a workbook whose packing is sound and one of whose parts is not, or the reverse."""
    if chance.random() < 0.3:
        return mutated(sound, chance)
    kept = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(sound)) as old, zipfile.ZipFile(kept, "w") as new:
        names = old.namelist()
        # The sheet and its texts are where most is read.
        spoiled = chance.choice([*names, *(name for name in names if "sheet1" in name)] * 2)
        for name in names:
            part = old.read(name)
            new.writestr(name, mutated(part, chance) if name == spoiled else part)
    return kept.getvalue()


def computed_s() -> float:
    """Return the processor time of this process and of those it waited for, in seconds."""
    return sum(os.times()[:4])


def tried(read: Callable[[], None]) -> tuple[str, float]:
    """Return what came of an input: "read", "refused" or what went wrong; and its seconds."""
    started = computed_s()
    try:
        read()
        told = "read"
    except NdtstatsError as error:
        told = "refused" if str(error).strip() else "refused without a word"
    except Exception:
        told = traceback.format_exc()
    spent = computed_s() - started
    return (told if spent < LONGEST_S else f"took {spent:.0f} s"), spent


def run(inputs: int, seed: int, folder: Path) -> tuple[Counter[str], dict[str, float]]:
    """Try so many inputs, count what came of them and keep the longest; stop at what went wrong."""
    chance = random.Random(seed)  # noqa: S311  (mutations, no secrets)
    book = workbook()
    told: Counter[str] = Counter()
    longest: dict[str, float] = {}
    for number in range(inputs):
        kind = number % 100
        if kind == 99:
            content, read, name = mutated_workbook(book, chance), read_workbook, "workbook"
        elif kind >= 84:
            content, read, name = mutated(MAPPING, chance), read_declared, "mapping"
        elif kind >= 64:
            content, read, name = mutated(chance.choice(RULES), chance), read_stated, "rules"
        elif kind >= 54:
            content, read, name = mutated(chance.choice(SMALL), chance), read_trial, "small"
        else:
            content, read, name = mutated(ROWS, chance), read_text, "text"
        outcome, spent = tried(lambda c=content, r=read: r(c, folder, chance))  # type: ignore[misc]
        longest[name] = max(spent, longest.get(name, 0.0))
        told[f"{name} {outcome}"] += 1
        if outcome not in {"read", "refused"}:
            Path(f"fuzz-{seed}-{number}").write_bytes(content)
            break
        if (number + 1) % 10_000 == 0:
            print(f"{number + 1:>8,}  tried", file=sys.stderr)  # noqa: T201
    return told, longest


def main() -> None:
    """Try as many as asked and tell what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        told, longest = run(chosen.inputs, chosen.seed, Path(name))
    for outcome, number in sorted(told.items()):
        print(f"{number:>8,}  {outcome}")  # noqa: T201
    for kind, seconds in sorted(longest.items()):
        print(f"{seconds:>8.2f}  s for the longest {kind}")  # noqa: T201
    fine = all(outcome.endswith((" read", " refused")) for outcome in told)
    sys.exit(0 if fine and sum(told.values()) == chosen.inputs else 1)


if __name__ == "__main__":
    main()
