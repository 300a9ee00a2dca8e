import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.rules.reader import (
    list_presets,
    load_rules,
    parse_rules,
    preset_text,
    read_rules,
    rules_text,
)

TOP = """\
title = "Tank 12"
follows = "an invented rule"
edition = "2026"
"""

BUTTS = """\
[[extent]]
name = "butts"
categories = ["A"]
method = "RT"
amount = { family = "share-of-length", percent = 4 }
"""


def problems(text: str) -> list[tuple[int | None, str]]:
    """Return line and key of each problem."""
    return [(found.line, found.key) for found in parse_rules(text, source="r.toml")[1]]


def told(text: str) -> str:
    return "\n".join(str(found) for found in parse_rules(text, source="r.toml")[1])


def test_a_small_file_is_read():
    rules = read_rules(TOP + BUTTS, source="r.toml")
    (rule,) = rules.extent
    assert (rule.name, rule.categories, rule.amount.share) == ("butts", ("A",), 0.04)
    assert rules.for_category("A") == rules.for_category("A", "RT") == (rule,)
    assert rules.for_category("A", "UT") == rules.for_category("B") == ()


def test_the_text_is_kept_as_it_stands_and_digested_so(tmp_path):
    path = tmp_path / "r.toml"
    path.write_bytes((TOP + BUTTS).encode())
    assert load_rules(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    path.write_bytes(b"\xef\xbb\xbf" + (TOP + BUTTS).replace("\n", "\r\n").encode())
    assert load_rules(path).text == (TOP + BUTTS).replace("\n", "\r\n")


WRONG = """\
title = "Tank 12"
folows = "an invented rule"
edition = ""
agreed_on = "2026-01-15"

[defaults]
spot_length_mm = -5
metod = "RT"

[risk]
exponent = 2
crossing = inf
difficult_positions = ["PX"]
[risk.consequence]
shel = 2.0

[[extent]]
name = "shell butts"
categories = ["shell", "deck"]
method = "RX"
amount = { family = "share-of-length", percnt = 4 }

[[extent]]
name = "shell butts"
categories = ["keel"]
method = "RT"
escalation = "until-sound-hul"
spots_per_welder = 1.5
  [extent.amount]
  family = "check-pints"

[[extent]]
name = "whole"
categories = []
method = "RT"
first = ["ends",
  "edges"]
amount = { family = "percent-of-joints", percent = 5, one_in = 20 }

[escalation.until-sound-hull]
most_steps = 0
moststeps = 2
[escalation.progresive-piping]
stages = 2
"""


def test_every_mistake_is_told_at_once_with_its_line():
    assert problems(WRONG) == [
        (None, "follows"),
        (2, "folows"),
        (3, "edition"),
        (4, "agreed_on"),
        (7, "defaults.spot_length_mm"),
        (8, "defaults.metod"),
        (11, "risk.exponent"),
        (12, "risk.crossing"),
        (13, "risk.difficult_positions"),
        (15, "risk.consequence.shel"),
        (20, "extent.method"),
        (21, "extent.amount.percnt"),
        (24, "extent.name"),
        (27, "extent.escalation"),
        (28, "extent.spots_per_welder"),
        (30, "extent.amount.family"),
        (34, "extent.categories"),
        (37, "extent.first[2]"),
        (38, "extent.amount"),
        (41, "escalation.until-sound-hull.most_steps"),
        (42, "escalation.until-sound-hull.moststeps"),
        (43, "escalation.progresive-piping"),
    ]


@pytest.mark.parametrize(
    "sentence",
    [
        'r.toml, line 2, folows: is not a known key; did you mean "follows"?',
        'r.toml, line 4, agreed_on: "2026-01-15" is of the wrong kind; '
        "give a date such as 2026-01-15, without quotation marks",
        "r.toml, line 7, defaults.spot_length_mm: -5 cannot be; give a number greater than 0",
        "r.toml, line 11, risk.exponent: 2 cannot be; give a number not greater than 1",
        "r.toml, line 15, risk.consequence.shel: no rule names this category; "
        'did you mean "shell"?',
        'r.toml, line 20, extent.method: "RX" is not one of the words allowed; '
        "allowed: VT, PT, MT, RT, UT, LT",
        'r.toml, line 21, extent.amount.percnt: is not a known key; did you mean "percent"?',
        'r.toml, line 27, extent.escalation: "until-sound-hul" is not an escalation procedure; '
        'did you mean "until-sound-hull"?',
        'r.toml, line 30, extent.amount.family: "check-pints" is not one of the words allowed; '
        'did you mean "check-points"?',
        "r.toml, line 38, extent.amount: has percent and one_in; give exactly one",
        "r.toml, line 43, escalation.progresive-piping: is used by no rule; "
        'did you mean "progressive-piping"?',
    ],
)
def test_a_mistake_is_told_in_words_with_what_would_be_right(sentence):
    assert sentence in told(WRONG).split("\n")


def test_a_mistake_in_the_defaults_is_told_once_where_it_stands():
    text = TOP + '[defaults]\nescalation = "none"\n' + BUTTS + BUTTS.replace('"butts"', '"b"')
    found = [found for found in problems(text) if "escalation" in found[1]]
    assert found == [(5, "defaults.escalation")]


def test_reading_raises_with_all_that_is_wrong():
    with pytest.raises(UseError) as raised:
        read_rules(WRONG, source="r.toml")
    assert str(raised.value) == told(WRONG)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('title = "a"\nx = = 3\n', 2),
        ("a = [1,\n2", 2),
        ("a = 1\na = 2\n", 2),
        # What the parser of Python's library does not refuse in words of its own.
        ("a = 1\nb = " + "[" * 5000, 2),
        ("a = 1\nb = " + "{c=" * 5000, 2),
        ("a = 1\nb = " + "9" * 5000, 2),
        ("a = 1\nb = 0x" + "f" * 9000, 2),
        ("a = 1\nb = 9223372036854775808", 2),
    ],
)
def test_a_text_that_is_no_toml_is_told_with_its_line(text, line):
    (found,) = parse_rules(text, source="r.toml")[1]
    assert found.line == line
    assert "not TOML" in str(found)


ELSEWHERE = '[[extent]]\nname="e"\ncategories=["A"]\nmethod="RT"\nplaces="elsewhere"\n' + (
    'amount={family="share-of-length", percent=4}\n'
)
CROSSINGS = ELSEWHERE.replace('"e"', '"c"').replace("elsewhere", "crossings")


@pytest.mark.parametrize(
    ("extent", "key", "words"),
    [
        (BUTTS + BUTTS.replace('["A"]', '["B"]'), "extent.name", "stands twice"),
        (BUTTS + BUTTS.replace('"butts"', '"b"'), "extent.categories", "already"),
        (BUTTS + ELSEWHERE, "extent.categories", "already"),
        (CROSSINGS + ELSEWHERE + BUTTS, "extent.categories", "already"),
        (ELSEWHERE, "extent.places", "means nothing"),
        (
            CROSSINGS.replace("share-of-length", "percent-of-joints"),
            "extent.places",
            "examined whole",
        ),
        (
            CROSSINGS.replace('"share-of-length", percent', '"spot-per-increment", increment_m'),
            "extent.places",
            "no increments",
        ),
        (
            CROSSINGS + ELSEWHERE + 'first = ["crossings"]\n',
            "extent.first",
            "leaves the crossings to another",
        ),
        (
            BUTTS.replace('"share-of-length", percent', '"check-points", lengths'),
            "extent.amount",
            "give length_m under [structure]",
        ),
        (
            BUTTS.replace('"share-of-length", percent', '"check-points", lengths')
            + 'counted_per = ["zone"]\n[structure]\nlength_m = 20\n',
            "extent.counted_per",
            "one number for all joints",
        ),
        (BUTTS.replace(", percent = 4", ""), "extent.amount", "lacks percent or one_in"),
    ],
)
def test_what_contradicts_itself_is_refused(extent, key, words):
    found = parse_rules(TOP + extent, source="r.toml")[1]
    assert [problem.key for problem in found] == [key]
    assert words in str(found[0])


def test_crossings_and_elsewhere_may_share_a_category():
    assert problems(TOP + CROSSINGS + ELSEWHERE) == []


def test_the_same_category_by_another_method_is_no_clash():
    other = BUTTS.replace('"butts"', '"b"').replace('"RT"', '"UT"')
    assert problems(TOP + BUTTS + other) == []


def test_defaults_hold_unless_a_rule_says_otherwise():
    text = (
        TOP + '[defaults]\nspot_length_mm = 400\nfirst = ["ends"]\n' + BUTTS
        + BUTTS.replace('"butts"', '"b"').replace('["A"]', '["B"]') + "spot_length_mm = 150\n"
    )  # fmt: skip
    rules = read_rules(text, source="r.toml")
    assert [rule.spot_length_mm for rule in rules.extent] == [400, 150]
    assert [rule.first for rule in rules.extent] == [("ends",), ("ends",)]


def test_a_file_may_change_a_procedure_and_add_its_own():
    text = TOP + BUTTS + (
        'escalation = "our own"\n'
        "[escalation.progressive-piping]\nextras_per_reject = 3\n"
        '[escalation."our own"]\nstages = 2\n'
    )  # fmt: skip
    rules = read_rules(text, source="r.toml")
    assert rules.procedures["progressive-piping"].extras_per_reject == 3
    assert rules.procedures["progressive-piping"].stages == 2
    assert rules.procedure_of(rules.extent[0]) == rules.procedures["our own"]


# API 650, 8.1.2, vertical joints (seen): a rule of each kind that the tables of the codes need.
TANK = """\
[[extent]]
name = "verticals up to 10 mm"
categories = ["VERTICAL"]
counted_per = ["thickness_mm"]
method = "RT"
spot_length_mm = 150
amount = { family = "spot-per-increment", increment_m = 30, remainder = "major-fraction", first_m = 3, first_for = "each-welder", crossing_percent = 25, crossing_least = 2 }
escalation = "tank-shell"
[[extent]]
name = "verticals of the lowest course"
categories = ["VERTICAL-LOWEST"]
counted_per = ["joint"]
method = "RT"
spot_length_mm = 150
amount = { family = "spot-per-increment", increment_m = 30 }
[[extent]]
name = "junctions, over 10 mm"
categories = ["VERTICAL-THICK"]
method = "RT"
spot_length_mm = 150
places = "crossings"
amount = { family = "share-of-length", percent = 100 }
[[extent]]
name = "horizontals"
categories = ["HORIZONTAL"]
method = "RT"
spot_length_mm = 150
amount = { family = "spot-per-increment", increment_m = 60, remainder = "major-fraction", first_m = 3 }
"""  # noqa: E501  (an inline table is one line)


def test_the_rules_for_the_shell_of_a_tank_can_be_written():
    rules = read_rules(TOP + TANK, source="tank.toml")
    assert [rule.unit for rule in rules.extent] == ["spots", "spots", "mm", "spots"]
    assert rules.extent[2].everything


def test_a_preset_is_named_without_its_ending(tmp_path):
    assert load_rules("steel-hull").title.startswith("Steel hull")
    with pytest.raises(UseError, match='did you mean "steel-hull"'):
        load_rules("steel-hul")
    with pytest.raises(UseError, match=r"there is no rules file .*steel-hull\.toml"):
        load_rules(tmp_path / "steel-hull.toml")


def test_a_file_that_is_no_text_is_said(tmp_path):
    path = tmp_path / "r.toml"
    path.write_bytes("title = 'B\xe4nder'".encode("cp1252"))
    with pytest.raises(UseError, match="UTF-8"):
        rules_text(path)


@pytest.mark.parametrize("name", list_presets())
@settings(max_examples=40, deadline=None)
@given(st.data())
def test_whatever_is_broken_in_a_preset_is_a_problem_and_no_crash(name, data):
    lines = preset_text(name).split("\n")
    at = data.draw(st.integers(0, len(lines) - 1))
    how = data.draw(st.sampled_from(["drop", "number", "text", "table", "array", "key"]))
    key, equals, _ = lines[at].partition(" = ")
    if not equals or how == "drop":
        lines[at] = ""
    elif how == "key":
        lines[at] = lines[at].replace(key, key + "x", 1)
    else:
        lines[at] = (
            f"{key} = " + {"number": "-1", "text": '"x"', "table": "{}", "array": "[{}]"}[how]
        )
    text = "\n".join(lines)
    rules, found = parse_rules(text, source="r.toml")
    assert (rules is None) == bool(found)
    if equals and how == "key" and not key.startswith("#"):
        assert any(problem.line == at + 1 for problem in found)
