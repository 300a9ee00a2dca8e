"""Mapping files: how a contractor's headings and words become ours, declared by a person."""

import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ndtstats.columns import Table
from ndtstats.errors import UseError, nearest
from ndtstats.rules.locate import lines_of
from ndtstats.rules.problems import Report


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


def read_mapping(path: str | Path, table: Table) -> Mapping:
    """Return a mapping file for a table.

    Raises
    ------
    UseError
        All that is wrong with it at once, with its line.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = tomllib.loads(text)
        mapping = Mapping.model_validate(raw)
    except FileNotFoundError as error:
        raise UseError(f"there is no mapping file {path}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UseError(f"{path.name} is not TOML in UTF-8: {error}") from error
    except ValidationError as error:
        strange = [_unknown_key(path.name, key) for key in raw if key not in Mapping.model_fields]
        report = Report(path.name, lines_of(text), raw)
        wrong = [str(p) for p in report.of(error) if "is not a known key" not in p.reason]
        raise UseError("\n".join(strange + wrong)) from error
    named = [*mapping.columns.values(), *mapping.values, *mapping.constants, *mapping.units]
    unknown = [_unknown(path.name, name, table) for name in named if name not in table.names]
    if unknown:
        raise UseError("\n".join(dict.fromkeys(unknown)))
    return mapping


def _unknown_key(file: str, key: str) -> str:
    known = list(Mapping.model_fields)
    close = nearest(key, known)
    hint = f'did you mean "{close}"?' if close else f"known are {', '.join(known)}"
    return f'{file}: "{key}" is not a known key; {hint}'


def _unknown(file: str, name: str, table: Table) -> str:
    close = nearest(name, table.names)
    hint = f'did you mean "{close}"?' if close else f"it has {', '.join(table.names)}"
    return f'{file}: table {table.name} has no column "{name}"; {hint}'
