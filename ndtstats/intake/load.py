"""From a file to the register: read, convert, check, and write the whole file or none of it."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from ndtstats.columns import TABLES, Table
from ndtstats.errors import UseError, nearest
from ndtstats.findings import Finding
from ndtstats.intake import checks_keys as keys
from ndtstats.intake import checks_trade as trade
from ndtstats.intake.draft import Draft, make_draft
from ndtstats.intake.examinations import Rows, gather
from ndtstats.intake.headings import PROBLEM, Header, find_header, suggest_mapping
from ndtstats.intake.known import Known, make_known
from ndtstats.intake.mapping import Mapping, read_mapping
from ndtstats.intake.readers import Grid, read_grids
from ndtstats.intake.spreadsheet import write_table
from ndtstats.progress import Progress, silent
from ndtstats.register import Counts, Register

Check = Callable[[Draft, Known], None]

#: What is checked of each table, beyond its cells.
CHECKS: dict[str, tuple[Check, ...]] = {
    "jobs": (),
    "zones": (keys.job_known, keys.parent_known),
    "joints": (keys.job_known, keys.zone_known, keys.category_known, trade.crossings_within_joint),
    "deposits": (
        keys.job_known,
        keys.joint_known,
        keys.welder_known,
        trade.within_joint,
        trade.by_qualified_welder,
    ),
    "welders": (),
    "qualifications": (keys.welder_known, trade.certificate_runs),
    "examinations": (
        keys.job_known,
        keys.joint_known,
        trade.within_joint,
        trade.after_welding,
        trade.reject_before_repair,
        trade.indication_in_spot,
        trade.verdict_fits,
        trade.method_fits,
        trade.exposure_once,
        trade.seen_by_eye_first,
    ),
    "beads": (keys.job_known, keys.joint_known, trade.bead_within_joint),
    "tests": (keys.job_known, keys.zone_known),
}


@dataclass(slots=True)
class LoadResult:
    """What a load did.

    Attributes
    ----------
    table, file : str
        What was loaded, from where.
    counts : Counts
        Rows that were new, unchanged, corrected (in a dry run: that would be).
    rows : int
        Rows of data that the file holds.
    left_out : int
        Rows that were not taken.
    findings : list of Finding
        All problems, in the order of the rows.
    notes : list of str
        What was passed over without being wrong.
    batch : int or None
        Number of the log entry, if anything was written.
    already : int or None
        Log entry that brought this very file before.
    corrections : Path or None
        The correction file, if one was written.
    """

    table: str
    file: str
    counts: Counts = field(default_factory=Counts)
    rows: int = 0
    left_out: int = 0
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    batch: int | None = None
    already: int | None = None
    corrections: Path | None = None

    @property
    def errors(self) -> list[Finding]:
        """The findings that stop their row."""
        return [finding for finding in self.findings if finding.severity == "error"]

    @property
    def warnings(self) -> list[Finding]:
        """The findings that are kept with their row."""
        return [finding for finding in self.findings if finding.severity == "warning"]


def load(
    register: Register,
    table: str,
    path: str | Path,
    *,
    now: datetime,
    by: str | None = None,
    mapping: str | Path | None = None,
    sheet: str | None = None,
    dry_run: bool = False,
    take_good: bool = False,
    progress: Progress = silent,
) -> LoadResult:
    """Load a table from a file: whole or not at all, unless the good rows are asked for.

    Parameters
    ----------
    register : Register
        Where to.
    table : str
        A table of :data:`ndtstats.columns.TABLES`.
    path : str or Path
        A CSV file or a spreadsheet.
    now : datetime
        The instant of the load, for the log.
    by : str, optional
        Who loads, for the log.
    mapping : str or Path, optional
        A mapping file (see :class:`ndtstats.intake.mapping.Mapping`).
    sheet : str, optional
        Sheet of a spreadsheet; by default the one that has the table's headings.
    dry_run : bool
        Check everything, write nothing.
    take_good : bool
        Load the rows without errors, and write the others to a correction file beside the file.
    progress : Progress
        Told as the work goes on.

    Returns
    -------
    LoadResult
        With all problems of the file at once.

    Raises
    ------
    UseError
        If the file cannot be read as the table at all; where headings are unknown, a suggested
        mapping has then been written beside the file, and the message names it.
    """
    shape = _table(table)
    declared = read_mapping(mapping, shape) if mapping else Mapping()
    progress("reading", 0, 4)
    grid, header = _grid_of(path, shape, declared, sheet)
    # The same cells mean something else under another mapping.
    sha256 = hashlib.sha256(
        f"{grid.sha256}|{grid.sheet}|{declared.model_dump_json()}".encode()
    ).hexdigest()
    result = LoadResult(table, grid.file)
    result.already = _loaded_before(register, table, sha256)
    if result.already is not None:
        return result
    progress("converting", 1, 4)
    draft = make_draft(grid, header, shape, declared)
    result.rows = len(draft.frame)
    progress("checking", 2, 4)
    rows = _checked(draft, register)
    result.findings = draft.findings
    result.notes = draft.notes
    bad = draft.bad_rows
    # An examination is taken with all its imperfections or not at all.
    spoiled = rows.members.isin(rows.members[bad])
    result.left_out = int(spoiled.sum())
    if result.left_out and not take_good:
        return result
    progress("writing", 3, 4)
    _write(register, result, draft, rows, spoiled, sha256, by, now, dry_run=dry_run)
    if result.left_out and not dry_run:
        result.corrections = _write_corrections(draft, spoiled)
    return result


def _table(name: str) -> Table:
    if name in TABLES:
        return TABLES[name]
    close = nearest(name, list(TABLES))
    hint = f'did you mean "{close}"?' if close else f"there are {', '.join(TABLES)}"
    raise UseError(f'"{name}" is not a table; {hint}')


def _grid_of(
    path: str | Path, table: Table, mapping: Mapping, sheet: str | None
) -> tuple[Grid, Header]:
    """Return the sheet that has the headings of the table, and its headings."""
    grids = [grid for grid in read_grids(path, sheet=sheet or mapping.sheet) if len(grid.cells)]
    if not grids:
        raise UseError(f"{Path(path).name} holds no rows")
    headers = [find_header(grid, table, mapping) for grid in grids]
    # A sheet of the table's own name comes first, then the one that knows the most headings.
    grid, header = max(
        zip(grids, headers, strict=True),
        key=lambda pair: (
            not pair[1].missing,
            (pair[0].sheet or "").casefold() == table.name,
            len(pair[1].columns),
        ),
    )
    if header.missing:
        raise UseError(_unknown_headings(grid, header, table))
    return grid, header


def _unknown_headings(grid: Grid, header: Header, table: Table) -> str:
    """Return what to say of missing headings, with a suggested mapping written to a file."""
    where = grid.file + (f", sheet {grid.sheet}" if grid.sheet else "")
    missing = ", ".join(header.missing)
    text = f"{where}: table {table.name} needs {missing}, and no heading says so"
    if not any(header.ignored):
        return text + "; write the headings as ndtstats template does"
    suggestion = grid.path.with_suffix(f".{table.name}.mapping.toml")
    written = suggest_mapping(grid, header, table)
    try:
        if not suggestion.exists():
            suggestion.write_text(written, encoding="utf-8")
    except OSError:
        return text + f"; write a mapping file such as:\n{written}"
    return (
        f"{text}; a suggested mapping is in {suggestion}: check it, then load with "
        f"--mapping {suggestion}"
    )


def _loaded_before(register: Register, table: str, sha256: str) -> int | None:
    log = register.batches()
    same = log[(log["subject"] == table) & (log["sha256"] == sha256) & (log["left_out"] == 0)]
    return None if same.empty else int(same["number"].iloc[-1])


def _checked(draft: Draft, register: Register) -> Rows:
    known = make_known(register, draft.frame)
    rows = gather(draft)
    for check in CHECKS[draft.table.name]:
        check(draft, known)
    order = {name: number for number, name in enumerate(draft.table.names)}
    draft.findings.sort(key=lambda f: (f.row or 0, order.get(f.column or "", len(order))))
    return rows


def _write(
    register: Register,
    result: LoadResult,
    draft: Draft,
    rows: Rows,
    spoiled: Any,
    sha256: str,
    by: str | None,
    now: datetime,
    *,
    dry_run: bool,
) -> None:
    good = rows.frame[~spoiled.reindex(rows.frame.index)]
    shown = rows.imperfections
    if shown is not None:
        shown = shown[shown["examination"].isin(good.index)]
    entry = register.batch(
        kind="load",
        subject=result.table,
        source=result.file,
        sha256=sha256,
        by=by,
        now=now,
        left_out=result.left_out,
        skip_if_unchanged=True,
        rehearse=dry_run,
    )
    with entry as batch:
        result.counts = batch.merge(result.table, good, shown)
        warnings = _warnings(draft, spoiled)
        if result.counts.changed and len(warnings):
            batch.insert("warnings", warnings)
        result.batch = batch.number if result.counts.changed and not dry_run else None


def _warnings(draft: Draft, spoiled: Any) -> pd.DataFrame:
    """Return the warnings about rows that are taken, as rows of the register."""
    out = set(draft.places[spoiled])
    kept = [f for f in draft.findings if f.severity == "warning" and f.row not in out]
    jobs = draft.frame["job"] if "job" in draft.frame else pd.Series(None, draft.frame.index)
    job_of = dict(zip(draft.places, jobs, strict=True))
    return pd.DataFrame(
        [
            {
                "job": job_of.get(f.row), "code": f.code, "file": f.file, "sheet": f.sheet,
                "row": f.row, "column": f.column, "value": f.value, "reason": f.reason,
                "remedy": f.remedy,
            }
            for f in kept
        ]
    )  # fmt: skip


def _write_corrections(draft: Draft, spoiled: Any) -> Path:
    """Write the rows that were not taken, as they stood, each with what is wrong with it."""
    grid, header = draft.grid, draft.header
    problems: dict[int, list[str]] = {}
    for finding in draft.findings:
        if finding.row is not None and finding.severity == "error":
            value = f'"{finding.value}" ' if finding.value else ""
            column = f"{finding.column}: " if finding.column else ""
            problems.setdefault(finding.row, []).append(
                f"{column}{value}{finding.reason}; {finding.remedy}"
            )
    places = draft.places[spoiled].to_numpy()
    cells = grid.cells.iloc[places - grid.rows[0]]
    named = [(n, t) for n, t in enumerate(header.headings) if t and t.casefold() != PROBLEM]
    frame = pd.DataFrame({title: cells[number].to_numpy() for number, title in named})
    frame[PROBLEM] = [
        " | ".join(problems.get(place, ["stands with a row that has a problem"]))
        for place in places.tolist()
    ]
    text_file = grid.delimiter is not None
    path = grid.path.with_suffix(".corrections" + (".csv" if text_file else ".xlsx"))
    write_table(path, frame, draft.table, overwrite=True, delimiter=grid.delimiter or ",")
    return path
