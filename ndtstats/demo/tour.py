"""The tour: the whole job on the invented yard, every verb once, in the order of the work."""

import shlex
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ndtstats.demo.answer import correct_answer, fill_request, fill_walk
from ndtstats.demo.book import write_book
from ndtstats.demo.build import HULL, PIPING
from ndtstats.demo.files import (
    BOOK,
    CONTRACTOR,
    MAPPING,
    MENDED,
    READINGS,
    SPOILED,
    write_files,
)
from ndtstats.demo.folder import keep_list, prepare
from ndtstats.demo.guide import Guide, inside
from ndtstats.demo.people import DRIFTING, LAST_DAY, LATE
from ndtstats.demo.scenario import DEFAULT_SEED, Yard, known_on, make_yard
from ndtstats.errors import CannotGoOn
from ndtstats.register import Register
from ndtstats.release import warnings_of

#: Where the register of the demo is: what every command takes if no other is named.
REGISTER = "ndtstats.sqlite"

#: Folder of the reports within the demo's.
REPORTS = "reports"

#: The days of the story: the register is set up and the first plan drawn; then each month the
#: yard's records are loaded and what was welded since is asked for; the last answers come in; what
#: is owed is examined, and once more; the pages are written.
_START = pd.Timestamp("2026-05-25")
_MONTHLY = tuple(pd.Timestamp(day) for day in ("2026-06-29", "2026-08-03", "2026-09-14"))
_OWED, _AGAIN, _END = (
    pd.Timestamp(day) for day in ("2026-09-29", "2026-10-14", "2026-10-30")
)  # fmt: skip

#: From a request to the day on which its answer is loaded.
_ANSWERED = pd.Timedelta(weeks=2)

#: How the contractor works, and from which day on.
_SHIFTS = "--exposures 8 --per-day 1 --from 2026-05-25"

#: A zone of the hull that is closed early, and one with welds that nobody has looked at.
_TANK = "FUEL TANK PS"
_UNSEEN = "ENGINE ROOM"

#: Who decides in the invented yard.
_LEAD = "Nora, QA lead (invented)"

HULL_RULES, PIPING_RULES = "hull.rules.toml", "piping.rules.toml"

#: Tables of the yard's spreadsheet, in the order in which one needs the other; no zone has been
#: tested when the register is set up.
_SHEETS = (
    "jobs", "zones", "joints", "welders", "qualifications", "confirmations", "deposits", "beads",
)  # fmt: skip

#: What has grown in it when all is welded; in the months between, the deposits will do.
_GROWN = ("confirmations", "deposits", "beads", "tests")

#: What the two contracts ask that the presets do not: what stood there, and what is put in.
_EDITS = {
    HULL_RULES: (
        ("length_m = 24.0 ", "length_m = 14.0 "),
        ('agreed_with = "" ', 'agreed_with = "the owner\'s surveyor (invented)" '),
    ),
    PIPING_RULES: (("percent = 5.0, least = 1", "percent = 10.0, least = 1"),),
}


@dataclass(frozen=True, slots=True)
class Tour:
    """What a tour has done: how many commands it ran, and the report to open."""

    commands: int
    report: Path


def demo(directory: Path, *, seed: int = DEFAULT_SEED, echo: Callable[[str], None] = print) -> Tour:
    """Run the whole job on the invented yard, in a folder of its own.

    Parameters
    ----------
    directory : Path
        Made if it is not there; an earlier demo in it is replaced.
    seed : int
        Seed of the yard and of its draws.
    echo : callable
        Takes each line that the tour itself prints.

    Raises
    ------
    UseError
        If the folder holds something that is not a demo's.
    CannotGoOn
        If the disk does not allow it, or a command ends otherwise than foreseen.
    """
    prepare(directory)
    before = [path for path in directory.rglob("*") if path.is_file()]
    guide = Guide(echo)
    yard = make_yard(seed)
    try:
        write_files(known_on(yard, _START), directory)
        echo("An invented yard: a work boat of aluminium and a run of stainless piping, nine")
        echo("welders, eight months. Names and figures are invented for demonstration.")
        echo(f"\n$ cd {shlex.quote(str(directory))}")
        with inside(directory):
            _register(guide)
            _rules(guide)
            _results(guide)
            _plans(guide, yard)
            _requests(guide, yard)
            _answers(guide)
            _seen(guide)
            _owed(guide, yard)
            _welders(guide)
            _release(guide, yard)
            report = _reports(guide)
    finally:
        keep_list(directory, before)
    return Tour(guide.commands, directory / report)


def _register(guide: Guide) -> None:
    guide.chapter("A register, and the yard's tables in it", _START)
    guide.run("init")
    guide.tell("An empty table to fill in, with drop-downs and a sheet that explains each column:")
    guide.run("template examinations results-template.xlsx")
    guide.tell("The yard keeps its register in one spreadsheet, a sheet for each table.")
    for table in _SHEETS:
        guide.run(f"load {table} {BOOK} --by lead")


def _rules(guide: Guide) -> None:
    guide.chapter("The rules of the two contracts")
    guide.run("rules list")
    guide.run("rules show process-piping")
    for preset, file, job in (
        ("aluminium-hull", HULL_RULES, HULL),
        ("process-piping", PIPING_RULES, PIPING),
    ):
        guide.run(f"rules copy {preset} {file}")
        for old, new in _EDITS[file]:
            _edit(Path(file), old, new)
            guide.tell(f"Edited in {file}: {old.strip()} is now {new.strip()}")
        guide.run(f"rules check {file}")
        guide.run(f"rules adopt {file} --job {job} --by lead")


def _edit(file: Path, old: str, new: str) -> None:
    """Change one value of a rules file, as a person would in an editor."""
    text = file.read_text(encoding="utf-8")
    if text.count(old) != 1:
        raise CannotGoOn(f'the demo broke off: "{old}" does not stand once in {file}')
    file.write_text(text.replace(old, new), encoding="utf-8")


def _results(guide: Guide) -> None:
    guide.chapter("Results from before there was a plan")
    guide.run(f"load examinations {BOOK} --sheet visual --by lead")
    guide.tell("The contractor has his own headings: they are not guessed, a mapping is suggested.")
    guide.run(f"load examinations {CONTRACTOR}", exits=(2,))
    guide.tell(f"{MAPPING} says what his headings and words mean.")
    guide.run(f"load examinations {CONTRACTOR} --mapping {MAPPING} --dry-run")
    guide.run(f"load examinations {CONTRACTOR} --mapping {MAPPING} --by lead")
    guide.tell("His next file has mistakes: all of them are told at once, and nothing is loaded.")
    guide.run(f"load examinations {SPOILED}", exits=(1,))
    guide.tell("Or the good rows are taken, and the others go back to him to be mended.")
    guide.run(f"load examinations {SPOILED} --take-good --by lead", exits=(1,))
    guide.run(f"load examinations {MENDED} --by lead")
    guide.tell("The same file again changes nothing.")
    guide.run(f"load examinations {MENDED} --by lead")
    guide.tell("Nobody knows why these places were chosen: the rates describe, and no more.")
    guide.run(f"rates --job {HULL} --by welder --method RT")


def _plans(guide: Guide, yard: Yard) -> None:
    guide.chapter("Before anything is spent: what the rules would catch, cost and leave")
    guide.run(f"plan simulate --job {HULL} --replicates 2000")
    guide.chapter("Where the next exposures go")
    guide.run(f"plan draw --job {HULL} --seed {yard.seed} --budget 6 --evidence-days 60 --by lead")
    guide.run(f"plan draw --job {PIPING} --seed {yard.seed} --by lead")
    guide.run("plan list")
    guide.run("plan show P2")
    guide.tell("Why here? Each spot prints its risk factor by factor; the contractor reads blind.")
    guide.run(f"plan why {_riskiest('P1')}")
    guide.tell("Why this many, and what if there were ten fewer, or twenty more?")
    guide.run(f"plan value --job {HULL} --further 20")
    guide.tell("Anybody can draw the plan again and must find the same places.")
    guide.run("plan repeat P1")
    guide.tell("Eight exposures a shift, nearest due date first; what no shift reaches is named.")
    guide.run(f"plan shifts P1 {_SHIFTS}")
    guide.run(f"plan shortfall P1 {_SHIFTS}", exits=(0, 1))


def _requests(guide: Guide, yard: Yard) -> None:
    guide.chapter("The request, and what comes back")
    guide.run("request write P1 request-hull.xlsx --shift 12")
    guide.run("request write P2 request-piping.csv")
    guide.tell(
        "Cautions stand on a sheet of it, or in a file beside it: radiation is for licensed people."
    )
    for name in ("request-hull.xlsx", "request-piping.csv"):
        _fill(guide, yard, name, "2", after=_START)
    guide.day(_START + _ANSWERED)
    guide.run("load examinations request-hull.filled.xlsx --by lead")
    guide.run("load examinations request-piping.filled.csv --by lead")
    guide.run("request reconcile P1", exits=(0, 1))
    guide.tell("He sends it again: somebody else took some of the images. Both versions are kept.")
    sent, mended = Path("request-hull.filled.xlsx"), Path("request-hull.corrected.xlsx")
    correct_answer(sent, mended, rows=3, technician="Technician Pia")
    guide.run(f"load examinations {mended} --by lead")
    for number, day in enumerate(_MONTHLY, start=2):
        _month(guide, yard, number, day)
    for plan in ("P1", "P2"):
        guide.run(f"request reconcile {plan}", exits=(0, 1))


def _month(guide: Guide, yard: Yard, number: int, day: pd.Timestamp) -> None:
    """Load what the yard has done since, and ask for it: reserves for what was out of reach too."""
    guide.chapter("A month on: what was welded since is asked for", day)
    guide.tell("The yard's spreadsheet has grown; what stands there already stays as it is.")
    write_book(known_on(yard, day), Path(BOOK))
    for table in _GROWN if day == _MONTHLY[-1] else ("deposits",):
        guide.run(f"load {table} {BOOK} --by lead")
    guide.run(f"load examinations {BOOK} --sheet visual --by lead")
    names = {"P1": f"request-hull-{number}.xlsx", "P2": f"request-piping-{number}.csv"}
    # Exit code 2: nothing of the plan is open.
    asked = [
        name
        for plan, name in names.items()
        if guide.run(f"request write {plan} {name}", exits=(0, 2)) == 0
    ]
    for name in asked:
        _fill(guide, yard, name, str(number + 1), after=day)
    guide.day(day + _ANSWERED)
    for name in asked:
        guide.run(f"load examinations {_filled(name)} --by lead")


def _riskiest(plan: str) -> str:
    """Return the spot of a plan that chance drew with the highest risk."""
    register = Register.open(REGISTER)
    spots = register.table("spots", columns=["plan", "spot", "part", "risk"])
    register.close()
    drawn = spots[(spots["plan"] == plan) & (spots["part"] == "random")]
    return str(drawn.sort_values("risk", kind="stable")["spot"].iloc[-1])


def _filled(name: str) -> Path:
    """Return the file in which a request comes back."""
    return Path(name).with_suffix(f".filled{Path(name).suffix}")


def _fill(
    guide: Guide,
    yard: Yard,
    name: str,
    series: str,
    *,
    after: pd.Timestamp,
    last_unreached: bool = False,
) -> None:
    """Have the contractor fill in a request."""
    asked, filled = Path(name), _filled(name)
    fill_request(
        asked, filled, yard, series=series, seed=yard.seed, after=after,
        last_unreached=last_unreached,
    )  # fmt: skip
    guide.tell(f"The contractor examines, fills in {asked} and sends it back as {filled}.")


def _answers(guide: Guide) -> None:
    guide.chapter("What it says")
    guide.run(f"extent --job {HULL}", exits=(0, 1))
    guide.run(f"extent --job {PIPING}", exits=(0, 1))
    guide.run(f"rates --job {HULL} --by welder --method RT")
    guide.tell(f"The generator knows that welder {DRIFTING} gets worse from month to month.")
    guide.run(f"rates --job {HULL} --by month --method RT --interval wilson")
    guide.run(f"rates --job {PIPING} --by welder --method RT --measure joints --sides upper")
    guide.tell("Fair to who was given the hard work? And is anything getting worse?")
    guide.run(f"compare --job {HULL} --method RT")
    guide.run(f"trend --job {HULL} --method RT")
    guide.tell("What is likely hidden in the metres nobody examined, and missed in the others:")
    guide.run(f"hidden --job {HULL} --method RT --detection 0.8")
    guide.tell("Some images were read again by somebody who did not know the first verdict:")
    guide.run(f"readers {READINGS}")
    guide.tell("For machines, at full precision:")
    guide.run(f"rates --job {PIPING} --by process --method RT --measure per-metre --format json")


def _seen(guide: Guide) -> None:
    guide.chapter("Seen by eye")
    guide.run(f"beads --job {HULL}", exits=(0, 1))
    guide.tell("A list to walk with, to print or to fill in; what is filled in loads back.")
    name = "walk-engine-room.xlsx"
    guide.run(f"walk {name} --job {HULL} --zone {shlex.quote(_UNSEEN)}")
    filled = Path(name).with_suffix(".filled.xlsx")
    fill_walk(Path(name), filled, day=LAST_DAY, inspector="Inspector Lea")
    guide.tell(f"Somebody walks, fills in the sheet of what is to be looked at: {filled}.")
    guide.run(f"load examinations {filled} --by lead")


def _welders(guide: Guide) -> None:
    guide.chapter("Who may weld what")
    day = f"{LAST_DAY:%Y-%m-%d}"
    guide.run(f"welders --on {day}", exits=(0, 1))
    guide.tell("One confirmation came a week late, and what was welded since lies outside:")
    guide.run(f"welders --on {day} --welder {LATE}", exits=(0, 1))


def _release(guide: Guide, yard: Yard) -> None:
    guide.chapter("From first bead to release", _AGAIN)
    guide.run(f"tightness --job {HULL}", exits=(0, 1))
    guide.run(f"release --job {HULL}", exits=(1,))
    tank = shlex.quote(_TANK)
    guide.run(f"release {tank} --job {HULL} --file tank.html", exits=(1,))
    guide.tell("What is owed is asked for, examined and loaded.")
    if guide.run(f"plan extra --job {HULL} --seed {yard.seed} --by lead", exits=(0, 2)) == 0:
        guide.run(f"request write {_latest_plan()} extras-hull-2.xlsx")
        _fill(guide, yard, "extras-hull-2.xlsx", "7", after=_AGAIN)
        guide.day(_AGAIN + _ANSWERED)
        guide.run("load examinations extras-hull-2.filled.xlsx --by lead")
    guide.tell("What cannot be mended any more somebody answers for, by name and with a reason.")
    answers = " ".join(f"--answer {number}" for number in _open_warnings(_TANK))
    if answers:
        reason = "test weld PD-7 made and accepted; the surveyor agrees (invented)"
        guide.run(f"warnings {answers} --by {shlex.quote(_LEAD)} --reason {shlex.quote(reason)}")
    signed = f"--sign --by {shlex.quote(_LEAD)} --reason {shlex.quote('walked, all in order')}"
    guide.run(f"release {tank} --job {HULL} {signed}")
    guide.run(f"decisions --job {HULL}")


def _open_warnings(zone: str) -> list[str]:
    register = Register.open(REGISTER)
    found = warnings_of(register, job=HULL)
    register.close()
    return found.loc[found["zone"] == zone, "warning"].tolist()


def _owed(guide: Guide, yard: Yard) -> None:
    guide.chapter("What a reject sets in motion", _OWED)
    before = _latest()
    guide.run(f"owed --job {HULL}", exits=(0, 1))
    guide.run(f"owed --job {PIPING}", exits=(0, 1))
    planned = []
    for job, name in ((HULL, "extras-hull.xlsx"), (PIPING, "extras-piping.csv")):
        if guide.run(f"plan extra --job {job} --seed {yard.seed} --by lead", exits=(0, 2)) == 0:
            planned.append((_latest_plan(), name))
    for plan, name in planned:
        guide.run(f"request write {plan} {name}")
        _fill(guide, yard, name, "6", after=_OWED, last_unreached=True)
    guide.day(_OWED + _ANSWERED)
    for plan, name in planned:
        guide.run(f"load examinations {_filled(name)} --by lead")
        guide.run(f"request reconcile {plan}", exits=(0, 1))
    guide.tell("What was owed before these results came in:")
    guide.run(f"owed --job {PIPING} --as-of {before}", exits=(0, 1))
    guide.tell("And what is owed now:")
    guide.run("owed", exits=(0, 1))
    guide.tell("Each reject from found to closed; and whose work is examined more closely.")
    guide.run(f"repairs --job {HULL} --open", exits=(0, 1))
    guide.run(f"severity --job {HULL}", exits=(0, 1))


def _latest() -> str:
    """Return when the register last changed, as it can be typed behind ``--as-of``."""
    register = Register.open(REGISTER)
    at = register.latest_time()
    register.close()
    return "" if at is None else at.isoformat()


def _latest_plan() -> str:
    register = Register.open(REGISTER)
    plans = register.table("plans", columns=["plan"])
    register.close()
    return str(plans["plan"].iloc[-1])


def _reports(guide: Guide) -> Path:
    guide.chapter("Where it all is, to scale", _END)
    guide.run(f"plan strip --job {HULL} --zone {shlex.quote(_TANK)}")
    guide.chapter("The log, and pages for each of those who read")
    guide.run("history")
    guide.run("verify")
    costs = "--cost-per-exposure 120 --cost-per-repair 900 --currency EUR"
    guide.run(f"report management {costs} --out {REPORTS}")
    guide.run(f"report contractor --readings {READINGS} --out {REPORTS}")
    guide.run(f"report welder --welder {DRIFTING} --out {REPORTS}")
    for job in (PIPING, HULL):
        guide.run(f"report qa --job {job} --out {REPORTS}")
    return Path(REPORTS) / f"qa-{HULL}.html"
