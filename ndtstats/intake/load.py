"""From a file to the register: read, convert, check, and write the whole file or none of it."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

from ndtstats.columns import TABLES, Table
from ndtstats.errors import UseError, nearest
from ndtstats.findings import Finding
from ndtstats.intake import checks_keys as keys
from ndtstats.intake import checks_trade as trade
from ndtstats.intake.body import Body, Mask, make_body
from ndtstats.intake.corrections import write_corrections
from ndtstats.intake.draft import Draft, draft_of, tell_bounds
from ndtstats.intake.examinations import Rows, gather
from ndtstats.intake.known import Known
from ndtstats.intake.mapping import Mapping, read_mapping
from ndtstats.intake.readers import shown, text_sha256
from ndtstats.intake.sheets import choose_sheet
from ndtstats.progress import Progress, silent
from ndtstats.register import Batch, Counts, Register
from ndtstats.register.frames import natural_key
from ndtstats.register.schema import STORED

Check = Callable[[Draft, Known], None]
CheckAcross = Callable[[Body, Known], None]

#: What is checked of the rows of each table one by one, beyond their cells.
CHECKS: dict[str, tuple[Check, ...]] = {
    "zones": (keys.job_known, keys.parent_known),
    "joints": (keys.job_known, keys.zone_known, keys.category_known, trade.crossings_within_joint),
    "deposits": (keys.job_known, keys.joint_known, keys.welder_known, trade.within_joint),
    "qualifications": (keys.welder_known, trade.certificate_runs),
    "confirmations": (keys.welder_known, keys.certificate_known),
    "examinations": (
        keys.job_known,
        keys.joint_known,
        keys.request_known,
        trade.within_joint,
        trade.after_welding,
        trade.indication_in_spot,
        trade.verdict_fits,
        trade.method_fits,
        trade.seen_by_eye_first,
    ),
    "beads": (keys.job_known, keys.joint_known, trade.bead_within_joint),
    "tests": (keys.job_known, keys.zone_known),
}

#: What is checked of all rows of a file together.
CHECKS_ACROSS: dict[str, tuple[CheckAcross, ...]] = {
    "deposits": (trade.by_qualified_welder,),
    "examinations": (trade.reject_before_repair, trade.exposure_once),
}

#: Of a hundred parts of a load, those that are done when it begins to convert, check and write.
_CONVERTING, _CHECKING, _WRITING = 15, 20, 45


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
    progress("reading", 0, 100)
    result = LoadResult(table, shown(Path(path)))
    read_before = text_sha256(Path(path), sheet or declared.sheet)
    if read_before is not None:
        result.already = _loaded_before(register, table, _digest(read_before, None, declared))
        if result.already is not None:
            return result
    grid, header, notes = choose_sheet(path, shape, declared, sheet)
    sha256 = _digest(grid.sha256, grid.sheet, declared)
    result.already = _loaded_before(register, table, sha256)
    if result.already is not None:
        return result
    progress("converting", _CONVERTING, 100)
    body = make_body(grid, header, shape, declared)
    result.rows = len(body)
    rows = _checked(body, register, progress)
    result.findings = body.findings
    result.notes = notes + body.notes
    # An examination is taken with all its imperfections or not at all.
    spoiled = np.zeros(len(body), dtype=bool)
    spoiled[rows.members[body.bad]] = True
    left_out = spoiled[rows.members]
    result.left_out = int(left_out.sum())
    if result.left_out and not take_good:
        return result
    _write(register, result, rows, left_out, sha256, by, now, progress, dry_run=dry_run)
    return result


def _digest(sha256: str, sheet: str | None, declared: Mapping) -> str:
    # The same cells mean something else under another mapping.
    return hashlib.sha256(f"{sha256}|{sheet}|{declared.model_dump_json()}".encode()).hexdigest()


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


def _checked(body: Body, register: Register, progress: Progress) -> Rows:
    progress("checking", _CHECKING, 100)
    known = Known(register, body)
    table = body.table
    tell_bounds(body)
    rows = gather(body)
    for piece in body.pieces():
        draft = draft_of(body, piece)
        for check in CHECKS.get(table.name, ()):
            check(draft, known)
        progress("checking", _part(_CHECKING, _WRITING, piece, body), 100)
    for across in CHECKS_ACROSS.get(table.name, ()):
        across(body, known)
    order = {name: number for number, name in enumerate(table.names)}
    body.findings.sort(key=lambda f: (f.row or 0, order.get(f.column or "", len(order))))
    return rows


def _part(first: int, last: int, piece: slice, body: Body) -> int:
    """Return how much of a load is done with a piece of one of its steps."""
    return first + int((last - first) * piece.stop / len(body))


def _write(
    register: Register,
    result: LoadResult,
    rows: Rows,
    left_out: Mask,
    sha256: str,
    by: str | None,
    now: datetime,
    progress: Progress,
    *,
    dry_run: bool,
) -> None:
    progress("writing", _WRITING, 100)
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
        for piece in rows.body.pieces():
            batch.merge(result.table, *rows.frame(piece, left_out))
            progress("writing", _part(_WRITING, 100, piece, rows.body), 100)
        result.counts = batch.counts
        warnings = _warnings(batch, rows, left_out)
        if len(warnings):
            batch.insert("warnings", warnings)
        result.batch = batch.number if result.counts.changed and not dry_run else None
        # Within the transaction: no row is left out without being written down.
        if result.left_out and not dry_run:
            result.corrections = write_corrections(rows.body, left_out)


def _warnings(batch: Batch, rows: Rows, left_out: Mask) -> pd.DataFrame:
    """Return the warnings about rows that the batch brought, as rows of the register.

    Of a row that was there already, somebody was warned when it came.
    """
    body = rows.body
    warned = [f for f in body.findings if f.severity == "warning" and f.row is not None]
    at = np.searchsorted(body.places, np.array([f.row for f in warned], dtype="int64"))
    kept = [finding for finding, out in zip(warned, left_out[at], strict=True) if not out]
    names = [column.name for column in STORED["warnings"]]
    if not kept:
        return pd.DataFrame(columns=names)
    table = body.table.name
    members = rows.members[at[~left_out[at]]]
    row_keys = natural_key(table, body.frame(members)).to_numpy()
    jobs = body.values("job", members).to_numpy() if "job" in body.table.names else None
    told = pd.DataFrame([{name: getattr(f, name, None) for name in names} for f in kept])
    told = told.assign(table=table, job=jobs, row_key=row_keys)
    return told[told["row_key"].isin(batch.brought(table, told["row_key"].unique().tolist()))]
