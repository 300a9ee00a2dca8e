from datetime import date, timedelta

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.columns import TABLES, Column
from ndtstats.intake.convert import clean, convert

LENGTH = TABLES["joints"].column("length_mm")
CROSSINGS = TABLES["joints"].column("crossings_mm")
BAR = TABLES["tests"].column("pressure_bar")
DAY = TABLES["examinations"].column("date")
VERDICT = TABLES["examinations"].column("verdict")
ROUND = TABLES["examinations"].column("round")
WHOLE = TABLES["joints"].column("whole")


def read(texts: list[str], column: Column, **declared: object) -> tuple[list[object], dict]:
    """What the texts are read as (None where not), and the code of each that cannot be read."""
    done = convert(pd.Series(texts, dtype="str"), column, **declared)
    values = done.values.astype(object)
    shown = values.where(values.notna(), None).tolist()
    return shown, {text: why.code for text, why in done.unread.items()}


@pytest.mark.parametrize(
    ("texts", "declared", "expected"),
    [
        (["12.5", "300", "0", ""], {}, [12.5, 300.0, 0.0, None]),
        (["+3", "1e3", ".5", "300."], {}, [3.0, 1000.0, 0.5, 300.0]),
        (["-0"], {}, [0.0]),
        (["12,5"], {}, [12.5]),  # no other reading
        (["0,125"], {}, [0.125]),  # no group of thousands begins with 0
        (["1,2345"], {}, [1.2345]),  # nor has four figures
        (["1 200", "1'200", "1 234 567,5"], {}, [1200.0, 1200.0, 1234567.5]),
        (["1,234.5", "1.234,5"], {}, [1234.5, 1234.5]),
        (["1,234,567"], {}, [1234567.0]),
        # one cell settles the column
        (["12.5", "1,200"], {}, [12.5, 1200.0]),
        (["12,5", "1,200"], {}, [12.5, 1.2]),
        (["12,5", "1.250"], {"points": False}, [12.5, 1250.0]),
        # declared
        (["1,200"], {"decimal": ","}, [1.2]),
        (["1,200"], {"decimal": "."}, [1200.0]),
        (["1.250", "3,5"], {"decimal": ",", "points": False}, [1250.0, 3.5]),
        # real numbers of a spreadsheet have a point, whatever its texts are written with
        (["1.5", "2,5"], {"decimal": ","}, [1.5, 2.5]),
        (["1.250"], {}, [1.25]),
    ],
)
def test_numbers_are_read(texts, declared, expected):
    assert read(texts, BAR, **declared) == (expected, {})


@pytest.mark.parametrize(
    ("texts", "declared", "refused"),
    [
        (["1,200"], {}, "1,200"),
        (["1,200", "300"], {}, "1,200"),
        (["12,5", "2.5", "1,200"], {}, "1,200"),  # the column speaks for both
        (["1.250"], {"points": False}, "1.250"),
        (["12,5", "1.250"], {}, "1.250"),  # a real number, or a group of thousands?
        (["1.250"], {"decimal": ","}, "1.250"),
    ],
)
def test_numbers_that_can_be_read_two_ways_are_refused(texts, declared, refused):
    values, unread = read(texts, BAR, **declared)
    assert unread == {refused: "NUMBER-AMBIGUOUS"}
    assert values[texts.index(refused)] is None


def test_both_readings_of_a_number_are_told():
    why = convert(pd.Series(["1,200"]), BAR).unread["1,200"]
    assert why.reason == "can be read as 1200 or as 1.200"


@pytest.mark.parametrize(
    "text",
    [
        "3OO", "nan", "inf", "-inf", "1e400", "1e308", "0x10", "1_000", "--", "12.5.1", "1,2,3",
        "٣", "²", "300 mm",
    ],
)  # fmt: skip
def test_what_is_no_number_is_told(text):
    assert read([text], BAR) == ([None], {text: "NUMBER"})


@pytest.mark.parametrize(
    ("texts", "decimal"), [(["12,5"], "."), (["1.5"], ",")], ids=["comma", "point"]
)
def test_a_number_against_the_declared_mark_is_told(texts, decimal):
    assert read(texts, BAR, decimal=decimal, points=False)[1] == {texts[0]: "NUMBER"}


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("30", "cm", 300.0), ("0.07", "m", 70.0), ("1", "in", 25.4), ("4.1", "in", 104.14),
        ("7", None, 7.0),
    ],
)  # fmt: skip
def test_lengths_come_in_millimetres(text, unit, mm):
    assert read([text], LENGTH, unit=unit) == ([mm], {})


def test_a_unit_of_length_does_not_touch_what_is_no_length():
    assert read(["2"], BAR, unit="m") == ([2.0], {})


def test_crossings_are_a_list_whatever_its_order():
    assert read(["1800; 250", "250;1800"], CROSSINGS) == (["250;1800", "250;1800"], {})
    assert read(["0,5;1,25"], CROSSINGS, unit="m") == (["500;1250"], {})
    assert read(["123456.75"], CROSSINGS) == (["123456.75"], {})


@pytest.mark.parametrize(
    ("text", "code"),
    [("a;250", "NUMBERS"), ("-5", "NUMBERS"), (";", "NUMBERS"), ("1,200;5", "NUMBER-AMBIGUOUS")],
)
def test_what_is_no_list_of_positions_is_told(text, code):
    assert read([text], CROSSINGS) == ([None], {text: code})


@pytest.mark.parametrize(
    ("texts", "declared", "expected"),
    [
        (["2026-03-01", "20260301", "2026/03/01"], None, ["2026-03-01"] * 3),
        (["2026-03-01T08:30:00", "2026-03-01 08:30"], None, ["2026-03-01"] * 2),
        # 1 January 2026 is day 46023 of a spreadsheet (from memory); 1 March comes 59 days later.
        (["46082", "46082.75"], "serial", ["2026-03-01"] * 2),
        (["46082"], None, ["2026-03-01"]),
        (["1.3.2026", "01/03/26", "1-3-2026", "01. 03. 2026"], "dmy", ["2026-03-01"] * 4),
        (["3/1/2026", "03/01/26"], "mdy", ["2026-03-01"] * 2),
        (["13.3.2026", "1.3.2026"], None, ["2026-03-13", "2026-03-01"]),  # day first, or not at all
        (["3/13/2026", "3/1/2026"], None, ["2026-03-13", "2026-03-01"]),
        (["5/5/2026"], None, ["2026-05-05"]),  # both readings are the same
        (["13/1/2026", "1/13/2026"], None, ["2026-01-13"] * 2),  # each has one reading only
    ],
)
def test_dates_are_read(texts, declared, expected):
    values, unread = read(texts, DAY, dates=declared)
    assert ([f"{value:%Y-%m-%d}" for value in values], unread) == (expected, {})


def test_dates_that_can_be_read_two_ways_are_refused_with_both_readings():
    done = convert(pd.Series(["1/3/2026", "2026-05-01"]), DAY)
    assert done.values.isna().tolist() == [True, False]
    (why,) = done.unread.values()
    assert why.code == "DATE-AMBIGUOUS"
    assert why.reason == (
        "can be read as 2026-03-01 (day first) or as 2026-01-03 (month first)"
    )  # fmt: skip


def test_a_column_that_speaks_for_both_orders_settles_nothing():
    values, unread = read(["13/1/2026", "1/13/2026", "1/2/2026"], DAY)
    assert unread == {"1/2/2026": "DATE-AMBIGUOUS"}
    assert values[2] is None


@pytest.mark.parametrize(
    ("text", "declared"),
    [
        ("31.2.2026", None), ("2026-02-30", None), ("1949-12-31", None), ("soon", None),
        ("08:30:00", None), ("1/3/2026", "iso"), ("1/13/2026", "dmy"), ("2026-03/01", None),
    ],
)  # fmt: skip
def test_what_is_no_date_is_told(text, declared):
    assert read([text], DAY, dates=declared) == ([None], {text: "DATE"})


def test_flags():
    texts = ["Yes", "y", "TRUE", "1", "x", "no", "N", "false", "0", "-", ""]
    assert read(texts, WHOLE) == ([True] * 5 + [False] * 5 + [None], {})
    assert read(["maybe"], WHOLE) == ([None], {"maybe": "FLAG"})


def test_rounds_are_written_as_the_trade_does():
    assert read(["0", "R1", "r2", "3.0", ""], ROUND) == ([0, 1, 2, 3, None], {})
    assert read(["1.5", "-1", "Rx"], ROUND)[1] == dict.fromkeys(["1.5", "-1", "Rx"], "WHOLE")


def test_words_are_known_whatever_their_capitals_blanks_and_dashes():
    texts = ["Accept", "RE SHOOT", "reshoot", "not-done", "Not Done"]
    expected = ["accept", "re-shoot", "re-shoot", "not done", "not done"]
    assert read(texts, VERDICT) == (expected, {})


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("rejcet", 'did you mean "reject"?'),
        ("o.k.", "write one of accept, reject, re-shoot, not done"),
    ],
)
def test_a_word_that_is_not_allowed_is_told_with_what_would_be(text, remedy):
    why = convert(pd.Series([text]), VERDICT).unread[text]
    assert (why.code, why.reason, why.remedy) == ("WORD", "is not a verdict", remedy)


@pytest.mark.parametrize(
    ("text", "cleaned"),
    [
        ("\u00a0B-1\u202f ", "B-1"), ("B  1\n\ta", "B 1 a"), ("'=x", "=x"), ("'-3", "-3"),
        ("'quoted'", "'quoted'"), ("B\x1f1", "B 1"), ("", ""),
    ],
)  # fmt: skip
def test_cells_are_cleaned_of_what_nobody_sees(text, cleaned):
    assert clean(pd.Series([text], dtype="str")).tolist() == [cleaned]


@given(st.lists(st.floats(0, 1e9), min_size=1), st.sampled_from([".", ","]))
def test_a_number_written_with_a_declared_mark_comes_back(numbers, mark):
    texts = [f"{number:.6f}".replace(".", mark) for number in numbers]
    values, unread = read(texts, BAR, decimal=mark, points=False)
    assert unread == {}
    assert values == pytest.approx(numbers, abs=1e-6)


@given(
    st.lists(st.dates(date(1950, 1, 1), date(2100, 12, 31)), min_size=1),
    st.sampled_from(["dmy", "mdy", "iso", "serial"]),
)
def test_a_date_written_in_a_declared_order_comes_back(days, order):
    write = {
        "dmy": lambda d: f"{d.day}.{d.month}.{d.year}",
        "mdy": lambda d: f"{d.month}/{d.day}/{d.year}",
        "iso": lambda d: d.isoformat(),
        "serial": lambda d: str((d - date(1899, 12, 30)) // timedelta(days=1)),
    }[order]
    values, unread = read([write(day) for day in days], DAY, dates=order)
    assert unread == {}
    assert [value.date() for value in values] == days


@given(st.lists(st.dates(date(1950, 1, 1), date(2100, 12, 31)), min_size=1))
def test_dates_undeclared_come_back_or_are_refused(days):
    texts = [f"{d.day}/{d.month}/{d.year}" for d in days]
    values, unread = read(texts, DAY)
    settled = any(d.day > 12 for d in days)
    for day, text, value in zip(days, texts, values, strict=True):
        sure = settled or day.day == day.month
        assert (text in unread) != sure
        assert value is None if text in unread else value.date() == day
