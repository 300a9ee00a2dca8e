import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pandas as pd
import pytest

from ndtstats.intake import LoadResult, load
from ndtstats.register import Register

#: A small yard: one job, two zones, three joints, two welders.
YARD = {
    "jobs": "job,title\nH1,invented hull\n",
    "zones": "job,zone\nH1,TANK 1\nH1,DECK\n",
    "joints": (
        "job,zone,joint,category,joint_type,penetration,length_mm,process,position,thickness_mm\n"
        "H1,TANK 1,B-1,A,butt,full,1000,131,PF,6\n"
        "H1,TANK 1,B-2,A,butt,full,2000,131,PA,6\n"
        "H1,DECK,F-1,F,tee,fillet,3000,131,PB,6\n"
    ),
    "welders": "welder,name\nK7,Welder K7\nM2,Welder M2\n",
    "deposits": (
        "job,joint,welder,date\nH1,B-1,K7,2026-03-02\nH1,B-2,M2,2026-03-03\nH1,F-1,K7,2026-03-04\n"
    ),
}


def bringing(register: Register, folder: Path) -> Callable[..., LoadResult]:
    """Load text as a CSV file of a table; each load comes a minute after the one before."""
    minutes = count()

    def call(table: str, text: str, *, name: str | None = None, **options: object) -> LoadResult:
        path = folder / (name or f"{table}.csv")
        path.write_text(text, encoding="utf-8")
        at = datetime(2026, 6, 1, 8, tzinfo=UTC) + timedelta(minutes=next(minutes))
        return load(register, table, path, now=at, by="lead", **options)

    return call


@pytest.fixture
def bring(register: Register, tmp_path: Path) -> Callable[..., LoadResult]:
    return bringing(register, tmp_path)


@pytest.fixture(scope="session")
def yard_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small yard in a file, loaded once for all tests."""
    folder = tmp_path_factory.mktemp("yard")
    register = Register.open(folder / "register.sqlite", create=True)
    bring = bringing(register, folder)
    for table, text in YARD.items():
        assert bring(table, text).errors == []
    register.close()
    return folder / "register.sqlite"


@pytest.fixture
def yard(
    register: Register, yard_file: Path, tmp_path: Path, bring: Callable[..., LoadResult]
) -> Callable[..., LoadResult]:
    """The small yard in the register of the test; then load on."""
    # Closing lets go of the file; the next question opens what stands there then.
    register.close()
    shutil.copy(yard_file, tmp_path / "register.sqlite")
    return bring


def told(result: LoadResult) -> list[tuple[int | None, str | None, str]]:
    """Row, column and code of each finding."""
    return [(f.row, f.column, f.code) for f in result.findings]


@pytest.fixture(name="told")
def _told() -> Callable[[LoadResult], list[tuple[int | None, str | None, str]]]:
    return told


@pytest.fixture
def spreadsheet(tmp_path: Path) -> Callable[..., Path]:
    """Write sheets of cells as a spreadsheet."""

    def write(**sheets: list[list[object]]) -> Path:
        path = tmp_path / "book.xlsx"
        with pd.ExcelWriter(path, engine="openpyxl") as book:
            for name, rows in sheets.items():
                width = max(len(row) for row in rows)
                frame = pd.DataFrame([[*row, *[None] * (width - len(row))] for row in rows])
                frame.to_excel(book, sheet_name=name, header=False, index=False)
        return path

    return write
