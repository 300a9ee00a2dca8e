"""``ndtstats rules``: list, show, copy, check, adopt."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit, note, say
from ndtstats.cli.options import by_option, format_option, job_option, opened, register_option
from ndtstats.clock import now

if TYPE_CHECKING:
    from ndtstats.rules import Problem, Rules

_PRESETS = (Shown("preset", "preset"), Shown("title", "title"), Shown("follows", "follows"))
_RULES = (
    Shown("rule", "rule"),
    Shown("categories", "categories"),
    Shown("method", "method"),
    Shown("amount", "amount"),
    Shown("spot_length_mm", "spot, mm", "mm"),
    Shown("spots_per_welder", "per welder", "count"),
    Shown("first", "first"),
    Shown("acceptance", "acceptance"),
    Shown("escalation", "escalation"),
)
_SOURCES = (
    Shown("line", "line", "count"),
    Shown("key", "key"),
    Shown("value", "value"),
    Shown("source", "source"),
)
_PROBLEM = ("source", "line", "key", "value", "reason", "remedy")


@click.group()
def rules() -> None:
    """Rules files: what must be examined, and what a reject sets in motion.

    A rules file is TOML. The presets follow published rules and are starting points: the contract's
    edition governs, and certified people decide. Copy one, edit it, check it, adopt it for a job.
    """


@rules.command("list")
@format_option
def list_(fmt: str) -> None:
    """List the presets."""
    import pandas as pd  # noqa: PLC0415

    from ndtstats.rules import list_presets, load_rules  # noqa: PLC0415

    files = {name: load_rules(name).file for name in list_presets()}
    rows = [
        {"preset": name, "title": file.title, "follows": file.follows, "edition": file.edition}
        for name, file in files.items()
    ]
    emit(pd.DataFrame(rows), fmt, columns=_PRESETS, conclusion=f"{len(rows)} presets.")


@rules.command()
@click.argument("name", metavar="PRESET|FILE")
@click.option("--sources", "only_sources", is_flag=True, help="Only the values and their sources.")
@format_option
def show(name: str, only_sources: bool, fmt: str) -> None:
    """Show the rules of a preset or a file, and where each value comes from.

    As JSON or CSV: the rules; with --sources, the values and their sources.
    """
    from ndtstats.rules import load_rules, rules_table, sources  # noqa: PLC0415

    read = load_rules(name)
    if not only_sources:
        emit(rules_table(read), fmt, columns=_RULES, conclusion=_about(read))
    if fmt == "table" and not only_sources:
        say("")
    if fmt == "table" or only_sources:
        emit(sources(read.text), fmt, columns=_SOURCES, conclusion="Each value and its source.")


@rules.command()
@click.argument("name", metavar="PRESET")
@click.argument("file", type=click.Path(path_type=Path))
def copy(name: str, file: Path) -> None:
    """Copy a preset to a file of your own, to be edited; no file is overwritten."""
    from ndtstats.rules import copy_preset  # noqa: PLC0415

    text = copy_preset(name, file)
    say(f"{file} is written. Put in your contract's edition, and look at every value in it.")
    say(_still_chosen(text))
    say(f"Then: ndtstats rules check {file}")


@rules.command()
@click.argument("file", type=click.Path(path_type=Path))
@format_option
def check(file: Path, fmt: str) -> None:
    """Check a rules file and tell all that is wrong with it; exit code 1 if anything is."""
    from ndtstats.rules import parse_rules, rules_text  # noqa: PLC0415

    text, source = rules_text(file)
    read, problems = parse_rules(text, source=source)
    if fmt != "table":
        _emit_problems(problems, fmt)
    for problem in problems if fmt == "table" else ():
        say(str(problem))
    if read is None:
        note(f"{source}: {_count(len(problems), 'problem')}.")
        click.get_current_context().exit(1)
    held = f"{_count(len(read.extent), 'rule')}, {len(read.categories)} categories"
    note(f"{source}: nothing is wrong; {held}. {_still_chosen(text)}".strip())


@rules.command()
@click.argument("name", metavar="FILE|PRESET")
@register_option
@job_option
@click.option("--agreed-by", metavar="NAME", help="With whom the rules were agreed.")
@by_option
def adopt(name: str, register: str, job: str | None, agreed_by: str | None, by: str) -> None:
    """Put rules in force for a job; they are kept in the register, word for word."""
    from ndtstats.register import require_job  # noqa: PLC0415
    from ndtstats.rules import adopt as put_in_force  # noqa: PLC0415
    from ndtstats.rules import load_rules  # noqa: PLC0415

    read = load_rules(name)
    with opened(register) as reg:
        job = require_job(reg, job)
        done = put_in_force(reg, job, read, agreed_by=agreed_by, by=by, now=now())
    state = "are in force" if done else "were in force already"
    say(f'Job {job}: the rules "{read.title}" (SHA-256 {read.sha256[:12]}) {state}.')


def _about(read: "Rules") -> str:
    file = read.file
    agreed = f" Agreed with {file.agreed_with}" if file.agreed_with else " Not agreed with anybody"
    agreed += f" on {file.agreed_on:%Y-%m-%d}." if file.agreed_on else "."
    return f"{file.title}. Follows {file.follows}; edition: {file.edition}.{agreed}"


def _emit_problems(problems: "list[Problem]", fmt: str) -> None:
    import pandas as pd  # noqa: PLC0415

    rows = [{name: getattr(found, name) for name in _PROBLEM} for found in problems]
    emit(pd.DataFrame(rows, columns=list(_PROBLEM)), fmt)


def _still_chosen(text: str) -> str:
    """Return on which lines a value has no source, so that somebody looks at each."""
    from ndtstats.rules import CHOSEN, sources  # noqa: PLC0415

    values = sources(text)
    lines = [str(line) for line in values["line"][values["source"].str.contains(CHOSEN)]]
    if not lines:
        return ""
    verb, place = ("is", "line") if len(lines) == 1 else ("are", "lines")
    return f'{_count(len(lines), "value")} {verb} marked "{CHOSEN}": {place} {", ".join(lines)}.'


def _count(number: int, what: str) -> str:
    return f"1 {what}" if number == 1 else f"{number} {what}s"
