"""Worked examples E1 to E10 follow the published rules named beside each."""

from itertools import combinations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.escalation import decide, repairs
from ndtstats.rules.procedures import PRESETS

PIPING = PRESETS["progressive-piping"]


def films(*rows, lot="A"):
    """Films as (joint, verdict, report number[, role[, answers]]); a report a day."""
    frame = pd.DataFrame(
        [
            {
                "joint": joint, "rejected": verdict == "reject", "report": f"R-{report:02d}",
                "date": pd.Timestamp("2026-03-01") + pd.Timedelta(days=report),
                "role": more[0] if more else "unknown",
                "answers": more[1] if len(more) > 1 else "",
            }
            for joint, verdict, report, *more in rows
        ]
    )  # fmt: skip
    frame["ref"] = "RT " + frame["report"] + ", " + frame["joint"]
    return frame.assign(
        lot=lot, from_mm=0.0, to_mm=350.0, bad_from_mm=None, bad_to_mm=None,
        sequence=range(len(frame)),
    )  # fmt: skip


def welds(number, lot="A"):
    names = [f"J{n}" for n in range(1, number + 1)]
    return pd.DataFrame({"lot": lot, "joint": names, "length_mm": 350.0, "units": 1})


def found(items):
    """What of each item matters here, by stage."""
    rows = items.sort_values("round")
    return list(zip(rows["what"], rows["round"], rows["count"], rows["state"], strict=True))


def test_e1_two_sound_extras_close_the_chain():
    # ASME B31.3, 341.3.4 (a), (b); seen.
    items = decide(
        films(("J1", "reject", 1), ("J7", "accept", 2), ("J9", "accept", 2)), welds(20), PIPING
    )
    assert found(items) == [("extra", 1, 0, "done")]


def test_e2_a_bad_extra_asks_for_two_more():
    # ASME B31.3, 341.3.4 (c), (d); seen. Five films in all.
    rows = [("J1", "reject", 1), ("J7", "reject", 2), ("J9", "accept", 2)]
    assert found(decide(films(*rows), welds(20), PIPING)) == [
        ("extra", 1, 0, "done"), ("extra", 2, 2, "open"),
    ]  # fmt: skip
    rows += [("J12", "accept", 3), ("J15", "accept", 3)]
    assert found(decide(films(*rows), welds(20), PIPING)) == [
        ("extra", 1, 0, "done"), ("extra", 2, 0, "done"),
    ]  # fmt: skip


def test_a_reject_in_the_second_stage_asks_for_all():
    # ASME B31.3, 341.3.4 (e); seen.
    rows = [
        ("J1", "reject", 1), ("J7", "reject", 2), ("J9", "accept", 2), ("J12", "reject", 3),
        ("J15", "accept", 3),
    ]  # fmt: skip
    items = decide(films(*rows), welds(20), PIPING)
    assert found(items)[-1] == ("whole lot", 3, 15, "open")
    whole = items[items["what"] == "whole lot"].iloc[0]
    assert {place["joint"] for place in whole["places"]}.isdisjoint(
        {"J1", "J7", "J9", "J12", "J15"}
    )
    assert "J12" in whole["because"]


def test_both_extras_bad_ask_for_four_more():
    # "For each bad item": 1 + 2 + 4 films, then all; opinion, seen.
    rows = [("J1", "reject", 1), ("J7", "reject", 2), ("J9", "reject", 2)]
    assert found(decide(films(*rows), welds(20), PIPING))[-1] == ("extra", 2, 4, "open")


def test_what_was_examined_with_the_reject_is_no_answer_to_it():
    rows = [("J1", "reject", 1), ("J2", "accept", 1), ("J3", "accept", 1)]
    assert found(decide(films(*rows), welds(20), PIPING)) == [("extra", 1, 2, "open")]


def test_what_was_planned_first_is_no_extra():
    rows = [("J1", "reject", 1, "initial"), ("J2", "accept", 2, "initial")]
    assert found(decide(films(*rows), welds(20), PIPING)) == [("extra", 1, 2, "open")]


def test_e4_a_bad_repair_starts_no_new_extras():
    # ASME B31.3, 341.3.4 (f); seen.
    reject = films(("J1", "reject", 1)).assign(method="RT")
    again = films(("J1", "reject", 3)).assign(method="RT", round=1)
    items = repairs(reject, again)
    assert found(items) == [("repair", 2, 1, "open"), ("re-examine", 2, 1, "open")]
    closed = films(("J1", "accept", 4)).assign(method="RT", round=2)
    assert set(repairs(reject, pd.concat([again, closed]))["state"]) == {"done"}


def test_e5_a_defect_in_another_welders_part_opens_his_own_lot():
    # Usual view of ASME B31.3: no penalty to welder A; opinion, seen.
    of_a = films(("J1", "reject", 1), ("J7", "accept", 2), ("J9", "accept", 2), lot="A")
    of_b = films(("J9", "reject", 2, "extra", "A#1"), lot="B")
    items = decide(
        pd.concat([of_a, of_b]), pd.concat([welds(20, "A"), welds(20, "B")]), PIPING
    ).set_index("item")
    assert items.loc["A#1", "state"] == "done"
    assert (items.loc["B#1", "count"], items.loc["B#1", "state"]) == (2, "open")


def test_e6_too_few_left_is_said():
    # One left where two are owed: examine it, and say that the lot is exhausted. Common practice.
    items = decide(films(("J1", "reject", 1)), welds(2), PIPING)
    assert found(items) == [("extra", 1, 1, "exhausted")]


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        ("accept", [("extra", 1, 0, "done")]),
        ("reject", [("extra", 1, 0, "done"), ("whole lot", 2, 12, "open")]),
    ],
)
def test_e7_spot_radiography_of_a_vessel(second, expected):
    # ASME VIII-1, UW-52(d); from memory. An increment of 15.2 m, here of 15 places.
    increment = pd.DataFrame(
        {"lot": ["A"], "joint": ["S1"], "length_mm": [15_200.0], "units": [15]}
    )
    rows = films(("S1", "reject", 1), ("S1", "accept", 2), ("S1", second, 2))
    rows["ref"] = rows["ref"] + rows["sequence"].astype("str")
    assert found(decide(rows, increment, PRESETS["spot-vessel"])) == expected


def test_e10_a_share_of_production_then_all_of_it():
    # An owner's specification: 10 %, after a reject 20 % more, after another all; seen.
    procedure = PRESETS["percent-of-lot"].model_copy(update={"extra_shares": (0.2,)})
    rows = [("J1", "reject", 1), ("J2", "accept", 1), ("J3", "accept", 1)]
    assert found(decide(films(*rows), welds(30), procedure)) == [("extra", 1, 6, "open")]
    rows += [(f"J{n}", "reject" if n == 6 else "accept", 2) for n in range(4, 10)]
    assert found(decide(films(*rows), welds(30), procedure))[-1] == ("whole lot", 2, 21, "open")


# ---------------------------------------------------------------- both sides of the reject


def spots(*rows):
    """Spots of one joint as (from, to, verdict, report[, bad_from, bad_to])."""
    frame = films(*(("B-1", verdict, report) for _, _, verdict, report, *_ in rows))
    places = pd.DataFrame(
        [(low, high, *(bad or (None, None))) for low, high, _, _, *bad in rows],
        columns=["from_mm", "to_mm", "bad_from_mm", "bad_to_mm"],
    )
    frame[places.columns] = places
    frame["ref"] = frame["ref"] + " " + frame["from_mm"].map("{:g}".format)
    return frame


JOINT = pd.DataFrame({"lot": ["A"], "joint": ["B-1"], "length_mm": [3000.0], "units": [10]})


def open_places(items):
    return sorted(
        (place["from_mm"], place["to_mm"])
        for places in items.loc[items["state"] == "open", "places"]
        for place in places
    )


def test_both_neighbours_are_owed_until_one_is_sound():
    # Extend until sound: common practice, no source.
    hull = PRESETS["until-sound-hull"]
    rows = [(900, 1200, "reject", 1)]
    assert open_places(decide(spots(*rows), JOINT, hull)) == [(600, 900), (1200, 1500)]
    rows += [(600, 900, "accept", 2), (1200, 1500, "reject", 2)]
    assert open_places(decide(spots(*rows), JOINT, hull)) == [(1500, 1800)]
    rows += [(1500, 1800, "accept", 3)]
    assert open_places(decide(spots(*rows), JOINT, hull)) == []


def test_the_end_of_the_joint_needs_no_neighbour():
    hull = PRESETS["until-sound-hull"]
    assert open_places(decide(spots((0, 300, "reject", 1)), JOINT, hull)) == [(300, 600)]
    assert open_places(decide(spots((2700, 3000, "reject", 1)), JOINT, hull)) == [(2400, 2700)]


def test_a_sound_margin_on_the_film_spares_that_side():
    # API 650, 8.1.6: no spot on a side whose film shows 75 mm of good weld; seen.
    tank = PRESETS["tank-shell"]
    rows = [(1000, 1150, "reject", 1, 1080, 1140)]
    assert open_places(decide(spots(*rows), JOINT, tank)) == [(1150, 1300)]


def test_a_long_run_of_rejects_asks_for_the_whole_joint():
    hull = PRESETS["until-sound-hull"]
    rows = [(300 * n, 300 * n + 300, "reject", n) for n in range(1, 6)]
    items = decide(spots(*rows), JOINT, hull)
    assert open_places(items) == [(0, 3000)]
    assert items.loc[items["what"] == "whole lot", "count"].tolist() == [1]


# ---------------------------------------------------------------- repairs


def test_a_re_examination_that_misses_the_place_does_not_close_it():
    # A tape turned round is a real way to fail: opinion, seen.
    reject = spots((900, 1200, "reject", 1, 950, 990)).assign(method="RT")
    astray = spots((1800, 2100, "accept", 2)).assign(method="RT", round=1)
    items = repairs(reject, astray)
    assert set(items["state"]) == {"open"}
    assert items["because"].str.contains("does not cover the place").all()
    right = spots((930, 1010, "accept", 3)).assign(method="RT", round=1)
    assert set(repairs(reject, pd.concat([astray, right]))["state"]) == {"done"}


def test_another_method_does_not_close_a_reject():
    reject = films(("J1", "reject", 1)).assign(method="RT")
    other = films(("J1", "accept", 2)).assign(method="PT", round=1)
    assert set(repairs(reject, other)["state"]) == {"open"}


# ---------------------------------------------------------------- exact enumeration


def run_to_the_end(number, bad, first):
    """Examine what is owed, in order of the welds, until nothing is; how many were examined."""
    population = welds(number)
    order = [f"J{n}" for n in range(1, number + 1)]
    rows = [(joint, "reject" if joint in bad else "accept", 1) for joint in order[:first]]
    report = 1
    while True:
        items = decide(films(*rows), population, PIPING)
        due = int(items["count"].sum()) if len(items) else 0
        if due == 0:
            stage = int(items["round"].max()) if len(items) else 0
            return len(rows), stage
        report += 1
        done = {joint for joint, *_ in rows}
        rows += [
            (joint, "reject" if joint in bad else "accept", report)
            for joint in [j for j in order if j not in done][:due]
        ]


def test_agrees_with_exact_enumeration(reference):
    # Two more for each defect, two more again, then all (rule as in ASME B31.3, 341.3.4; seen):
    # every placement of the defects alike, probabilities and expected number by enumeration.
    table = reference("escalation_expected.csv")
    small = table[(table["N"] == 20) & (table["D"] <= 2)]
    assert len(small) == 6
    for row in small.itertuples():
        names = [f"J{n}" for n in range(1, row.N + 1)]
        runs = [run_to_the_end(row.N, set(bad), row.n0) for bad in combinations(names, row.D)]
        examined = pd.Series([number for number, _ in runs])
        stages = pd.Series([stage for _, stage in runs])
        assert (stages == 0).mean() == pytest.approx(row.p_stop0, rel=1e-9)
        assert (stages == 1).mean() == pytest.approx(row.p_stop1, rel=1e-9)
        assert (stages == 2).mean() == pytest.approx(row.p_stop2, rel=1e-9)
        assert examined.mean() == pytest.approx(row.e_exam, rel=1e-9)


# ---------------------------------------------------------------- properties

HISTORY = st.lists(
    st.tuples(
        st.integers(1, 12),  # joint
        st.sampled_from(["accept", "reject"]),
        st.integers(1, 8),  # report
    ),
    max_size=14,
    unique_by=lambda film: film[0],
)


def rows_of(history):
    return [(f"J{joint}", verdict, report) for joint, verdict, report in history]


@settings(deadline=None, max_examples=60)
@given(HISTORY.filter(bool), st.randoms())
def test_the_order_of_the_rows_does_not_matter(history, random):
    frame = films(*rows_of(history))
    order = list(range(len(frame)))
    random.shuffle(order)
    turned = frame.iloc[order].reset_index(drop=True)
    pd.testing.assert_frame_equal(
        decide(frame, welds(12), PIPING), decide(turned, welds(12), PIPING)
    )


@settings(deadline=None, max_examples=60)
@given(HISTORY.filter(bool), st.integers(1, 8), st.sampled_from(sorted(PRESETS)))
def test_no_owed_item_is_ever_lost(history, until, name):
    frame = films(*rows_of(history))
    frame["to_mm"] = 100.0
    before = frame[frame["report"] <= f"R-{until:02d}"]
    then = decide(before, welds(12), PRESETS[name])
    today = decide(frame, welds(12), PRESETS[name])
    assert set(then["item"]) <= set(today["item"])


@settings(deadline=None, max_examples=60)
@given(HISTORY.filter(bool))
def test_never_more_is_owed_than_is_left(history):
    frame = films(*rows_of(history))
    items = decide(frame, welds(12), PIPING)
    assert int(items["count"].sum()) <= 12 - len(frame)


def test_the_re_examination_of_a_neighbour_is_not_astray():
    rejects = spots((900, 1200, "reject", 1), (1200, 1500, "reject", 2)).assign(method="RT")
    again = spots((900, 1200, "accept", 3)).assign(method="RT", round=1)
    items = repairs(rejects, again)
    still = items[items["state"] == "open"]
    assert len(still) == 2
    assert not still["because"].str.contains("does not cover").any()
