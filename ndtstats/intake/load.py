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
from ndtstats.intake.corrections import write_corrections
from ndtstats.intake.draft import Draft, make_draft
from ndtstats.intake.examinations import Rows, gather
from ndtstats.intake.known import Known
from ndtstats.intake.mapping import Mapping, read_mapping
from ndtstats.intake.sheets import choose_sheet
from ndtstats.progress import Progress, silent
from ndtstats.register import Batch, Counts, Register
from ndtstats.register.frames import natural_key
from ndtstats.register.schema import STORED

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
    "confirmations": (keys.welder_known, keys.certificate_known),
    "examinations": (
        keys.job_known,
        keys.joint_known,
        keys.request_known,
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
    grid, header, notes = choose_sheet(path, shape, declared, sheet)
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
    result.notes = notes + draft.notes
    bad = draft.bad_rows
    # An examination is taken with all its imperfections or not at all.
    spoiled = rows.members.isin(rows.members[bad])
    result.left_out = int(spoiled.sum())
    if result.left_out and not take_good:
        return result
    progress("writing", 3, 4)
    _write(register, result, draft, rows, spoiled, sha256, by, now, dry_run=dry_run)
    return result


def _table(name: str) -> Table:
    if name in TABLES:
        return TABLES[name]
    close = nearest(name, list(TABLES))
    hint = f'did you mean "{close}"?' if close else f"there are {', '.join(TABLES)}"
    raise UseError(f'"{name}" is not a table; {hint}')


def _loaded_before(register: Register, table: str, sha256: str) -> int | None:
    log = register.batches()
    same = log[(log["subject"] == table) & (log["sha256"] == sha256) & (log["left_out"] == 0)]
    return None if same.empty else int(same["number"].iloc[-1])


def _checked(draft: Draft, register: Register) -> Rows:
    known = Known(register, draft.frame)
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
        warnings = _warnings(batch, draft, rows, spoiled)
        if len(warnings):
            batch.insert("warnings", warnings)
        result.batch = batch.number if result.counts.changed and not dry_run else None
        # Within the transaction: no row is left out without being written down.
        if result.left_out and not dry_run:
            result.corrections = write_corrections(draft, spoiled)


def _warnings(batch: Batch, draft: Draft, rows: Rows, spoiled: Any) -> pd.DataFrame:
    """Return the warnings about rows that the batch brought, as rows of the register.

    Of a row that was there already, somebody was warned when it came.
    """
    out = set(draft.places[spoiled])
    kept = [f for f in draft.findings if f.severity == "warning" and f.row not in out]
    names = [column.name for column in STORED["warnings"]]
    if not kept:
        return pd.DataFrame(columns=names)
    table = draft.table.name
    keys = natural_key(table, rows.frame).reindex(rows.members).set_axis(draft.frame.index)
    jobs = draft.frame["job"] if "job" in draft.frame else pd.Series(None, draft.frame.index)
    of_row = pd.DataFrame({"job": jobs, "row_key": keys}).set_axis(draft.places)
    told = pd.DataFrame([{name: getattr(f, name, None) for name in names} for f in kept])
    mine = of_row.reindex(told["row"])
    told = told.assign(table=table, job=mine["job"].to_numpy(), row_key=mine["row_key"].to_numpy())
    return told[told["row_key"].isin(batch.brought(table))]
