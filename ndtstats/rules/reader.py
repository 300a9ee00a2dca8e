"""Reading a rules file: all that is wrong with it at once, each with its line."""

import re
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from ndtstats.errors import UseError, nearest
from ndtstats.rules.consistency import inconsistencies
from ndtstats.rules.locate import lines_of
from ndtstats.rules.model import Common, Rules, RulesFile
from ndtstats.rules.problems import Problem, Report, choice
from ndtstats.rules.procedures import PRESETS, Procedure
from ndtstats.rules.toml_text import read_toml

_FOLDER = resources.files("ndtstats.rules") / "presets"


def list_presets() -> list[str]:
    """Return the names of the rules files that ship with the package."""
    return sorted(
        entry.name.removesuffix(".toml")
        for entry in _FOLDER.iterdir()
        if entry.name.endswith(".toml")
    )


def preset_text(name: str) -> str:
    """Return the text of a preset.

    Raises
    ------
    UseError
        If there is none of that name.
    """
    if name not in list_presets():
        close = nearest(name, list_presets())
        hint = f'did you mean "{close}"?' if close else f"presets: {', '.join(list_presets())}"
        raise UseError(f'"{name}" is neither a file nor a preset of rules; {hint}')
    return (_FOLDER / f"{name}.toml").read_text(encoding="utf-8")


def copy_preset(name: str, path: Path) -> str:
    """Write a preset to a new file and return its text.

    Raises
    ------
    UseError
        If there is no such preset, or the file exists already or cannot be written there.
    """
    text = preset_text(name)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise UseError(
            f"{path} exists already and is not overwritten; give another name"
        ) from error
    except OSError as error:
        raise UseError(f"{path} cannot be written: {error.strerror}; give another place") from error
    return text


def rules_text(name_or_path: str | Path) -> tuple[str, str]:
    """Return the text of a rules file or of a preset, and what to call it in a message.

    Raises
    ------
    UseError
        If there is neither, or the file is not a text.
    """
    path = Path(name_or_path)
    if path.is_file():
        try:
            # As bytes: the digest of the rules is that of the text as it stands, line ends and all.
            return path.read_bytes().decode("utf-8-sig"), str(path)
        except UnicodeDecodeError as error:
            raise UseError(f"{path} is not a text file in UTF-8; save it as one") from error
        except OSError as error:
            raise UseError(f"{path} cannot be read: {error.strerror}") from error
    if path.suffix or len(path.parts) > 1:
        raise UseError(f"there is no rules file {path}")
    return preset_text(str(name_or_path)), f"preset {name_or_path}"


def load_rules(name_or_path: str | Path) -> Rules:
    """Return the rules of a file, or of a preset named without ``.toml``.

    Raises
    ------
    UseError
        If there is neither, or if anything in it is wrong: all of it, with its line.
    """
    text, source = rules_text(name_or_path)
    return read_rules(text, source=source)


def read_rules(text: str, *, source: str) -> Rules:
    """Return the rules that a text holds.

    Parameters
    ----------
    text : str
        TOML.
    source : str
        What to call it in a message.

    Raises
    ------
    UseError
        If anything in it is wrong: all of it, each with line, key, value and what would be right.

    Examples
    --------
    >>> text = preset_text("process-piping").replace("percent = 5.0", "percent = 500")
    >>> read_rules(text, source="line-7.toml")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    ndtstats.errors.UseError: line-7.toml, line ..., extent.amount.percent: 500 cannot be;
    give a number not greater than 100
    """
    rules, problems = parse_rules(text, source=source)
    if rules is None:
        raise UseError("\n".join(str(problem) for problem in problems))
    return rules


def parse_rules(text: str, *, source: str) -> tuple[Rules | None, list[Problem]]:
    """Return the rules that a text holds, or None and all that is wrong with it.

    Parameters as in :func:`read_rules`; the problems come in the order of their lines.
    """
    try:
        raw = read_toml(text)
    except ValueError as error:
        return None, [_not_toml(error, text, source)]
    report = Report(source, lines_of(text), raw)
    problems: list[Problem] = []
    file = _file(report, problems)
    procedures = _procedures(report, problems)
    problems += inconsistencies(report, _rules_with_defaults(raw), procedures)
    if problems or file is None:
        # A mistake in [defaults] is met again in each rule that takes it from there.
        return None, sorted(dict.fromkeys(problems), key=lambda found: found.line or 0)
    return Rules(file=file, text=text, procedures=procedures), []


def _not_toml(error: ValueError, text: str, source: str) -> Problem:
    message = str(error)
    at = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    line = int(at[1]) if at else text.count("\n") + 1
    reason = message.removesuffix(at[0] if at else " (at end of document)")
    remedy = 'each line is a heading in brackets, key = value, or a comment after "#"'
    return Problem(source, line, "", "", f"this is not TOML: {reason}", remedy)


def _file(report: Report, problems: list[Problem]) -> RulesFile | None:
    rules = _rules_with_defaults(report.raw)
    try:
        return RulesFile.model_validate({**report.raw, **({"extent": rules} if rules else {})})
    except ValidationError as error:
        problems += report.of(error)
        return None


def _rules_with_defaults(raw: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the extent rules with what ``[defaults]`` adds to each; whatever is no table is left.

    An array of tables holds tables only, so the numbers of the rules are those of the file.
    """
    extent, defaults = raw.get("extent"), raw.get("defaults")
    if not isinstance(extent, list) or not all(isinstance(rule, Mapping) for rule in extent):
        return []
    given = defaults if isinstance(defaults, Mapping) else {}
    common = {key: value for key, value in given.items() if key in Common.model_fields}
    return [{**common, **rule} for rule in extent]


def _procedures(report: Report, problems: list[Problem]) -> dict[str, Procedure]:
    """Return the preset procedures with the file's changes, and those of the file's own."""
    made = dict(PRESETS)
    for name, changes in _changed(report):
        base = PRESETS.get(name)
        start = base.model_dump() if base else {"name": name, "source": "the rules file"}
        if "name" in changes:
            remedy = "a procedure is named in the heading"
            problems.append(
                report.problem(("escalation", name, "name"), "is not a known key", remedy)
            )
            continue
        try:
            made[name] = Procedure.model_validate({**start, **changes})
        except ValidationError as error:
            problems += report.of(error, above=("escalation", name))
    used = [rule.get("escalation") for rule in _rules_with_defaults(report.raw)]
    for name in made:
        if name in PRESETS or name in used:
            continue
        # A slip in the name of a preset would otherwise change nothing, and nobody would know.
        remedy = choice(name, PRESETS)
        problems.append(report.problem(("escalation", name), "is used by no rule", remedy))
    return made


def _changed(report: Report) -> Iterator[tuple[str, dict[str, Any]]]:
    changes = report.raw.get("escalation")
    for name, parameters in changes.items() if isinstance(changes, Mapping) else ():
        if isinstance(parameters, dict):
            yield name, parameters
