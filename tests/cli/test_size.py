import json
import subprocess
import sys

import pytest

from ndtstats.statistics.acceptance import SequentialPlan, accept_probability, sequential_card

#: Every verb with a question that it answers.
QUESTIONS = {
    "below": "--rate 0.05",
    "miss": "--examined 5 --rate 0.05 --lot 100",
    "margin": "--rate 0.1 --margin 0.05",
    "curve": "--examine 52 --allowed 3",
    "plan": "--good 0.01 --bad 0.08",
    "double": "--first 50 --allowed 1 --rejected 4 --second 100 --allowed-both 3",
    "sequential": "--good 0.01 --bad 0.10",
    "card": "--good 0.01 --bad 0.10 --most 60",
    "mil-std-105e": "--lot 500 --aql 1.0",
}
DRAWN = ("below", "curve", "plan", "double", "sequential", "mil-std-105e")


@pytest.fixture
def size(ndtstats):
    def ask(words):
        return ndtstats("size", *words.split())

    return ask


def records(size, words):
    code, out, _ = size(f"{words} --format json")
    assert code == 0
    return json.loads(out)


@pytest.mark.parametrize("verb", QUESTIONS)
def test_a_sentence_stands_before_the_table(verb, size):
    code, out, err = size(f"{verb} {QUESTIONS[verb]}")
    first, heading, *rows = out.splitlines()
    assert (code, err) == (0, "")
    assert first.endswith(".")
    assert "  " in heading
    assert len(rows) >= 2


# The same figures as the tests of the statistics have from outside; see there.
@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("below --rate 0.05", "Examine 59 places chosen by chance: with none rejected, the true"),
        ("below --rate 0.05 --lot 100", "Examine 45 of the 100 places"),
        ("below --rate 0.05 --lot 100", "fewer than 5 of the 100 are bad (5 %) with 95 %"),
        ("below --rate 0.05 --allowed 2", "Examine 124 places"),
        ("below --rate 0.05 --allowed 2", "with 2 or fewer rejected"),
        ("below --rate 0.05 --lot 1000 --detection 0.9", "Examine 64 of the 1,000 places"),
        ("below --rate 0.05 --lot 1000 --detection 0.9", "finds 90 % of what is bad"),
        ("miss --examined 5 --rate 0.05 --lot 100", "none of the 5 bad places (5 %) is seen is 77"),
        ("margin --rate 0.5 --margin 0.05", "Examine 385 places"),
        ("plan --good 0.05 --bad 0.15 --consumer-risk 0.075", "Examine 80 places"),
        ("plan --good 0.05 --bad 0.15 --consumer-risk 0.075", "pass with 7 or fewer"),
        ("sequential --good 0.01 --bad 0.10", "work without a reject passes after 24."),
        ("mil-std-105e --lot 2000 --aql 0.65", "letter K; examine 125, accept with 2 or fewer"),
        ("mil-std-105e --lot 150 --aql 1.0", "letter F, whose arrow leads to E; examine 13"),
        ("mil-std-105e --lot 20 --aql 0.65", "examine all 20"),
        (
            "mil-std-105e --lot 2000 --aql 0.65 --inspection reduced",
            "accept with 1 or fewer rejected, accept and return to normal inspection with 2, reject"
            " with 3 or more.",
        ),
        (
            "mil-std-105e --lot 2000 --aql 2.5 --inspection reduced",
            "accept and return to normal inspection with 4 to 5, reject with 6 or more.",
        ),
    ],
)
def test_the_sentence_answers(words, says, size):
    code, out, _ = size(words)
    assert code == 0
    assert says in out.splitlines()[0]


def test_misses_are_not_supposed_to_be_repaired(size):
    with_all, with_misses = (
        size(f"curve --examine 52 --allowed 3 --detection {d}")[1] for d in ("1", "0.8")
    )
    assert "examined whole and repaired" in with_all
    assert "repair" not in with_misses


def test_machines_get_the_plan_and_full_precision(size):
    rows = records(size, "curve --examine 89 --allowed 2 --lot 10000")
    for row in rows:
        assert (row["examine"], row["allowed"]) == (89, 2)
        assert row["pass_probability"] == float(accept_probability(row["rate"], 89, 2, lot=10_000))


def test_more_examined_sees_nothing_less_often_until_the_lot_ends(size):
    rows = records(size, "miss --examined 30 --rate 0.05 --lot 100")
    assert [row["examined"] for row in rows] == [30, 60, 90, 100]
    chances = [row["see_nothing_probability"] for row in rows]
    assert chances == sorted(chances, reverse=True)
    assert chances[-1] == 0


def test_the_card_has_blanks_where_nothing_can_be_decided(size):
    rows = records(size, "card --good 0.01 --bad 0.10 --most 60")
    known = sequential_card(SequentialPlan(0.01, 0.10), most=60)
    assert [row["examined"] for row in rows] == known["examined"].tolist()
    assert rows[0] == {"examined": 2, "accept": None, "reject": 2}
    assert rows[-1]["accept"] == 1


@pytest.mark.parametrize("verb", DRAWN)
@pytest.mark.parametrize("ending", ["html", "svg"])
def test_a_picture_is_drawn_beside_the_answer(verb, ending, size, tmp_path):
    code, out, err = size(f"{verb} {QUESTIONS[verb]} --picture plan.{ending}")
    assert code == 0
    assert f"plan.{ending}" in err
    picture = (tmp_path / f"plan.{ending}").read_text()
    # The sentence goes with the picture: as the heading of a page, as the title of an SVG.
    assert out.splitlines()[0] in picture


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("below --rate 5", "5 % is 0.05"),
        ("below --rate 0.05 --lot 20 --detection 0.8", "even with the whole lot"),
        ("below --rate 0.05 --lot 0", "lot 0 is not"),
        ("below --rate 0.05 --picture plan.png", ".html or a .svg"),
        ("miss --examined 30 --rate 0.05 --lot 20", "30 cannot be examined in a lot of 20"),
        (f"miss --examined {10**23} --rate 0.05", "more than can be counted"),
        (f"miss --examined 30 --rate 0.05 --lot {10**23}", "lot 1e+23 is more than can be counted"),
        ("margin --rate 0.02 --margin 0.05", "reaches below 0 %"),
        ("curve --examine 5 --allowed 5", "fewer rejects"),
        ("plan --good 0.08 --bad 0.01", "must be below"),
        ("double --first 5 --allowed 0 --rejected 1 --second 5 --allowed-both 1", "second sample"),
        ("sequential --good 0.01 --bad 0.1 --most 0", "at least 1"),
        ("card --good 0.01 --bad 0.1 --most 0", "at least 1"),
        ("mil-std-105e --lot 500 --aql 1.1", "not a step of the standard"),
        ("mil-std-105e --lot 500 --aql 1 --inspection tight", "tightened"),
    ],
)
def test_a_mistake_is_told_in_a_sentence(words, says, size):
    code, out, err = size(words)
    assert (code, out) == (2, "")
    assert says in err
    assert "Traceback" not in err


def test_a_picture_that_cannot_be_written_is_told(size):
    code, _, err = size("below --rate 0.05 --picture nowhere/plan.svg")
    assert code == 3
    assert "cannot be written" in err


def test_help_lists_the_verbs_in_order_and_imports_nothing_heavy():
    script = (
        "import sys\n"
        "from ndtstats.cli.root import run\n"
        "run(['size', '--help'])\n"
        "print(sorted({'pandas', 'numpy', 'scipy', 'plotly'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    lines = done.stdout.splitlines()
    assert lines[-1] == "[]"
    listed = [line.split()[0] for line in lines if line.startswith("  ") and line.split()]
    assert [verb for verb in listed if verb in QUESTIONS] == list(QUESTIONS)
