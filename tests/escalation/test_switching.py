import tomllib
from pathlib import Path

import pytest

from ndtstats.escalation import switch

REFERENCE = Path(__file__).parents[1] / "references" / "mil_std_105e_switching.toml"


def verdicts(text):
    return [letter == "A" for letter in text.split()]


def after(text, **options):
    return [step.after for step in switch(verdicts(text), **options)]


# Worked sequences on ISO 2859-1 (rules seen).
def test_two_of_five_tighten():
    assert after("A A R A R")[-1] == "tightened"
    assert after("A A R A")[-1] == "normal"


def test_five_accepted_relax():
    assert after("A A R A R A A A A A")[-1] == "normal"
    assert after("A A R A R A A A A")[-1] == "tightened"


def test_a_reject_starts_the_count_again():
    assert after("A R A A A", start="tightened")[-1] == "tightened"
    assert after("A R A A A A A", start="tightened")[-1] == "normal"


def test_five_not_accepted_on_tightened_stop():
    assert after("R A R A R A R A R", start="tightened")[-1] == "discontinued"


def test_rejects_six_apart_do_not_tighten():
    assert after("R A A A A R")[-1] == "normal"


def test_one_reject_on_reduced_goes_back_to_normal():
    assert after("A A R", start="reduced") == ["reduced", "reduced", "normal"]


def test_what_was_discontinued_stays_so():
    stopped = after("R " * 5 + "A " * 9, start="tightened")
    assert stopped[4:] == ["discontinued"] * 10


def test_ten_lots_on_tightened_stop_by_the_older_standard():
    # MIL-STD-105E, 4.7.5: 10 consecutive lots remain on tightened (from memory).
    nine = "A A R A A R A A R"
    older = {"start": "tightened", "standard": "MIL-STD-105E"}
    assert after(nine, **older)[-1] == "tightened"
    assert after(nine + " A", **older)[-1] == "discontinued"
    assert after("R " * 5, **older)[-1] == "tightened"
    assert after(nine + " A", start="tightened")[-1] == "tightened"


@pytest.mark.parametrize(("standard", "number"), [("ISO 2859-1", 15), ("MIL-STD-105E", 10)])
def test_a_clean_record_may_reduce(standard, number):
    # A score of 30, two a lot; ten lots (both from memory).
    assert after("A " * number, steady=True, standard=standard)[-1] == "reduced"
    assert after("A " * (number - 1), steady=True, standard=standard)[-1] == "normal"
    assert after("A " * number, standard=standard)[-1] == "normal"


@pytest.mark.parametrize("case", tomllib.loads(REFERENCE.read_text())["sequence"])
def test_sequences_of_the_public_standard(case):
    # MIL-STD-105E, 4.7, by hand (from memory).
    steps = after(" ".join(case["lots"]), start=case["start"], standard="MIL-STD-105E")
    assert steps[-1] == case["state_for_next_lot"]
    if "switches_after_lot" in case:
        assert steps.index(case["state_for_next_lot"]) + 1 == case["switches_after_lot"]
