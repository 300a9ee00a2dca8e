"""``ndtstats load``."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ndtstats.cli.console import Shown, emit, note, progress, say
from ndtstats.cli.options import by_option, format_option, opened, register_option
from ndtstats.clock import now
from ndtstats.columns import TABLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ndtstats.findings import Finding
    from ndtstats.intake import LoadResult

#: Findings shown on a terminal; the rest is counted.
MOST_SHOWN = 40

#: Rows named of findings that differ in nothing else.
MOST_ROWS = 6

_FINDING_COLUMNS = (
    "code", "severity", "file", "sheet", "row", "column", "value", "reason", "remedy",
)  # fmt: skip


@click.command()
@click.argument("table", type=click.Choice(list(TABLES)))
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--mapping", type=click.Path(path_type=Path), help="What the file's headings and words mean."
)
@click.option("--sheet", metavar="NAME", help="Sheet of a spreadsheet.")
@click.option("--dry-run", is_flag=True, help="Check everything, write nothing.")
@click.option(
    "--take-good", is_flag=True, help="Load the good rows; write the others to a correction file."
)
@by_option
@register_option
@format_option
def load(
    table: str,
    file: Path,
    mapping: Path | None,
    sheet: str | None,
    by: str,
    register: str,
    fmt: str,
    *,
    dry_run: bool,
    take_good: bool,
) -> None:
    """Load a TABLE from FILE: whole or not at all, with all its problems told at once."""
    from ndtstats.intake import load as load_file  # noqa: PLC0415

    with opened(register) as reg, progress() as tell:
        result = load_file(
            reg, table, file, now=now(), by=by, mapping=mapping, sheet=sheet,
            dry_run=dry_run, take_good=take_good, progress=tell,
        )  # fmt: skip
    # Machines get the findings alone; what was done is told beside them.
    tell_done = say if fmt == "table" else note
    if fmt == "table":
        _show(result)
    else:
        _emit_findings(result, fmt)
    for text in result.notes:
        note(f"{result.file}: {text}")
    tell_done(_conclusion(result, dry_run=dry_run))
    if result.corrections:
        tell_done(f"The rows left out are in {result.corrections}: mend them there and load it.")
    click.get_current_context().exit(1 if result.errors else 0)


def _show(result: "LoadResult") -> None:
    alike = _alike(result.findings)
    for findings in alike[:MOST_SHOWN]:
        first = findings[0]
        colour = "red" if first.severity == "error" else "yellow"
        say(f"{first.severity}: {_together(findings)}", colour=colour)
    more = sum(map(len, alike[MOST_SHOWN:]))
    if more > 0:
        say(f"and {more:,} more; --format csv gives them all")


def _alike(findings: "Sequence[Finding]") -> "list[list[Finding]]":
    """Return findings that differ in their row only together, in the order of the first of each."""
    found: dict[tuple[object, ...], list[Finding]] = {}
    for finding in findings:
        said = (finding.value or "").casefold()
        what = (finding.code, finding.file, finding.sheet, finding.column, said, finding.reason)
        found.setdefault(what, []).append(finding)
    return list(found.values())


def _together(findings: "Sequence[Finding]") -> str:
    """Return findings that differ in their row only as one sentence."""
    rows = [f"{finding.row:,}" for finding in findings if finding.row is not None]
    if len(rows) < 2:
        return str(findings[0])
    more = len(rows) - MOST_ROWS
    listed = f"{', '.join(rows[:MOST_ROWS])} and {more:,} more" if more > 0 else ", ".join(rows)
    return str(findings[0]).replace(f"row {findings[0].row}", f"rows {listed}", 1)


def _conclusion(result: "LoadResult", *, dry_run: bool) -> str:
    name = f"{result.file} into {result.table}"
    if result.already is not None:
        return f"{name}: this file was loaded before, as batch {result.already}; nothing changed."
    counts = result.counts
    problems = f"{len(result.errors):,} error{'s' if len(result.errors) != 1 else ''}"
    warned = f"{len(result.warnings):,} warning{'s' if len(result.warnings) != 1 else ''}"
    if result.left_out and not counts.changed and not counts.unchanged:
        rows = f"{result.left_out:,} of {result.rows:,} rows"
        return f"{name}: {problems} in {rows}, {warned}; nothing was loaded."
    done = f"{counts.new:,} new, {counts.unchanged:,} unchanged, {counts.corrected:,} corrected"
    plural = "s" if result.left_out != 1 else ""
    left = f", {result.left_out:,} row{plural} left out" if result.left_out else ""
    tail = f"{done}{left}; {warned}"
    if dry_run:
        return f"{name}: would be {tail}; nothing was written."
    if not counts.changed:
        return f"{name}: {tail}; the register is as it was."
    return f"{name}: {tail}; batch {result.batch}."


def _emit_findings(result: "LoadResult", fmt: str) -> None:
    import pandas as pd  # noqa: PLC0415

    rows = [{name: getattr(f, name) for name in _FINDING_COLUMNS} for f in result.findings]
    frame = pd.DataFrame(rows, columns=list(_FINDING_COLUMNS))
    emit(frame, fmt, columns=[Shown(name, name) for name in _FINDING_COLUMNS])
