"""Files are read quickly where that is safe, and then as with all care."""

import csv
import io
import os
from itertools import zip_longest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.errors import CannotGoOn, UseError
from ndtstats.intake import readers
from ndtstats.intake.cells import Cells, combined
from ndtstats.intake.readers import read_grids

CELL = st.text(st.sampled_from("ab 1.'#\t\u00a0\u2028\x1cé"), max_size=4)


def expected(text: str, delimiter: str) -> list[list[str]]:
    """The rows as Python's csv module reads them, each as wide as the widest."""
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    return [list(row) for row in zip(*zip_longest(*rows, fillvalue=""), strict=True)]


@given(
    st.lists(st.lists(CELL, min_size=1, max_size=5), min_size=1, max_size=30),
    st.sampled_from(["\n", "\r\n"]),
    st.booleans(),
)
def test_what_is_read_is_what_the_csv_module_reads(tmp_path_factory, rows, ending, ended):
    text = "a,b\n" + ending.join(",".join(row) for row in rows) + ending * ended
    path = tmp_path_factory.mktemp("read") / "table.csv"
    path.write_bytes(text.encode())
    (grid,) = read_grids(path)
    assert grid.cells.to_numpy().tolist() == expected(text, grid.delimiter)


def plainly(path, monkeypatch) -> bool:
    """Whether a file was read quickly, without the reader that takes care of quoted cells."""
    with monkeypatch.context() as without:
        without.setattr(readers, "_records", lambda *_: pytest.fail("read with care"))
        try:
            read_grids(path)
        except pytest.fail.Exception:
            return False
        return True


@pytest.mark.parametrize(
    ("text", "quick"),
    [
        ("a,b\n1,2\n", True),
        ("title\na,b\n1\n\n3,4", True),
        ('a,b\n"1",2\n', False),
        ("a,b\n1,2\r3,4\n", False),
        ("a,b\r\n1,2\r", False),
    ],
)
def test_quoted_cells_and_odd_ends_of_rows_are_read_with_care(tmp_path, monkeypatch, text, quick):
    path = tmp_path / "table.csv"
    path.write_bytes(text.encode())
    assert plainly(path, monkeypatch) == quick
    (grid,) = read_grids(path)
    assert grid.cells.to_numpy().tolist() == expected(text, ",")


def test_a_row_wider_than_those_at_the_start_is_read(tmp_path, monkeypatch):
    path = tmp_path / "table.csv"
    text = "a,b\n" + "1,2\n" * 400_000 + "1,2,3\n4\n"
    path.write_text(text)
    assert not plainly(path, monkeypatch)
    (grid,) = read_grids(path)
    assert grid.coded.frame(slice(-2, None)).to_numpy().tolist() == [["1", "2", "3"], ["4", "", ""]]


def test_a_long_cell_is_told_with_its_row(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("a,b\n1,2\n1," + "x" * 100_001 + "\n")
    with pytest.raises(UseError, match="row 3 has a cell of 100,001 characters"):
        read_grids(path)


def test_a_file_that_changes_while_it_is_read_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "table.csv"
    path.write_text("a,b\n1,2\n")
    read = readers._text

    def meanwhile(path):
        grid = read(path)
        os.truncate(path, 3)
        return grid

    monkeypatch.setattr(readers, "_text", meanwhile)
    with pytest.raises(CannotGoOn, match="was changed while it was read"):
        read_grids(path)


@given(st.lists(st.lists(st.text("ab", max_size=2), max_size=4), min_size=1), st.integers(1, 5))
def test_cells_are_the_same_however_the_rows_are_cut(rows, size):
    whole, parts = Cells(), Cells()
    whole.add(rows)
    for start in range(0, len(rows), size):
        parts.add(rows[start : start + size])
    whole.close()
    parts.close()
    assert whole.frame().equals(parts.frame())


NUMBERS = st.lists(st.tuples(*[st.integers(0, 2**31)] * 3), min_size=1)


@given(NUMBERS)
def test_rows_have_one_number_if_they_are_equal(rows):
    numbers = combined([np.array(column) for column in zip(*rows, strict=True)]).tolist()
    by_row = dict(zip(rows, numbers, strict=True))
    assert [by_row[row] for row in rows] == numbers
    assert len(set(by_row.values())) == len(by_row)
