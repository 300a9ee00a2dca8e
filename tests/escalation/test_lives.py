"""The life of a reject. Films are of joint B-1; what is bad, where, and which round are given."""

from datetime import timedelta

import pandas as pd
import pytest

from ndtstats.escalation import lives
from ndtstats.escalation.lives import ages, lives_of, lives_sentence
from ndtstats.escalation.repairs import new_welds, rejects_of
from ndtstats.rules import parse_rules, preset_text

UNTIL = pd.Timestamp("2026-05-01")
NO_DEPOSITS = pd.DataFrame(
    {"joint": [], "welder": [], "date": pd.to_datetime([]), "from_mm": [], "to_mm": []}
)


@pytest.fixture
def live(make):
    """Follow films of B-1, given as (from, to, verdict, report, round, bad places...)."""

    def follow(*rows, deposits=NO_DEPOSITS, joints=None, allowed=2, overturned=(), waived=()):
        films = make.spots(
            *((low, high, verdict, report) for low, high, verdict, report, *_ in rows)
        )
        films = films.assign(round=[row[4] if len(row) > 4 else 0 for row in rows])
        shown = pd.DataFrame(
            [
                (ref, low, high)
                for ref, row in zip(films["ref"], rows, strict=True)
                for low, high in row[5:]
            ],
            columns=["ref", "start_mm", "end_mm"],
        )
        rejects = rejects_of(films)
        rejects = rejects.assign(
            allowed=allowed,
            overturned=rejects["report"].isin(overturned),
            waived=rejects["report"].isin(waived),
        )
        cut = new_welds(
            joints
            if joints is not None
            else pd.DataFrame({"joint": [], "replaces": [], "length_mm": []})
        )
        return lives_of(films, rejects, shown, deposits, cut, UNTIL)

    return follow


FOUND = (900.0, 1200.0, "reject", 1, 0, (950.0, 990.0))
SHORT = ["state", "repairs", "first_repair"]


def deposits(*rows):
    return pd.DataFrame(
        [("B-1", welder, pd.Timestamp(day), low, high) for welder, day, low, high in rows],
        columns=["joint", "welder", "date", "from_mm", "to_mm"],
    )


def test_what_was_found_is_to_be_repaired(live):
    table = live(FOUND)
    assert table[SHORT].iloc[0].tolist() == ["to repair", 0, ""]
    # Found on 2 March: 60 days before 1 May.
    assert table["open_days"].tolist() == [60.0]


def test_a_deposit_of_a_later_day_over_the_place_is_the_repair(live):
    # The weld of 1 February is what was rejected; a deposit elsewhere repairs nothing.
    made = deposits(
        ("K1", "2026-02-01", None, None), ("K2", "2026-03-10", 940.0, 1000.0),
        ("K3", "2026-03-12", 1100.0, 1200.0),
    )  # fmt: skip
    life = live(FOUND, deposits=made).iloc[0]
    assert life["state"] == "to examine again"
    assert (life["repaired_by"], life["repaired_on"]) == ("K2", pd.Timestamp("2026-03-10"))


def test_r1_accepted_closes_it(live):
    life = live(FOUND, (900.0, 1200.0, "accept", 9, 1)).iloc[0]
    assert life[SHORT].tolist() == ["closed", 1, "accept"]
    assert life["closed_on"] == pd.Timestamp("2026-03-10")
    assert pd.isna(life["open_days"])
    assert life["examined_again"] == "R1 accept: RT R-09, B-1 900"


def test_r1_rejected_is_one_life_not_two(live):
    table = live(
        FOUND, (900.0, 1200.0, "reject", 9, 1, (960.0, 970.0)), (900.0, 1200.0, "accept", 20, 2)
    )
    assert table[SHORT].to_numpy().tolist() == [["closed", 2, "reject"]]


def test_a_repair_that_spoils_the_weld_beside_it_is_of_the_same_life(live):
    # A crater crack at the end of the excavation: R2 need not touch what was bad at first.
    rows = (FOUND, (900.0, 1200.0, "reject", 9, 1, (1040.0, 1050.0)))
    assert live(*rows)[SHORT].to_numpy().tolist() == [["to repair", 1, "reject"]]
    assert live(*rows, (1020.0, 1100.0, "accept", 20, 2))["state"].tolist() == ["closed"]


def test_one_film_over_two_repairs_fails_only_the_one_that_is_bad(live):
    other = (1200.0, 1500.0, "reject", 1, 0, (1300.0, 1320.0))
    table = live(FOUND, other, (900.0, 1500.0, "reject", 9, 1, (955.0, 960.0)))
    assert table[SHORT].to_numpy().tolist() == [
        ["to repair", 1, "reject"], ["closed", 1, "accept"],
    ]  # fmt: skip


def test_after_the_last_repair_allowed_the_parties_decide(live):
    # At most two repairs of one place, then cut out or decided: common practice, no source.
    bad = (950.0, 990.0)
    rows = [FOUND, (900.0, 1200.0, "reject", 9, 1, bad)]
    assert live(*rows)["state"].tolist() == ["to repair"]
    rows.append((900.0, 1200.0, "reject", 20, 2, bad))
    life = live(*rows).iloc[0]
    assert life["state"] == "no repair left"
    assert "cut it out, or let the parties decide" in life["remark"]
    rows.append((900.0, 1200.0, "accept", 25, 3))
    life = live(*rows).iloc[0]
    assert (life["state"], life["repairs"]) == ("closed", 3)
    assert life["remark"] == "3 repairs where 2 are allowed"
    assert live(*rows, allowed=3).iloc[0]["remark"] == ""


def test_a_re_examination_of_another_place_does_not_close_it_and_is_said_so(live):
    # A tape turned round is a real way to fail: opinion, seen.
    life = live(FOUND, (1800.0, 2100.0, "accept", 9, 1)).iloc[0]
    assert life["state"] == "examined elsewhere"
    assert life["remark"] == "RT R-09, B-1 1800 does not cover the place"
    assert life["first_repair"] == ""


JOINTS = pd.DataFrame(
    {"joint": ["B-1", "B-1C"], "replaces": [None, "B-1"], "length_mm": [2000.0, 1980.0]}
)


def test_what_is_cut_out_closes_once_the_new_weld_is_examined(live, make):
    life = live(FOUND, joints=JOINTS).iloc[0]
    assert life["state"] == "new weld to examine"
    assert life["remark"] == "examine joint B-1C, welded in its place"


@pytest.mark.parametrize(
    ("low", "high", "state"),
    [(900.0, 1200.0, "cut out"), (0.0, 1980.0, "cut out"), (300.0, 600.0, "new weld to examine")],
)
def test_the_same_place_of_the_new_weld_is_examined(make, low, high, state):
    films = make.spots((900.0, 1200.0, "reject", 1), (low, high, "accept", 9))
    films["joint"] = ["B-1", "B-1C"]
    rejects = rejects_of(films).assign(allowed=2, overturned=False, waived=False)
    nowhere = pd.DataFrame({"ref": [], "start_mm": [], "end_mm": []})
    table = lives_of(films, rejects, nowhere, NO_DEPOSITS, new_welds(JOINTS), UNTIL)
    assert table["state"].tolist() == [state]


def test_waived_and_overturned_are_not_open(live):
    assert live(FOUND, waived=["R-01"])["state"].tolist() == ["waived"]
    assert live(FOUND, overturned=["R-01"])["state"].tolist() == ["overturned"]


def test_ages_and_success_are_told(live):
    # 1 of 2: Clopper-Pearson 95 % is 0.0126 to 0.9874, solved by hand from 1 - (1 - p)^2 = 0.025.
    other = (1200.0, 1500.0, "reject", 1, 0, (1300.0, 1320.0))
    table = live(FOUND, other, (900.0, 1500.0, "reject", 9, 1, (955.0, 960.0)))
    table["reject"] = table["reject"].astype("str")
    text = lives_sentence(table)
    assert text.startswith("1 reject is open, for 60 days (RT R-01, B-1 900).")
    assert "Of 2 first repairs examined 1 was accepted: 50.0 %" in text
    assert "1.3 % to 98.7 %" in text
    by_age = ages(table).set_index("age")
    assert by_age["open"].tolist() == [0, 0, 1, 0]
    assert by_age.loc["31 to 90 days", "to repair"] == 1


@pytest.mark.parametrize(("allowed", "state"), [(1, "no repair left"), (2, "to repair")])
def test_the_rules_say_how_many_repairs_one_place_may_have(piping, allowed, state):
    register = piping(("J1", "reject", "R-1", 0), ("J1", "reject", "R-4", 1))
    text = preset_text("process-piping").replace(
        "[defaults]", f"[defaults]\nrepairs_allowed = {allowed}"
    )
    rules, problems = parse_rules(text, source="one repair")
    assert not problems
    (life,) = lives(register, rules=rules).to_dict("records")
    assert (life["state"], life["repairs_allowed"], life["welders"]) == (state, allowed, "A")
    assert life["reject"] == "RT R-1, J1 0-350 mm, 2026-03-02"
    assert life["examined_again"] == "R1 reject: RT R-4 R1, J1 0-350 mm, 2026-03-05"


def test_open_rejects_are_as_old_as_the_instant_asked_for(piping, now):
    register = piping(("J1", "reject", "R-1", 0))
    then = now + timedelta(days=30)
    # Found on 2 March, asked on 1 April.
    assert lives(register, as_of=then)["open_days"].tolist() == [30.0]
    assert lives(register, as_of=now - timedelta(days=1)).empty
