from datetime import timedelta

import pandas as pd

from ndtstats.escalation import owed, sentence
from ndtstats.rules import load_rules


def test_a_reject_owes_extras_a_repair_and_a_re_examination(piping):
    table = owed(piping(("J1", "reject", "R-1", 0))).set_index("what")
    assert table["count"].to_dict() == {"extra": 2, "repair": 1, "re-examine": 1}
    assert set(table["procedure"]) == {"progressive-piping"}
    assert table.loc["extra", "lot"] == "welder A, category NORMAL, method RT"
    assert "R-1" in table.loc["extra", "because"]
    assert table.loc["repair", "places"] == [{"joint": "J1", "from_mm": 0.0, "to_mm": 350.0}]


def test_another_welders_film_is_no_extra(piping):
    register = piping(
        ("J1", "reject", "R-1", 0), ("J3", "accept", "R-2", 0), ("J4", "accept", "R-2", 0)
    )
    table = owed(register).set_index("what")
    assert table.loc["extra", "count"] == 1


def test_all_done_owes_nothing_and_forgets_nothing(piping):
    register = piping(
        ("J1", "reject", "R-1", 0), ("J3", "accept", "R-2", 0), ("J5", "accept", "R-2", 0),
        ("J1", "accept", "R-3", 1),
    )  # fmt: skip
    assert owed(register).empty
    everything = owed(register, everything=True)
    assert set(everything["state"]) == {"done"}
    assert len(everything) == 3


def test_as_of_tells_what_was_owed_then(piping, now):
    piping(("J1", "reject", "R-1", 0))
    later = piping(("J3", "accept", "R-2", 0), ("J5", "accept", "R-2", 0), when=48)
    assert "extra" not in set(owed(later)["what"])
    then = owed(later, as_of=now + timedelta(hours=2))
    assert "extra" in set(then["what"])


def test_without_rules_repairs_are_still_owed(piping):
    table = owed(piping(("J1", "reject", "R-1", 0), rules=False))
    assert set(table["what"]) == {"repair", "re-examine"}
    assert set(table["procedure"]) == {"none"}


def test_rules_can_be_given_for_the_question(piping):
    register = piping(("J1", "reject", "R-1", 0), rules=False)
    table = owed(register, rules=load_rules("process-piping"))
    assert "extra" in set(table["what"])


def test_what_is_closed_names_what_closed_it(piping):
    register = piping(
        ("J1", "reject", "R-1", 0), ("J3", "accept", "R-2", 0), ("J5", "reject", "R-2", 0),
        ("J1", "reject", "R-3", 1),
    )  # fmt: skip
    table = owed(register, everything=True)
    first = table[(table["what"] == "extra") & (table["round"] == 1)].iloc[0]
    assert first["answered_by"] == (
        "RT R-2, J3 0-350 mm, 2026-03-03; RT R-2, J5 0-350 mm, 2026-03-03"
    )
    again = table[(table["what"] == "repair") & (table["state"] == "open")].set_index("round")
    # J5 is to be repaired for the first time, J1 for the second.
    assert again["places"].map(lambda places: places[0]["joint"]).to_dict() == {1: "J5", 2: "J1"}


def test_a_weld_rejected_by_eye_is_owed_a_repair_too(piping, now):
    register = piping(("J1", "accept", "R-1", 0))
    seen = pd.DataFrame(
        {"job": ["L1"], "joint": ["J2"], "method": ["VT"], "verdict": ["reject"],
         "report": ["V-1"], "round": [0], "date": [pd.Timestamp("2026-02-03")]}
    )  # fmt: skip
    with register.batch(kind="load", subject="vt", now=now + timedelta(hours=9)) as batch:
        batch.merge("examinations", seen)
    table = owed(register)
    assert set(table["what"]) == {"repair", "re-examine"}
    assert table["procedure"].tolist() == ["none", "none"]


def test_the_keys_are_those_that_machines_read(piping):
    assert list(owed(piping(("J1", "reject", "R-1", 0)))) == [
        "item", "handle", "job", "lot", "procedure", "round", "what", "count", "places", "because",
        "state",
    ]  # fmt: skip


def test_a_whole_lot_names_what_is_left_of_it(piping):
    register = piping(
        ("J1", "reject", "R-1", 0), ("J3", "reject", "R-2", 0), ("J5", "accept", "R-2", 0),
        ("J7", "reject", "R-3", 0),
    )  # fmt: skip
    table = owed(register).set_index("what")
    whole = table.loc["whole lot"]
    assert whole["count"] == 6
    assert {place["joint"] for place in whole["places"]} == {
        "J9", "J11", "J13", "J15", "J17", "J19",
    }  # fmt: skip
    assert whole["places"][0]["to_mm"] == 350.0
    assert "extra" not in table.index


def test_nothing_examined_owes_nothing(register):
    assert owed(register).empty
    assert sentence(owed(register)) == "Nothing is owed."


def test_the_sentence_counts(piping):
    text = sentence(owed(piping(("J1", "reject", "R-1", 0))))
    assert text == "Owed: 2 extra examinations, 1 repair, 1 re-examination."
