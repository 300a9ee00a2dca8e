import pandas as pd
import pytest

from ndtstats.report.sentences import (
    apart_sentence,
    decisions,
    extent_part,
    others_sentence,
    rate_sentence,
)


def row(basis="unbiased", rejected=3, examined=30):
    # 3 of 30: 0.0211 to 0.2653, Clopper-Pearson at 95 % (computed with a general library).
    return pd.Series(
        {
            "basis": basis, "rejected": rejected, "examined": examined, "rate": 0.1,
            "lower": 0.0211, "upper": 0.2653, "level": 0.95,
        }
    )  # fmt: skip


def test_the_rate_is_said_with_both_numbers_and_its_bounds():
    said = rate_sentence("H1", "RT", row())
    assert said == (
        "Job H1, RT: 3 of 30 spots chosen by rule or by chance were rejected at first examination. "
        "The reject rate of all its welds is about 10.0 %; with 95 % confidence it lies between "
        "2.1 % and 26.5 %."
    )


@pytest.mark.parametrize(("examined", "small"), [(29, True), (30, False)])
def test_a_small_sample_is_called_small(examined, small):
    assert ("small sample" in rate_sentence("H1", "RT", row(examined=examined))) is small


def test_one_is_said_as_one():
    said = rate_sentence("H1", "RT", row("described", 1, 1))
    assert "1 of 1 spot was rejected" in said
    assert "of what was examined" in said
    assert "of all its welds" not in said


@pytest.mark.parametrize("nothing", [None, row(examined=0)])
def test_nothing_examined_has_no_rate(nothing):
    assert rate_sentence("H1", "RT", nothing) == "Nothing of job H1 has been examined by RT yet."


@pytest.mark.parametrize(
    ("states", "said"),
    [
        ([], "No rules are in force, so no extent is required."),
        (["met", "met"], "All extents are met."),
        (["met", "short"], "1 extent is short."),
        (["short", "short"], "2 extents are short."),
    ],
)
def test_extents_in_short(states, said):
    assert extent_part(pd.DataFrame({"state": states})) == said


def test_decisions_begin_with_what_is_owed():
    found = decisions(
        owed="Owed: 1 repair.", extents=pd.DataFrame({"state": ["short"]}), extent="One short.",
        planned=1, warnings=2,
    )  # fmt: skip
    assert [decision.anchor for decision in found] == ["owed", "extent", "strips", "warnings"]
    assert found[2].text == "1 planned spot waits for an examination."
    assert found[3].text == "2 warnings wait for somebody to deal with them."


def test_nothing_to_decide_is_empty():
    met = pd.DataFrame({"state": ["met"]})
    assert decisions(owed="Nothing is owed.", extents=met, extent="", planned=0, warnings=0) == ()


WELDERS = pd.DataFrame(
    {
        "welder": ["A", "B", "C"], "examined": [200, 200, 12], "lower": [0.08, 0.0, 0.0],
        "upper": [0.2, 0.02, 0.3],
    }
)  # fmt: skip


def test_who_stands_apart_is_named_with_a_caution():
    said = apart_sentence(WELDERS, 0.05, 0.95)
    assert "welder A lie wholly above" in said
    assert "welder B lie wholly below" in said
    assert "about one in 20" in said
    assert "1 welder has fewer than 30 spots" in said


def test_nobody_stands_apart_where_all_bounds_hold_the_rate_of_all():
    said = apart_sentence(WELDERS.assign(lower=0.0, upper=0.4), 0.05, 0.95)
    assert "do not tell them apart" in said


def test_one_welder_is_compared_with_nobody():
    assert apart_sentence(WELDERS.head(1), 0.05, 0.95) == ""


def test_other_methods_are_told_apart():
    table = pd.DataFrame({"method": ["RT", "UT", "VT"], "rejected": [9, 0, 2], "examined": 10})
    assert others_sentence(table, "RT") == (
        "Rejected by other methods, not in these rates: UT 0 of 10 and VT 2 of 10."
    )
    assert others_sentence(table.head(1), "RT") == ""
