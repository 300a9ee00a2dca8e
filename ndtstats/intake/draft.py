"""A sheet as typed rows that remember where they came from, with all that is wrong so far."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.columns import Column, Table
from ndtstats.errors import UseError
from ndtstats.findings import CODES, Finding
from ndtstats.intake.convert import Converted, clean, convert
from ndtstats.intake.headings import Header, heading
from ndtstats.intake.mapping import Mapping
from ndtstats.intake.readers import Grid
from ndtstats.register.frames import typed

#: A row is a total if it says so and has no key of its own: common practice, no source.
_TOTAL = r"(?i)^(?:sub)?(?:totals?|sum|summe|gesamt)\b.*"

#: A longer cell is shown shortened in a finding.
LONGEST_VALUE = 100


@dataclass(slots=True)
class Draft:
    """Rows of a file on their way into the register.

    Attributes
    ----------
    table : Table
        What they are rows of.
    frame : DataFrame
        Typed columns of the table; the index numbers the rows from 0.
    texts : DataFrame
        The same columns as they stood in the file.
    grid, header
        Where they came from.
    places : Series of int
        Row of each line as the spreadsheet shows it.
    blank : dict
        For each required column of the file, mask of the rows where it is blank.
    findings : list of Finding
        All that is wrong with them.
    notes : list of str
        What was left out without being wrong: blank rows, totals, other columns.
    """

    table: Table
    frame: pd.DataFrame
    texts: pd.DataFrame
    grid: Grid
    header: Header
    places: Any
    blank: dict[str, Any] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def tell(self, code: str, where: Any, column: str | None, reason: Any, remedy: Any) -> None:
        """Add a finding for each row of a mask.

        Parameters
        ----------
        code : str
            One of :data:`ndtstats.findings.CODES`.
        where : Series of bool
            Rows it is about.
        column : str or None
            Column it is about.
        reason, remedy : str or Series of str
            What is wrong, what would be right; the same for all, or for each of the rows by its
            label (further rows may be left out).
        """
        rows = np.flatnonzero(np.asarray(where, dtype=bool))
        if len(rows) == 0:
            return
        shown = self.texts[column].to_numpy()[rows] if column in self.texts else [""] * len(rows)
        places = self.places.to_numpy()[rows].tolist()
        reasons, remedies = _each(reason, rows), _each(remedy, rows)
        severity = CODES[code].severity
        self.findings += [
            Finding(
                code, severity, why, what, self.grid.file, self.grid.sheet, row, column,
                _shortened(value) or None,
            )
            for row, value, why, what in zip(places, shown, reasons, remedies, strict=True)
        ]  # fmt: skip

    @property
    def bad_rows(self) -> Any:
        """Mask of the rows that some error is about."""
        wrong = {f.row for f in self.findings if f.severity == "error"}
        return self.places.isin(wrong)


def _each(text: Any, rows: Any) -> list[str]:
    return [text] * len(rows) if isinstance(text, str) else text.loc[rows].tolist()


def _shortened(text: str) -> str:
    """Return a cell as a message can hold it: somebody pastes a whole letter into one."""
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 1] + "…"


def make_draft(grid: Grid, header: Header, table: Table, mapping: Mapping) -> Draft:
    """Return the rows under the headings as a draft, converted and checked one by one."""
    body = grid.cells.iloc[header.at + 1 :].apply(clean)
    places = pd.Series(grid.rows[header.at + 1 :], index=body.index)
    texts = pd.DataFrame(
        {name: body[number] for name, number in header.columns.items()}, index=body.index
    )
    for name, constant in mapping.constants.items():
        if name not in header.columns:
            texts[name] = pd.Series(constant.strip(), index=texts.index, dtype="str")
    kept, notes = _without_fillers(body, texts, table, header)
    open_ = kept & _unanswered(texts, table)
    if open_.any():
        notes.append(_not_answered(places[open_]))
    kept &= ~open_
    texts, places = texts[kept].reset_index(drop=True), places[kept].reset_index(drop=True)
    if texts.empty and not open_.any():
        notes.append("there are no rows below the headings")
    if header.ignored:
        notes.append(f"columns not read: {', '.join(dict.fromkeys(header.ignored))}")
    draft = Draft(table, pd.DataFrame(index=texts.index), texts, grid, header, places, notes=notes)
    for column in table.columns:
        if column.name in texts:
            draft.frame[column.name] = _column(draft, column, mapping).values
    draft.frame = typed(draft.frame, table.columns)
    return draft


def _without_fillers(
    body: pd.DataFrame, texts: pd.DataFrame, table: Table, header: Header
) -> tuple[Any, list[str]]:
    """Return a mask without blank rows and totals, and what to say of them."""
    blank = (body == "").all(axis=1)
    # A long sheet is printed with its headings on every page, and some keep them in the file.
    again = (body == header.headings).all(axis=1)
    required = [c.name for c in table.columns if c.required and c.name in header.columns]
    # A total has no key of its own: at least half of what every row must have is blank.
    hollow = (texts[required] == "").mean(axis=1) >= 0.5 if required else blank
    # Only the few hollow rows are looked at cell by cell.
    total = ~blank & hollow
    says_so = body[total].apply(lambda column: column.str.match(_TOTAL)).any(axis=1)
    total[total] = says_so.astype(bool)
    notes = [
        f"{number} row{'s' if number > 1 else ''} of {what} left out"
        for number, what in ((int(total.sum()), "totals"), (int(again.sum()), "repeated headings"))
        if number
    ]
    return ~(blank | total | again), notes


def _unanswered(texts: pd.DataFrame, table: Table) -> Any:
    """Return a mask of the rows that ask a question nobody answered yet.

    A list that is handed out comes back with some rows filled in; a row half filled in is one of
    them, so that what is blank there is told.
    """
    there = [name for name in table.answers if name in texts]
    if not there:
        return pd.Series(False, texts.index)
    return (texts[there] == "").all(axis=1)


def _not_answered(places: Any) -> str:
    number = len(places)
    rows = summary(places.astype("str"))
    return f"{number} row{'s' if number > 1 else ''} not answered yet passed over: row {rows}"


def _column(draft: Draft, column: Column, mapping: Mapping) -> Converted:
    """Convert one column and add what is wrong with it to the draft."""
    texts = draft.texts[column.name]
    translated = texts
    if column.name in mapping.values:
        words = {theirs.casefold(): ours for theirs, ours in mapping.values[column.name].items()}
        translated = texts.str.casefold().map(words).fillna(texts).astype("str")
    done = convert(
        translated,
        column,
        unit=_unit(draft, column, mapping),
        decimal=mapping.decimal,
        dates=mapping.dates,
        points=draft.grid.delimiter in {None, ","},
    )
    for code in sorted({why.code for why in done.unread.values()}):
        told = {text: why for text, why in done.unread.items() if why.code == code}
        wrong = translated.isin(told)
        reason = translated[wrong].map({text: why.reason for text, why in told.items()})
        remedy = translated[wrong].map({text: why.remedy for text, why in told.items()})
        draft.tell(code, wrong, column.name, reason, remedy)
    if column.required:
        draft.blank[column.name] = translated == ""
    _bounds(draft, column, done.values)
    return done


def _unit(draft: Draft, column: Column, mapping: Mapping) -> str | None:
    stated, declared = draft.header.units.get(column.name), mapping.units.get(column.name)
    if stated and declared and stated != declared:
        raise UseError(
            f"{draft.grid.file}: the heading of {column.name} states {stated}, "
            f"the mapping declares {declared}; mend one of them"
        )
    return declared or stated


def _bounds(draft: Draft, column: Column, values: Any) -> None:
    """Tell the numbers outside their bounds; NaN compares with nothing, so it passes."""
    name = column.name
    if column.above is not None:
        rule = f"it must be greater than {column.above:g}"
        draft.tell("BOUND", values <= column.above, name, "is too small", rule)
    if column.at_least is not None:
        rule = f"it must be {column.at_least:g} or more"
        draft.tell("BOUND", values < column.at_least, name, "is too small", rule)
    if column.kind == "whole" and column.allowed:
        listed = ", ".join(column.allowed)
        wrong = values.notna() & ~values.isin([int(word) for word in column.allowed])
        draft.tell("WORD", wrong, name, f"is not a {name.replace('_', ' ')}", f"write {listed}")
    other = column.beyond or column.not_below
    if other:
        numbers = values.astype("float64")
        # A joint's datum is 0, so an interval without a start begins there.
        start = draft.frame[other] if other in draft.frame else numbers.where(numbers.isna(), 0.0)
        against = start.astype("float64").fillna(0.0)
        wrong = numbers <= against if column.beyond else numbers < against
        need = "greater than" if column.beyond else "not less than"
        draft.tell("BOUND", wrong, name, f"is not beyond {other}", f"it must be {need} {other}")


def tell_missing(draft: Draft) -> None:
    """Tell the required cells that are blank and that no other row of the same key fills in."""
    for name, blank in draft.blank.items():
        column = draft.table.column(name)
        what = f"fill in {heading(column)}: {column.meaning}"
        missing = blank & draft.frame[name].isna()
        draft.tell("MISSING", missing, name, "is blank", what)


def summary(items: Iterable[str], most: int = 5) -> str:
    """Return the first few items and how many more there are."""
    listed = list(items)
    more = f" and {len(listed) - most} more" if len(listed) > most else ""
    return ", ".join(listed[:most]) + more
