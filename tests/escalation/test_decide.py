"""Worked examples E1 to E10 follow the published rules named beside each."""

from math import comb

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.escalation import decide
from ndtstats.rules.procedures import PRESETS

PIPING = PRESETS["progressive-piping"]


def test_e1_two_sound_extras_close_the_chain(make):
    # ASME B31.3, 341.3.4 (a), (b); seen. Three films in all.
    rows = [("J1", "reject", 1), ("J7", "accept", 2), ("J9", "accept", 2)]
    items = decide(make.films(*rows), make.welds(20), PIPING)
    assert make.found(items) == [("extra", 1, 0, "done")]
    assert items["because"].tolist() == ["RT R-01, J1"]
    assert items["answered_by"].tolist() == ["RT R-02, J7; RT R-02, J9"]


def test_e2_a_bad_extra_asks_for_two_more(make):
    # ASME B31.3, 341.3.4 (c), (d); seen. Five films in all.
    rows = [("J1", "reject", 1), ("J7", "reject", 2), ("J9", "accept", 2)]
    assert make.found(decide(make.films(*rows), make.welds(20), PIPING)) == [
        ("extra", 1, 0, "done"), ("extra", 2, 2, "open"),
    ]  # fmt: skip
    rows += [("J12", "accept", 3), ("J15", "accept", 3)]
    assert make.found(decide(make.films(*rows), make.welds(20), PIPING)) == [
        ("extra", 1, 0, "done"), ("extra", 2, 0, "done"),
    ]  # fmt: skip


TERMINAL = (
    ("J1", "reject", 1), ("J7", "reject", 2), ("J9", "accept", 2), ("J12", "reject", 3),
    ("J15", "accept", 3),
)  # fmt: skip


def test_a_reject_in_the_second_stage_asks_for_all(make):
    # ASME B31.3, 341.3.4 (e); seen.
    items = decide(make.films(*TERMINAL), make.welds(20), PIPING)
    assert make.found(items)[-1] == ("whole lot", 3, 15, "open")
    whole = items[items["what"] == "whole lot"].iloc[0]
    assert {place["joint"] for place in whole["places"]}.isdisjoint(
        {joint for joint, *_ in TERMINAL}
    )
    assert set(whole["places"][0]) == {"joint", "from_mm", "to_mm"}
    assert whole["because"] == "RT R-03, J12"


def test_the_whole_lot_takes_in_what_is_still_owed(make):
    rows = [*TERMINAL[:4], ("J2", "reject", 4)]
    items = decide(make.films(*rows), make.welds(20), PIPING)
    # J12 was the first of two; what else J7 asked for is part of the whole lot now, and J2 too is
    # a reject within it that begins nothing.
    assert make.found(items) == [
        ("extra", 1, 0, "done"), ("extra", 2, 0, "whole lot"), ("whole lot", 3, 15, "open"),
    ]  # fmt: skip


def test_what_is_welded_after_the_whole_lot_is_judged_anew(make):
    # "The examination goes on as originally required": ASME B31.3, 341.3.4 after (f); seen.
    later = pd.Timestamp("2026-04-01")
    fresh = make.welds(25, welded=later).iloc[20:]
    population = pd.concat([make.welds(20), fresh])
    rest = [f"J{n}" for n in range(1, 21) if f"J{n}" not in {joint for joint, *_ in TERMINAL}]
    rows = [*TERMINAL, *((joint, "accept", 5) for joint in rest)]
    items = decide(make.films(*rows), population, PIPING)
    assert items["count"].sum() == 0
    new = make.films(("J21", "reject", 9), welded=later)
    items = decide(pd.concat([make.films(*rows), new]), population, PIPING)
    assert make.found(items)[:2] == [("extra", 1, 0, "done"), ("extra", 1, 2, "open")]


def test_both_extras_bad_ask_for_four_more(make):
    # "For each bad item": 1 + 2 + 4 films, then all; opinion, seen.
    rows = [("J1", "reject", 1), ("J7", "reject", 2), ("J9", "reject", 2)]
    items = decide(make.films(*rows), make.welds(20), PIPING)
    assert items.loc[items["round"] == 2, "count"].tolist() == [2, 2]
    assert items.loc[items["round"] == 2, "because"].tolist() == ["RT R-02, J7", "RT R-02, J9"]


def test_each_reject_of_the_first_examinations_asks_for_its_own(make):
    rows = [("J1", "reject", 1, "initial"), ("J2", "reject", 1, "initial")]
    items = decide(make.films(*rows), make.welds(20), PIPING)
    assert make.found(items) == [("extra", 1, 2, "open"), ("extra", 1, 2, "open")]


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ([("J1", "reject", 1), ("J2", "accept", 1), ("J3", "accept", 1)], "examined with it"),
        ([("J2", "accept", 1), ("J3", "accept", 1), ("J1", "reject", 2)], "examined before it"),
        ([("J1", "reject", 1), ("J1", "accept", 2), ("J1", "accept", 3)], "the same place again"),
        (
            [("J1", "reject", 1), ("J2", "accept", 2, "initial"), ("J3", "accept", 2, "initial")],
            "planned first",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_answers_nothing(make, rows, why):
    items = decide(make.films(*rows), make.welds(20), PIPING)
    assert make.found(items) == [("extra", 1, 2, "open")], why


def test_a_later_report_of_the_same_day_answers(make):
    rows = make.films(("J1", "reject", 1), ("J2", "accept", 2), ("J3", "accept", 3))
    rows["date"] = pd.Timestamp("2026-03-02")
    assert make.found(decide(rows, make.welds(20), PIPING)) == [("extra", 1, 0, "done")]


def test_an_extra_answers_the_item_it_was_made_for(make):
    rows = [("J1", "reject", 1), ("J2", "reject", 2, "initial")]
    items = decide(make.films(*rows), make.welds(20), PIPING)
    for_second = items.loc[items["because"] == "RT R-02, J2", "item"].iloc[0]
    rows += [("J3", "accept", 3, "extra", for_second), ("J4", "reject", 3, "extra", for_second)]
    items = decide(make.films(*rows), make.welds(20), PIPING).set_index("because")
    assert items.loc["RT R-01, J1", "count"] == 2
    assert items.loc["RT R-02, J2", "state"] == "done"
    assert items.loc["RT R-03, J4", ["round", "count"]].tolist() == [2, 2]


def test_e5_a_defect_in_another_welders_part_opens_his_own_lot(make):
    # Usual view of ASME B31.3: no penalty to welder A; opinion, seen.
    of_a = make.films(("J1", "reject", 1), ("J7", "accept", 2), ("J9", "accept", 2), lot="A")
    item = decide(of_a, make.welds(20), PIPING)["item"].iloc[0]
    of_b = make.films(("J9", "reject", 2, "extra", item), lot="B")
    items = decide(
        pd.concat([of_a, of_b]), pd.concat([make.welds(20, "A"), make.welds(20, "B")]), PIPING
    ).set_index("lot")
    assert items.loc["A", "state"] == "done"
    assert items.loc["B", ["count", "state"]].tolist() == [2, "open"]


def test_e6_too_few_left_is_said(make):
    # One left where two are owed: examine it, and say that the lot is exhausted. Common practice.
    items = decide(make.films(("J1", "reject", 1)), make.welds(2), PIPING)
    assert make.found(items) == [("extra", 1, 1, "exhausted")]
    rows = [("J1", "reject", 1), ("J2", "accept", 2)]
    items = decide(make.films(*rows), make.welds(2), PIPING)
    assert make.found(items) == [("extra", 1, 0, "exhausted")]


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        ("accept", [("extra", 1, 0, "done")]),
        ("reject", [("extra", 1, 0, "done"), ("whole lot", 2, 12, "open")]),
    ],
)
def test_e7_spot_radiography_of_a_vessel(make, second, expected):
    # ASME VIII-1, UW-52(d); from memory. An increment of 15.0 m, of 15 places.
    increment = make.weld(15_000, 1000)
    rows = make.spots((0, 1000, "reject", 1), (5000, 6000, "accept", 2), (9000, 10_000, second, 2))
    items = decide(rows, increment, PRESETS["spot-vessel"])
    assert make.found(items) == expected
    if second == "reject":
        places = items.loc[items["what"] == "whole lot", "places"].iloc[0]
        assert [(place["from_mm"], place["to_mm"]) for place in places] == [
            (1000, 5000), (6000, 9000), (10_000, 15_000),
        ]  # fmt: skip


def test_e10_a_share_of_production_then_all_of_it(make):
    # An owner's specification: 10 %, after a reject 20 % more, after another all; seen.
    procedure = PRESETS["percent-of-lot"].model_copy(update={"extra_shares": (0.2,)})
    rows = [("J1", "reject", 1), ("J2", "accept", 1), ("J3", "accept", 1)]
    assert make.found(decide(make.films(*rows), make.welds(30), procedure)) == [
        ("extra", 1, 6, "open")
    ]
    rows += [(f"J{n}", "reject" if n == 6 else "accept", 2) for n in range(4, 10)]
    assert make.found(decide(make.films(*rows), make.welds(30), procedure))[-1] == (
        "whole lot", 2, 21, "open",
    )  # fmt: skip


def test_a_share_is_asked_for_once_however_many_rejects(make):
    rows = [("J1", "reject", 1), ("J2", "reject", 1)]
    items = decide(make.films(*rows), make.welds(30), PRESETS["percent-of-lot"])
    assert make.found(items) == [("extra", 1, 3, "open")]
    assert items["because"].tolist() == ["RT R-01, J1; RT R-01, J2"]


# ---------------------------------------------------------------- exact enumeration


def outcomes(make, population, number, bad, first):
    """Yield (probability, films, rejects found, furthest stage) of all courses of one lot.

    Welds are alike, so those owed are taken in order; only how many of them are bad matters, which
    has a hypergeometric chance. What is owed next is asked of ``decide`` each time.
    """
    states = [(1.0, [], 0, first, 0)]
    while states:
        chance, rows, found, due, stage = states.pop()
        if due == 0:
            yield chance, len(rows), found, stage
            continue
        left, hidden = number - len(rows), bad - found
        report = 1 + (rows[-1][2] if rows else 0)
        for k in range(min(due, hidden) + 1):
            ways = comb(hidden, k) * comb(left - hidden, due - k) / comb(left, due)
            if ways == 0:
                continue
            names = [f"J{len(rows) + i + 1}" for i in range(due)]
            more = [(name, "reject" if i < k else "accept", report) for i, name in enumerate(names)]
            items = decide(make.films(*rows, *more), population, PIPING)
            states.append(
                (
                    chance * ways, rows + more, found + k, int(items["count"].sum()),
                    int(items["round"].max()) if len(items) else 0,
                )
            )  # fmt: skip


CASES = [(20, 1, 2), (20, 5, 5), (50, 2, 5), (50, 5, 10), (100, 1, 10), (100, 2, 2)]


@pytest.mark.parametrize(("number", "bad", "first"), CASES)
def test_agrees_with_exact_enumeration(make, reference, number, bad, first):
    # Two more for each defect, two more again, then all (rule as in ASME B31.3, 341.3.4; seen):
    # every placement of the defects alike; probabilities and expected numbers by enumeration.
    table = reference("escalation_expected.csv").set_index(["N", "D", "n0"])
    row = table.loc[(number, bad, first)]
    courses = list(outcomes(make, make.welds(number), number, bad, first))
    chance_of = dict.fromkeys(range(4), 0.0)
    for chance, _, _, stage in courses:
        chance_of[stage] += chance
    names = ["p_stop0", "p_stop1", "p_stop2", "p_full"]
    # The table carries twelve digits.
    assert list(chance_of.values()) == pytest.approx(row[names].tolist(), rel=1e-9, abs=1e-12)
    examined = sum(chance * films for chance, films, _, _ in courses)
    hidden = sum(chance * (bad - found) for chance, _, found, _ in courses)
    assert examined == pytest.approx(row["e_exam"], rel=1e-9)
    assert hidden == pytest.approx(row["e_left"], rel=1e-9)


# ---------------------------------------------------------------- properties

HISTORY = st.lists(
    st.tuples(
        st.integers(1, 12),  # joint
        st.sampled_from(["accept", "reject"]),
        st.integers(1, 8),  # report
        st.sampled_from(["unknown", "initial"]),
    ),
    min_size=1,
    max_size=14,
    unique_by=lambda film: film[0],
)
NAMES = st.sampled_from(sorted(PRESETS))


def rows_of(make, history):
    """Films of 100 mm on joints of 350 mm, so that there are neighbours to be owed."""
    frame = make.films(*((f"J{joint}", *rest) for joint, *rest in history))
    return frame.assign(from_mm=100.0, to_mm=250.0)


@settings(deadline=None, max_examples=30)
@given(history=HISTORY, random=st.randoms(use_true_random=False), name=NAMES)
def test_the_order_of_the_rows_does_not_matter(make, history, random, name):
    frame = rows_of(make, history)
    order = list(range(len(frame)))
    random.shuffle(order)
    turned = frame.iloc[order].reset_index(drop=True)
    pd.testing.assert_frame_equal(
        decide(frame, make.welds(12), PRESETS[name]), decide(turned, make.welds(12), PRESETS[name])
    )


@settings(deadline=None, max_examples=30)
@given(history=HISTORY, until=st.integers(1, 8), name=NAMES)
def test_no_owed_item_is_ever_lost(make, history, until, name):
    """What is owed at a time is, at any later one, owed still or closed by what is named."""
    frame = rows_of(make, history)
    before = frame[frame["report"] <= f"R-{until:02d}"]
    then = decide(before, make.welds(12), PRESETS[name]).set_index("item")
    today = decide(frame, make.welds(12), PRESETS[name]).set_index("item")
    assert set(then.index) <= set(today.index)
    kept = today.loc[then.index]
    assert (kept["round"] == then["round"]).all() or name in {"tank-shell", "until-sound-hull"}
    closed = kept[(kept["count"] == 0) & (then["count"] > 0)]
    # A lot with nothing left has been examined whole; everything else names what closed it.
    assert (closed["answered_by"].ne("") | closed["state"].eq("exhausted")).all()
    for answers, later in zip(then["answered_by"], kept["answered_by"], strict=True):
        assert set(answers.split("; ")) - {""} <= set(later.split("; "))


@settings(deadline=None, max_examples=30)
@given(history=HISTORY, name=NAMES)
def test_never_more_is_owed_than_is_left(make, history, name):
    frame = rows_of(make, history).assign(from_mm=0.0, to_mm=350.0)
    items = decide(frame, make.welds(12), PRESETS[name])
    assert int(items["count"].sum()) <= 12 - len(frame)


def test_nothing_rejected_owes_nothing(make):
    items = decide(make.films(("J1", "accept", 1)), make.welds(3), PIPING)
    assert items.empty
    assert items["count"].dtype == "int64"
