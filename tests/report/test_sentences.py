import pandas as pd
import pytest

from ndtstats.report.sentences import (
    decisions,
    extent_part,
    few_sentence,
    others_sentence,
    rate_sentence,
    repairs_sentence,
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


def test_who_stands_out_and_what_lapses_is_to_be_decided_too():
    met = pd.DataFrame({"state": ["met"]})
    found = decisions(
        owed="Nothing is owed.", extents=met, extent="", planned=0, warnings=0,
        lapsing="1 certificate lapses.", apart="Welder Z9 stands out.",
    )  # fmt: skip
    assert [decision.anchor for decision in found] == ["rates", "lapsing"]


def test_nothing_to_decide_is_empty():
    met = pd.DataFrame({"state": ["met"]})
    assert decisions(owed="Nothing is owed.", extents=met, extent="", planned=0, warnings=0) == ()


def test_welders_known_by_a_small_sample_are_counted():
    table = pd.DataFrame({"welder": ["A", "B", "C"], "examined": [200, 12, 0]})
    assert "1 of 2 welders has fewer than 30 spots" in few_sentence(table)
    assert few_sentence(table.head(1)) == ""


def aside(accepted, repairs):
    return pd.DataFrame(
        {
            "what": ["repairs accepted", "re-shoots", "not done"], "count": [accepted, 1, 0],
            "of": [repairs, 50, 50], "rate": 0.75, "lower": 0.1941, "upper": 0.9937, "level": 0.95,
        }
    )  # fmt: skip


def test_repairs_are_told_with_their_bounds():
    # 3 of 4: 0.1941 to 0.9937, Clopper-Pearson at 95 % (computed with a general library).
    said = repairs_sentence(aside(3, 4), "RT")
    assert said.startswith("3 of 4 repairs examined again by RT were accepted, 75.0 %; with 95 %")
    assert "between 19.4 % and 99.4 % are. That is a small sample." in said
    assert said.endswith("1 re-shoot among 50 exposures; no spots not done.")


def test_no_repair_has_no_share():
    assert repairs_sentence(aside(0, 0), "RT").startswith("No repair was examined again by RT yet.")


def test_other_methods_are_told_apart():
    table = pd.DataFrame({"method": ["RT", "UT", "VT"], "rejected": [9, 0, 2], "examined": 10})
    assert others_sentence(table, "RT") == (
        "Rejected by other methods, not in these rates: UT 0 of 10 and VT 2 of 10."
    )
    assert others_sentence(table.head(1), "RT") == ""
