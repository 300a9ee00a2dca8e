"""Conditions of rules on their joints: who is under which rule, and what in them cannot be."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.rules import in_no_rule, joints_under, nameless, read_rules
from ndtstats.rules.reader import parse_rules
from ndtstats.rules.where import apart

TOP = 'title = "t"\nfollows = "f"\nedition = "e"\n'


def rule(name="r", where="", **keys):
    lines = [f'name = "{name}"', 'categories = ["A"]', 'method = "RT"', f"where = {{ {where} }}"]
    lines += [f"{key} = {value}" for key, value in keys.items()]
    if "amount" not in keys:
        lines.append('amount = { family = "share-of-length", percent = 10 }')
    return "[[extent]]\n" + "\n".join(lines) + "\n"


def told(text):
    return [(problem.line, str(problem)) for problem in parse_rules(TOP + text, source="r")[1]]


JOINTS = pd.DataFrame(
    {
        "joint": ["J1", "J2", "J3", "J4", "J5"],
        "category": ["A", "A", "A", "A", "B"],
        "joint_type": ["butt", "tee", "butt", None, "butt"],
        "zone": ["T1", "T1", "T2", "T2", "T1"],
        "thickness_mm": [10.0, 12.0, 25.0, None, 12.0],
        "length_mm": [500.0, 900.0, 900.0, 900.0, 900.0],
    }
)


@pytest.mark.parametrize(
    ("where", "under"),
    [
        ("", ["J1", "J2", "J3", "J4"]),
        ("thickness_mm = { up_to = 12 }", ["J1", "J2"]),
        ("thickness_mm = { below = 12 }", ["J1"]),
        ("thickness_mm = { above = 10, up_to = 25 }", ["J2", "J3"]),
        ("thickness_mm = { at_least = 10, below = 25 }", ["J1", "J2"]),
        ('joint_type = ["butt"]', ["J1", "J3"]),
        ('joint_type = ["butt", "tee"], zone = ["T1"]', ["J1", "J2"]),
        ('length_mm = { above = 500 }, zone = ["T2"]', ["J3", "J4"]),
    ],
)
def test_joints_meet_all_of_the_condition(where, under):
    held = read_rules(TOP + rule(where=where), source="r").extent[0]
    assert joints_under(JOINTS, held)["joint"].tolist() == under


def test_a_joint_that_meets_no_condition_is_named_as_forgotten():
    text = rule("thin", "thickness_mm = { up_to = 20 }")
    rules = read_rules(TOP + text, source="r")
    assert JOINTS.loc[in_no_rule(JOINTS, rules), "joint"].tolist() == ["J3", "J4", "J5"]
    assert nameless(JOINTS, rules) == "in no rule: 2 joints of category A, 1 joint of category B"
    nothing = read_rules(TOP + 'nothing_asked = ["B"]\n' + text, source="r")
    assert nameless(JOINTS, nothing) == "in no rule: 2 joints of category A"
    assert nothing.categories == {"A", "B"}


RANGES = st.fixed_dictionaries(
    {}, optional={key: st.integers(1, 4) for key in ("above", "at_least", "below", "up_to")}
).filter(lambda r: not ({"above", "at_least"} <= r.keys() or {"below", "up_to"} <= r.keys()))


def within(value, r):
    return (
        value > r.get("above", -1)
        and value >= r.get("at_least", -1)
        and value < r.get("below", 99)
        and value <= r.get("up_to", 99)
    )


@given(RANGES, RANGES)
def test_ranges_are_apart_when_no_number_is_in_both(one, other):
    values = [number / 4 for number in range(40)]
    meet = any(within(value, one) and within(value, other) for value in values)
    assert apart({"thickness_mm": one}, {"thickness_mm": other}) == (not meet)


def test_rules_whose_conditions_no_joint_meets_share_a_category():
    thin, thick = "thickness_mm = { up_to = 10 }", "thickness_mm = { above = 10 }"
    assert told(rule("a", thin) + rule("b", thick)) == []
    assert told(rule("a", 'zone = ["T1"]') + rule("b", 'zone = ["T2"]')) == []
    both = told(rule("a", thin) + rule("b", "thickness_mm = { at_least = 10 }"))
    assert len(both) == 1
    assert "or by a where that no joint meets in both" in both[0][1]
    assert told(rule("a", thin) + rule("b", 'zone = ["T1"]')) != []


def test_another_method_that_counts_as_well_may_not_be_asked_for_twice():
    other = rule("b").replace('"RT"', '"UT"')
    assert told(rule("a") + other) == []
    assert "already" in told(rule("a", or_by='["UT"]') + other)[0][1]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (rule(where="thickness_mm = { }"), 8, "has no bound; give above or at_least"),
        (rule(where="thickness_mm = { above = 3, at_least = 4 }"), 8, "has above and at_least"),
        (rule(where="thickness_mm = { above = 9, up_to = 9 }"), 8, "holds no number"),
        (rule(where="thickness_mm = { most = 9 }"), 8, "known here: above, at_least, below, up_to"),
        (rule(where="thicknes_mm = { above = 9 }"), 8, 'did you mean "thickness_mm"?'),
        (rule(where='joint_type = ["but"]'), 8, 'did you mean "butt"?'),
        (rule(where='position = ["PX"]'), 8, "can stand in no joint as position"),
        (rule(where='zone = "T1"'), 8, "give an array"),
        (rule(adjusted="{ factor = 0.5 }"), 9, "extent.adjusted.reason: is missing"),
        (rule(always='["crossings"]', always_counts="false"), 10, "part the rule by places"),
        (rule(always_counts='"no"'), 9, "give true or false"),
        (
            rule(
                amount='{ family = "percent-of-joints", percent = 5, examined = "one-spot" }',
                always='["crossings"]',
            ),
            10,
            "one spot of each joint is drawn",
        ),
        (
            rule(amount='{ family = "percent-of-joints", percent = 5 }', spots_per_joint="1"),
            10,
            "take a family of spots",
        ),
        (
            rule(
                amount='{ family = "share-of-length", percent = 5, reduction = { after_joints = 3, '
                "percent = 1 } }"
            ),
            9,
            'did you mean "after_m"?',
        ),
        ('nothing_asked = ["A"]\n' + rule(), 7, "stands under nothing_asked"),
    ],
)
def test_what_cannot_be_is_told_with_its_line(text, line, words):
    found = told(text)
    assert any(at == line and words in sentence for at, sentence in found), found
