"""What lots owe, from the escalation; and many replicates at once as one by one."""

from itertools import groupby

import numpy as np
import pandas as pd
import pytest

from ndtstats.escalation.decide import decide
from ndtstats.rules import load_rules
from ndtstats.rules.procedures import PRESETS
from ndtstats.simulation.counting import _first
from ndtstats.simulation.frame import frame_of
from ndtstats.simulation.lots import extras_in_lots, owed_in_lots
from ndtstats.simulation.truth import Truth, joined
from ndtstats.simulation.yard import invented_setting

PIPING = PRESETS["progressive-piping"]
DAY = pd.Timestamp("2026-01-01")


def owed(*history, procedure=PIPING):
    found = owed_in_lots(np.array([history]), procedure)
    return int(found.places[0]), bool(found.whole[0])


# Worked examples of ASME B31.3, 341.3.4 (rule seen, arithmetic by hand): one of ten welds examined
# first.
def test_e1_one_reject_and_two_good_tracers_close_with_three_films():
    assert owed(10, 1, 1) == (2, False)
    assert owed(10, 1, 1, 2, 0) == (0, False)


def test_e2_a_bad_tracer_asks_for_two_more_and_five_films_close():
    assert owed(10, 1, 1, 2, 1) == (2, False)
    assert owed(10, 1, 1, 2, 1, 2, 0) == (0, False)


def test_seven_films_at_most_then_the_whole_lot():
    # 1 + 2 + 2 x 2 films, then everything (seen, opinion).
    assert owed(10, 1, 1, 2, 2) == (4, False)
    assert owed(10, 1, 1, 2, 2, 4, 1) == (3, True)


def test_e6_too_few_left_are_all_that_is_owed():
    # Common practice, no source.
    assert owed(2, 1, 1) == (1, False)
    assert owed(2, 1, 1, 1, 0) == (0, False)


def test_e10_a_share_of_the_lot_then_all_of_it():
    # An owner's specification, seen: of a day's 30 welds 3, one reject, 20 % more, then all.
    owner = PIPING.model_copy(update={"extras_per_reject": 0, "extra_shares": (0.2,), "stages": 1})
    assert owed(30, 3, 1, procedure=owner) == (6, False)
    assert owed(30, 3, 1, 6, 1, procedure=owner) == (21, True)


def test_histories_are_told_in_the_order_they_came():
    many = np.array([[10, 1, 1], [10, 1, 0], [2, 1, 1], [10, 1, 1]])
    assert owed_in_lots(many, PIPING).places.tolist() == [2, 0, 1, 2]


# Exact enumeration of the rule, tests/references (rule seen, values computed with R).
@pytest.mark.parametrize(
    ("number", "bad", "examined"), [(20, 5, 2), (20, 5, 10), (50, 5, 5), (50, 2, 10), (100, 5, 10)]
)
def test_agrees_with_exact_enumeration_within_the_error(
    make, reference, rng, number, bad, examined
):
    table = reference("escalation_expected.csv").set_index(["N", "D", "n0"])
    exact = table.loc[(number, bad, examined)]
    replicates = 8000
    frame, one = make.lot_of(bad, number - bad)
    first, truth = make.first(frame, one, examined, replicates, rng)
    extra = extras_in_lots(frame, first, 0, truth, rng)
    both = joined([first, extra])
    shot = np.bincount(both.replicate, minlength=replicates)
    left = bad - np.bincount(both.replicate, both.bad, replicates)
    at_two = (both.step == 2) & both.bad
    full = np.bincount(both.replicate, at_two, replicates) > 0
    last = np.zeros(replicates, dtype=np.int64)
    np.maximum.at(last, both.replicate, both.step)
    found = {
        "e_exam": shot, "e_left": left, "p_full": full, "p_stop0": last == 0,
        "p_stop1": (last == 1) & ~full, "p_stop2": (last == 2) & ~full,
    }  # fmt: skip
    for name, values in found.items():
        spread = np.sqrt(max(values.var(), exact["p_full"] / replicates) / replicates)
        assert abs(values.mean() - exact[name]) <= 4 * spread, name
    assert np.unique(both.replicate * number + both.cell).size == len(both.cell)


def decided_one_by_one(frame, examined, procedure):
    """Return what each lot of each replicate owes, by the escalation fed with its own rows."""
    cells = frame.cells.iloc[examined.cell].reset_index(drop=True)
    lot = pd.Series(frame.lot[examined.cell]).astype("str")
    rows = cells[["joint", "from_mm", "to_mm"]].assign(
        lot=lot, rejected=examined.bad, bad_from_mm=np.nan, bad_to_mm=np.nan,
        date=DAY + pd.to_timedelta(examined.step, unit="D"),
        report=examined.step.astype(str), sequence=np.arange(len(cells)),
        ref=np.arange(len(cells)).astype(str), answers="", welded=pd.NaT,
        role=np.where(examined.step == 0, "initial", "extra"),
    )  # fmt: skip
    population = frame.cells[["joint", "from_mm", "to_mm"]].assign(
        lot=frame.lot.astype(str), length_mm=frame.cells["joint_mm"], welded=pd.NaT
    )
    items = decide(rows, population[frame.procedure >= 0], procedure)
    return items[items["count"] > 0].groupby("lot")["count"].sum().to_dict()


@pytest.mark.parametrize("preset", ["progressive-piping", "percent-of-lot"])
def test_each_history_decided_once_owes_what_each_lot_owes_alone(preset, rng):
    # The second path knows nothing of histories: real joints, places and reports, lot by lot.
    rules = load_rules("process-piping")
    yard = invented_setting(rules, welders=3, joints_each=28, joint_mm=300.0).yard
    frame = frame_of(yard, rules)
    procedure = PRESETS[preset]
    frame = type(frame)(
        **{name: getattr(frame, name) for name in frame.__slots__ if name != "procedures"},
        procedures=(procedure,) * len(frame.procedures),
    )
    number = 24
    truth = Truth(rng.random((number, len(frame.welders))) < 0.5, 0.4, 0.1, 300.0)
    first, _ = _first(frame, truth, rng)
    extra = joined(
        [extras_in_lots(frame, first, kind, truth, rng) for kind in range(len(frame.procedures))]
    )
    both = joined([first, extra])
    steps = int(both.step.max())
    assert steps >= 2
    for replicate in range(number):
        for step in range(steps + 1):
            known = (both.replicate == replicate) & (both.step <= step)
            asked = decided_one_by_one(
                frame, type(both)(*(column[known] for column in both)), procedure
            )
            follow = (both.replicate == replicate) & (both.step == step + 1)
            lots = sorted(frame.lot[both.cell[follow]].astype(str))
            assert {lot: len(list(same)) for lot, same in groupby(lots)} == asked
