"""Frames made by hand, and first examinations of them by simple random draws."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from ndtstats.rules.procedures import PRESETS
from ndtstats.simulation.chance import draw_simple
from ndtstats.simulation.frame import Frame
from ndtstats.simulation.truth import Examined, Truth

#: A rate is below 1; a welder with this one is rejected wherever he is looked at.
ALWAYS = 1 - 1e-15


def lot_of(bad: int, sound: int) -> tuple[Frame, Truth]:
    """Return one lot of whole joints, of which so many are bad whatever happens."""
    places = bad + sound
    welder = np.repeat([0, 1], [bad, sound])
    frame = Frame(
        cells=pd.DataFrame(
            {
                "joint": [f"J{n}" for n in range(places)],
                "rule": "r",
                "method": "RT",
                "from_mm": 0.0,
                "to_mm": 300.0,
                "joint_mm": 300.0,
            }
        ),
        welders=("bad", "sound"),
        welder=welder,
        mm=np.full(places, 300.0),
        exposures=np.ones(places, dtype=np.int64),
        stratum=np.zeros(places, dtype=np.int64),
        pi=np.full(places, 0.5),
        walk=np.arange(places),
        lot=np.zeros(places, dtype=np.int64),
        procedure=np.zeros(places, dtype=np.int64),
        procedures=(PRESETS["progressive-piping"],),
        welded_mm=300.0 * (1 + np.arange(places)),
        method="pivotal",
        notes=(),
    )
    return frame, Truth(np.array([[True, False]]), ALWAYS, 0.0, 300.0)


def first_by_simple_draws(frame, truth, examined, replicates, rng):
    """Return first examinations by simple random draws, and the truth of as many replicates."""
    truth = truth._replace(is_bad=np.repeat(truth.is_bad, replicates, axis=0))
    drawn = draw_simple(examined, len(frame.mm), replicates, rng)
    replicate, cell = np.nonzero(drawn)
    bad = rng.random(len(cell)) < truth.chance(replicate, frame.welder[cell], frame.mm[cell])
    first = Examined(
        replicate,
        cell,
        frame.mm[cell],
        frame.exposures[cell],
        np.zeros(len(cell), dtype=np.int64),
        np.zeros(len(cell), dtype=bool),
        bad,
    )
    return first, truth


@pytest.fixture(scope="session")
def make():
    return SimpleNamespace(lot_of=lot_of, first=first_by_simple_draws)


@pytest.fixture
def rng():
    return np.random.default_rng(20260101)
