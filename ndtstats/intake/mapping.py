"""Mapping files: how a contractor's headings and words become ours, declared by a person."""

import pathlib
from collections.abc import Iterable
from dataclasses import replace
from typing import Annotated, Literal

import pandas as pd
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ndtstats.columns import Table
from ndtstats.errors import UseError
from ndtstats.intake.convert import convert
from ndtstats.rules.locate import Path, lines_of
from ndtstats.rules.problems import Problem, Report, choice
from ndtstats.rules.toml_text import read_toml


class Mapping(BaseModel):
    """What a mapping file declares.

    Attributes
    ----------
    columns : dict
        The file's heading to our column.
    values : dict
        For a column of ours, the file's word to ours.
    constants : dict
        For a column of ours that the file lacks, what stands in every row.
    units : dict
        For a length column of ours, the unit in which the file gives it.
    dates : {"dmy", "mdy", "iso", "serial"} or None
        In which order day, month and year stand; serial: days as a spreadsheet counts them.
    decimal : {",", "."} or None
        The decimal mark.
    sheet : str or None
        Sheet of a spreadsheet.
    header_row : int or None
        Row of the headings, where it cannot be found.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    columns: dict[str, str] = Field(default_factory=dict)
    values: dict[str, dict[str, str]] = Field(default_factory=dict)
    constants: dict[str, str] = Field(default_factory=dict)
    units: dict[str, Literal["mm", "cm", "m", "in"]] = Field(default_factory=dict)
    dates: Literal["dmy", "mdy", "iso", "serial"] | None = None
    decimal: Literal[",", "."] | None = None
    sheet: str | None = None
    header_row: Annotated[int, Field(ge=1)] | None = None


def read_mapping(path: str | pathlib.Path, table: Table) -> Mapping:
    """Return a mapping file for a table.

    Raises
    ------
    UseError
        All that is wrong with it at once, with its line.
    """
    path = pathlib.Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = read_toml(text)
    except FileNotFoundError as error:
        raise UseError(f"there is no mapping file {path}") from error
    except OSError as error:
        raise UseError(f"{path} cannot be read as a mapping file: {error.strerror}") from error
    except ValueError as error:
        raise UseError(f"{path.name} is not TOML in UTF-8: {error}") from error
    report = Report(path.name, lines_of(text), raw)
    try:
        mapping = Mapping.model_validate(raw)
    except ValidationError as error:
        raise UseError("\n".join(_wrong_shape(report, error))) from error
    wrong = [*_wrong_columns(report, mapping, table), *_wrong_words(report, mapping, table)]
    if wrong:
        raise UseError("\n".join(str(problem) for problem in wrong))
    return mapping


def _wrong_shape(report: Report, error: ValidationError) -> Iterable[str]:
    for found, problem in zip(error.errors(), report.of(error), strict=True):
        if found["type"] == "extra_forbidden":
            remedy = choice(str(found["loc"][0]), Mapping.model_fields)
            yield str(replace(problem, value="", remedy=remedy))
        else:
            yield str(problem)


def _wrong_columns(report: Report, mapping: Mapping, table: Table) -> Iterable[Problem]:
    """Yield what names a column that the table lacks, or a unit of what is no length."""
    named: list[tuple[Path, str]] = [
        (("columns", theirs), ours) for theirs, ours in mapping.columns.items()
    ]
    for part in ("values", "constants", "units"):
        named += [((part, ours), ours) for ours in getattr(mapping, part)]
    for path, ours in named:
        if ours not in table.names:
            reason = f'names "{ours}", which is no column of the table {table.name}'
            yield report.problem(path, reason, choice(ours, table.names))
        elif path[0] == "units" and table.column(ours).unit != "mm":
            lengths = ", ".join(column.name for column in table.columns if column.unit == "mm")
            right = f"lengths are {lengths}" if lengths else "the table has no lengths"
            yield report.problem(path, "is no length", right)


def _wrong_words(report: Report, mapping: Mapping, table: Table) -> Iterable[Problem]:
    """Yield the words that a column does not allow."""
    said: list[tuple[Path, str, str]] = [
        (("constants", name), name, word) for name, word in mapping.constants.items()
    ]
    for name, words in mapping.values.items():
        said += [(("values", name, theirs), name, ours) for theirs, ours in words.items()]
    for path, name, word in said:
        # A blank takes a word away: some write a dash where they mean nothing.
        if name not in table.names or (word == "" and path[0] == "values"):
            continue
        column = table.column(name)
        cells = pd.Series([word], dtype="str")
        unread = convert(cells, column, decimal=mapping.decimal, dates=mapping.dates).unread
        if word.strip() == "":
            yield report.problem(path, "is blank", "give a word, or leave the line out")
        for why in unread.values():
            yield report.problem(path, why.reason, why.remedy, value=f'"{word}"')
