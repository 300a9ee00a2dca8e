"""Extras beside a reject, in many replicates at once as the escalation says one by one."""

import numpy as np
import pandas as pd
import pytest

from ndtstats.escalation.decide import decide
from ndtstats.rules import load_rules
from ndtstats.rules.procedures import PRESETS
from ndtstats.simulation.counting import _first
from ndtstats.simulation.frame import frame_of
from ndtstats.simulation.runs import extras_beside, places_beside
from ndtstats.simulation.truth import Truth
from ndtstats.simulation.yard import invented_setting
from ndtstats.statistics import union_length

DAY = pd.Timestamp("2026-01-01")


@pytest.fixture(scope="module")
def frame():
    rules = load_rules("aluminium-hull")
    return frame_of(invented_setting(rules, welders=3, joints_each=16).yard, rules)


def shot(frame, rate, number, rng, procedure=0):
    truth = Truth(np.ones((number, len(frame.welders)), dtype=bool), rate, rate, 300.0)
    first, _ = _first(frame, truth, rng)
    return first, extras_beside(frame, first, procedure, truth, rng)


def test_sound_work_owes_nothing(frame, rng):
    _, extra = shot(frame, 0.0, 5, rng)
    assert len(extra.cell) == 0


def test_both_sides_are_looked_at_until_sound_weld_or_the_end(frame, rng):
    first, extra = shot(frame, 0.1, 60, rng)
    rejects = first.bad[frame.procedure[first.cell] == 0].sum() + extra.bad.sum()
    # A run of k rejects away from ends has k + 1 neighbours, so never more than two each.
    assert 0 < len(extra.cell) <= 2 * rejects
    assert (extra.mm <= PRESETS["until-sound-hull"].spot_length_mm + 1).all()


def test_a_weld_that_is_all_bad_is_examined_to_its_end(frame, rng):
    first, extra = shot(frame, 1 - 1e-12, 3, rng)
    mine = frame.procedure == 0
    of_first = mine[first.cell]
    joints = frame.cells["joint"].to_numpy()
    for replicate in range(3):
        began = set(joints[first.cell[(first.replicate == replicate) & of_first]])
        seen = first.mm[(first.replicate == replicate) & of_first].sum()
        seen += extra.mm[extra.replicate == replicate].sum()
        length = frame.mm[mine & np.isin(joints, list(began))].sum()
        assert seen == pytest.approx(length)


def test_an_image_that_shows_sound_weld_saves_a_side(frame):
    # A point anywhere in a cell of 300 to 338 mm lies within 75 mm of a given end 22 to 25 times in
    # 100; only then is that side looked at.
    plain = frame.procedures[0]
    saving = plain.model_copy(update={"sound_margin_mm": 75.0})
    slots = {name: getattr(frame, name) for name in frame.__slots__ if name != "procedures"}
    sparing = type(frame)(**slots, procedures=(saving, *frame.procedures[1:]))
    _, both_sides = shot(frame, 0.02, 2000, np.random.default_rng(5))
    _, some_sides = shot(sparing, 0.02, 2000, np.random.default_rng(6))
    assert len(some_sides.cell) / len(both_sides.cell) == pytest.approx(0.235, abs=0.05)


def test_many_replicates_at_once_owe_what_each_owes_alone(frame, rng):
    number = 15
    truth = Truth(np.ones((number, len(frame.welders)), dtype=bool), 0.25, 0.0, 300.0)
    first, _ = _first(frame, truth, rng)
    places = places_beside(frame, first, 0, truth, rng)
    rows = as_examinations(frame, places)
    mine = frame.procedure == 0
    population = frame.cells[mine].assign(
        lot=frame.lot[mine].astype(str), length_mm=frame.cells["joint_mm"][mine], welded=pd.NaT
    )
    assert int(places["step"].max()) >= 3
    for replicate, own in rows.groupby("replicate"):
        for step in range(int(own["step"].max()) + 1):
            items = decide(own[own["step"] <= step], population, frame.procedures[0])
            asked = items[items["count"] > 0]["places"].explode().dropna()
            asked = pd.DataFrame(asked.tolist(), columns=["joint", "from_mm", "to_mm"])
            assert same_weld(asked, own[own["step"] == step + 1]), (replicate, step)


def as_examinations(frame, places):
    """Return places as the escalation takes them from a register."""
    number = pd.Series(np.arange(len(places)))
    return pd.DataFrame(
        {
            "joint": frame.cells["joint"].to_numpy()[places["cell"]],
            "lot": frame.lot[places["cell"]].astype(str),
            "from_mm": places["low"], "to_mm": places["high"],
            "rejected": places["bad"], "bad_from_mm": np.nan, "bad_to_mm": np.nan,
            "date": DAY + pd.to_timedelta(places["step"], unit="D"),
            "report": places["step"].astype("str"), "sequence": number,
            "ref": number.astype("str"), "answers": "", "welded": pd.NaT,
            "role": np.where(places["step"] == 0, "initial", "extra"),
            "step": places["step"], "replicate": places["replicate"],
        }
    )  # fmt: skip


def same_weld(one, other):
    """Return whether two sets of places are the same weld, however it is cut."""
    columns = ["joint", "from_mm", "to_mm"]
    both = pd.concat([one[columns], other[columns]], ignore_index=True)
    lengths = [
        union_length(places["joint"], places["from_mm"], places["to_mm"]).sort_index()
        for places in (one, other, both)
    ]
    names = [list(length.index) for length in lengths]
    return names[0] == names[1] == names[2] and all(
        np.allclose(length, lengths[2]) for length in lengths[:2]
    )
