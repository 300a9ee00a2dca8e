"""Tests of zones: figures of the kinds, and what a rules file may say of them."""

import re

import pytest

from ndtstats.rules import how_tested, load_rules, parse_rules, read_rules, usual_test
from ndtstats.rules.describe import sources
from ndtstats.rules.zone_tests import KINDS, ZoneTest, kinds_text, serves

RULES = """\
title = "Tank 12"
follows = "an invented rule"
edition = "2026"
{tests}
[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = {{ family = "share-of-length", percent = 4 }}
"""


# IACS UR S14 (figures seen): air 0.15 bar after 0.20 bar for an hour; hose 2 bar; vacuum box 0.20
# to 0.26 bar below the atmosphere. LR, inland waterways ships (seen): 0.007 and 0.010 N/mm2, the
# latter never above 0.015. 1 N/mm2 is 10 bar.
@pytest.mark.parametrize(
    ("kind", "pressure_bar", "raised_to_bar", "most_bar", "hold_min"),
    [
        ("air", 0.15, 0.20, None, 60),
        ("air-by-fall", 0.20, None, None, 60),
        ("air-inland", 0.007 * 10, None, None, 0),
        ("air-rudder", 0.010 * 10, None, 0.015 * 10, 0),
        ("hose", 2.0, None, None, 0),
        ("vacuum-box", 0.20, None, 0.26, 0),
        ("kerosene", None, None, None, 20),
        # A head of 2.4 m, and of 1 m, of fresh water: 9.81 kN/m3, 100 kN/m2 to the bar.
        ("head-of-water", 2.4 * 9.81 / 100, None, None, 0),
        ("head-of-water-inland", 9.81 / 100, None, None, 0),
    ],
)
def test_figures_of_the_kinds(kind, pressure_bar, raised_to_bar, most_bar, hold_min):
    test = usual_test(kind)
    # The heads are rounded up to a hundredth of a bar, which a gauge shows.
    assert (test.pressure_bar is None) == (pressure_bar is None)
    assert (test.pressure_bar or 0) == pytest.approx(pressure_bar or 0, abs=0.005)
    assert (test.raised_to_bar, test.most_bar, test.hold_min) == (raised_to_bar, most_bar, hold_min)


def test_every_value_of_the_data_says_where_it_comes_from():
    values = sources(kinds_text())
    assert len(values) > 30
    marked = values["source"].map(
        lambda told: re.search(r"seen|from memory|common practice, no source", told) is not None
    )
    assert values[~marked].empty


def test_kinds_serve_leaks_or_strength():
    assert {kind for kind in KINDS if serves(kind) == "pressure"} == {
        "head-of-water", "head-of-water-inland",
    }  # fmt: skip
    assert not usual_test("hose").fills
    assert usual_test("air").fills


def test_a_rules_file_changes_what_it_names():
    text = RULES.format(tests='[tests.leak]\nkind = "air"\nraised_to_bar = 0.18\n')
    rules = read_rules(text, source="r.toml")
    leak = rules.zone_test("leak")
    assert isinstance(leak, ZoneTest)
    assert (leak.pressure_bar, leak.raised_to_bar) == (0.15, 0.18)
    assert rules.zone_test("pressure") is None
    assert how_tested(leak).startswith("air: raise to 0.18 bar, hold 60 min, look at 0.15 bar")


def test_without_a_word_of_tests_none_is_known():
    assert read_rules(RULES.format(tests=""), source="r.toml").zone_test("leak") is None


@pytest.mark.parametrize(
    ("tests", "key", "says"),
    [
        ('[tests.leek]\nkind = "air"\n', "tests.leek", 'did you mean "leak"?'),
        ('[tests.leak]\nkind = "hoses"\n', "tests.leak.kind", 'did you mean "hose"?'),
        ('[tests.leak]\nkind = "air"\nhold = 3\n', "tests.leak.hold", 'did you mean "hold_min"?'),
        ('[tests.leak]\nkind = "head-of-water"\n', "tests.leak.kind", "is no leak test"),
        ('[tests.leak]\nkind = "air-rudder"\npressure_bar = 0.2\n', "tests.leak.pressure_bar",
         "exceeds most_bar, 0.15"),
        ('[tests.leak]\nkind = "air"\nmost_bar = 0.17\n', "tests.leak.most_bar", "0.2 exceeds"),
        ('[tests.leak]\nkind = "air"\npressure_bar = -1.0\n', "tests.leak.pressure_bar",
         "greater than 0"),
    ],
)  # fmt: skip
def test_a_slip_is_told_with_its_line(tests, key, says):
    _, (problem, *more) = parse_rules(RULES.format(tests=tests), source="r.toml")
    assert more == []
    assert (problem.key, says in str(problem)) == (key, True)
    assert problem.line in {4, 5, 6}


@pytest.mark.parametrize("name", ["aluminium-hull", "steel-hull"])
def test_hulls_are_tested_by_air(name):
    leak = load_rules(name).zone_test("leak")
    assert leak == usual_test("air")
