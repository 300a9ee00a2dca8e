import pytest

from ndtstats.rules.describe import amount_in_words, rules_table, sources
from ndtstats.rules.model import Adjusted, ExtentRule
from ndtstats.rules.reader import list_presets, load_rules
from ndtstats.rules.where import Where


def rule(places: str = "all", **amount: object) -> ExtentRule:
    named = {"name": "r", "categories": ["A"], "method": "RT", "places": places}
    return ExtentRule.model_validate({**named, "amount": amount})


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        ({"family": "percent-of-joints", "percent": 5.0}, "5 % of joints, at least 1"),
        ({"family": "percent-of-joints", "percent": 100.0}, "all joints"),
        ({"family": "percent-of-joints", "one_in": 10.0, "least": 0}, "1 in 10 joints"),
        (
            {
                "family": "percent-of-joints",
                "percent": 5.0,
                "reduction": {"after_joints": 100, "percent": 2.0, "least": 5},
            },
            "5 % of joints, at least 1; clean beyond 100: 2 %, at least 5",
        ),
        (
            {"family": "spot-per-increment", "increment_m": 15.2},
            "1 spot in 15.2 m or a fraction of it",
        ),
        (
            {
                "family": "spot-per-increment",
                "increment_m": 30.0,
                "remainder": "major-fraction",
                "first_m": 3.0,
                "first_for": "each-welder",
                "crossing_percent": 25.0,
                "crossing_least": 2,
            },
            "1 spot in the first 3 m of each welder, then 1 spot in 30 m or a major fraction of "
            "it; 25 % at crossings, at least 2",
        ),
        ({"family": "share-of-length", "one_in": 25.0}, "1 m in 25 m"),
        ({"family": "share-of-length", "percent": 100.0}, "the whole length"),
        (
            {"family": "share-of-length", "percent": 10.0, "least_mm": 900.0},
            "10 % of length, at least 900 mm",
        ),
        (
            {
                "family": "share-of-length",
                "percent": 100.0,
                "reduction": {"after_m": 20.0, "percent": 10.0},
            },
            "the whole length; clean beyond 20 m: 10 % of what follows",
        ),
        (
            {
                "family": "percent-of-joints",
                "one_in": 20.0,
                "examined": "one-spot",
                "counted_for": "each-welder",
            },
            "1 in 20 joints, at least 1 of each welder, one spot on each",
        ),
        (
            {
                "family": "spot-per-increment",
                "increment_m": 15.2,
                "shown_in": "each-increment",
            },
            "1 spot in 15.2 m or a fraction of it, each welder in each",
        ),
        ({"family": "check-points", "divisor": 46.5}, "L (B + D) / 46.5 points"),
        ({"family": "check-points", "points": 1}, "1 point"),
        ({"family": "check-points", "points": 12}, "12 points"),
    ],
)
def test_an_amount_in_words(amount, words):
    assert amount_in_words(rule(**amount)) == words


def test_the_condition_stands_before_the_amount_and_what_is_beside_it_after():
    held = rule(family="spot-per-increment", increment_m=30.0).model_copy(
        update={
            "where": Where.model_validate(
                {"thickness_mm": {"above": 10.0, "up_to": 25.0}, "zone": ["T1", "T2"]}
            ),
            "always": ("datum-ends",),
            "always_counts": False,
            "spots_per_joint": 1,
            "adjusted": Adjusted(factor=0.5, reason="low stress"),
        }
    )
    assert amount_in_words(held) == (
        "thickness above 10 and up to 25 mm, zone T1 or T2: 1 spot in 30 m or a fraction of it; "
        "at least 1 on each joint; the places examined every one do not count; "
        "times 0.5: low stress"
    )


def test_the_places_stand_before_the_amount():
    amount = {"family": "share-of-length", "percent": 100.0}
    assert amount_in_words(rule("crossings", **amount)) == "at crossings: the whole length"


@pytest.mark.parametrize("name", list_presets())
def test_the_table_has_a_row_for_each_rule(name):
    rules = load_rules(name)
    table = rules_table(rules)
    assert table["rule"].tolist() == [rule.name for rule in rules.extent]
    whole = table["family"] == "percent-of-joints"
    assert (table["spot_length_mm"].isna() == whole).all()


TEXT = """\
# Not a source: a heading.

title = "a # b"  # chosen here, edit

[risk]
# two lines
# of source
exponent = 0.5
crossing = 2.0

[[extent]]
name = "butts"  # by hand
first = [
  "ends",  # first of two
]
amount = { family = "x", percent = 4.0 }  # a source
"""


def test_each_value_is_shown_with_the_comment_at_it():
    found = sources(TEXT)
    assert found[["line", "key", "value", "source"]].to_numpy().tolist() == [
        [3, "title", "a # b", "chosen here, edit"],
        [8, "risk.exponent", "0.5", "two lines of source"],
        [9, "risk.crossing", "2", ""],
        [12, "extent.name", "butts", "by hand"],
        [13, "extent.first", "ends", ""],
        [16, "extent.amount", "family x, percent 4", "a source"],
    ]
    assert found["rule"].dropna().unique().tolist() == ["butts"]
