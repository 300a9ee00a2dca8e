import pytest
from rich.cells import cell_len

from ndtstats.cli.layout import Laid, table_lines

NAMES = Laid("welder", ["K7", "M12"], False)
SHARES = Laid("share of all rejected", ["1.5 %", "100.0 %"], True)
PLACES = Laid("because", ["RT X2-26-22 no. 1, GM-002 0-688 mm, 2026-05-28", ""], False)
RULES = Laid("rule", ["butts in longitudinals, within 0.4 L", "seams"], False)
BLANK = Laid("note", ["", ""], False)
ALL = [NAMES, SHARES, PLACES, RULES, BLANK]


def words(lines):
    return {word for line in lines for word in line.split()} - {"─" * len(lines[1])}


def test_where_nobody_looks_every_row_stands_on_one_line():
    lines = table_lines(ALL, None)
    assert len(lines) == 2 + 2
    assert lines[0].split("   ")[0] == "welder"
    assert "GM-002 0-688 mm, 2026-05-28   butts in longitudinals, within" in lines[2]


def test_numbers_end_below_each_other():
    lines = table_lines([NAMES, SHARES], None)
    assert lines[2].endswith("1.5 %")
    assert len({len(line) for line in lines}) == 1


@pytest.mark.parametrize("width", [50, 60, 80, 100, 120])
def test_on_a_terminal_nothing_is_wider_and_no_word_is_broken(width):
    lines = table_lines(ALL, width)
    assert max(map(len, lines)) <= width
    shown = words(lines)
    for cell in (*NAMES.cells, *SHARES.cells, *PLACES.cells, *RULES.cells):
        assert set(cell.split()) <= shown


def test_what_has_no_room_stands_below_its_row_by_name():
    lines = table_lines(ALL, 50)
    assert any(line.startswith("    because: RT X2-26-22") for line in lines)
    # An empty cell needs no line, and an empty column no place.
    assert sum("because:" in line for line in lines) == 1
    assert not any("note" in line for line in lines)


def test_headings_take_lines_before_texts_do():
    lines = table_lines([NAMES, SHARES], 22)
    assert [line.strip() for line in lines[:2]] == ["share of all", "welder        rejected"]


def test_a_long_word_of_a_cell_is_whole_where_there_is_room():
    file = Laid("where", ["contractor-spring.csv, row 5, column joint"], False)
    lines = table_lines([Laid("warning", ["W25"], False), file], 40)
    assert lines[2].split("  ")[-1].split(",")[0].strip() == "contractor-spring.csv"


def test_wide_letters_count_double():
    lines = table_lines([Laid("name", ["焊工", "K7"], False), Laid("n", ["1", "2"], True)], None)
    assert cell_len(lines[2]) == cell_len(lines[3])
