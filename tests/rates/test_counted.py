"""What the database counts is what one gets who reads the examinations one by one."""

from datetime import timedelta
from itertools import product

import numpy as np
import pandas as pd
import pytest

from ndtstats.rates import aside, rates, set_aside
from ndtstats.rates.counted import first_counted
from ndtstats.rates.measures import Settings
from ndtstats.rates.rates import rates_of
from ndtstats.rates.sample import first_charged
from ndtstats.register import Register

from ..register.conftest import new_database
from .invented import fill

USUAL = Settings(0.95, "clopper-pearson", "two")
#: What is asked of each invented register; many more were tried when this was written.
ASKED = [
    (["welder"], {}),
    (["welder", "process"], {"method": "RT"}),
    (["zone", "welder", "month"], {"job": "H1"}),
    (["category", "thickness"], {"as_of": timedelta(hours=1)}),
    (["part", "method"], {}),
    (["process"], {"as_of": timedelta(hours=1), "job": "H1"}),
    ([], {"method": "UT"}),
    (["job", "joint"], {}),
]


@pytest.mark.parametrize(("seed", "planned"), list(product(range(2), [True, False])))
def test_counts_of_the_database_are_those_of_every_row(register, now, seed, planned):
    fill(register, seed, now, planned=planned)
    for by, some in ASKED[seed * 2 + planned :: 4]:
        as_of = now + some["as_of"] if "as_of" in some else None
        asked = {"method": None, "job": None} | some | {"as_of": as_of}
        counted, single = (how(register, by, **asked) for how in (first_counted, first_charged))
        # It does count: fewer rows stand for as many examinations.
        assert (counted.seen["row"] < 0).any()
        assert counted.seen["times"].sum() == single.seen["times"].sum()
        for measure in ("spots", "joints"):
            pd.testing.assert_frame_equal(
                rates_of(counted, by, measure, USUAL),
                rates_of(single, by, measure, USUAL),
                check_exact=True,
            )


def test_a_server_counts_as_a_file_does(register, now, tmp_path):
    with new_database("postgresql", tmp_path) as target:
        server = Register.open(target, create=True)
        for where in (register, server):
            fill(where, 3, now)
        for by in (["welder", "process"], ["month", "thickness"]):
            for question in (rates, set_aside):
                pd.testing.assert_frame_equal(
                    question(server, by=by), question(register, by=by), check_exact=True
                )
        server.close()


def test_deposits_of_half_a_joint_or_of_later_are_told_one_by_one(register, write):
    joints = pd.DataFrame({"joint": ["B-0", "B-1", "B-2"]})
    deposits = pd.DataFrame(
        {
            "joint": ["B-0", "B-0", "B-1", "B-1", "B-2"],
            "welder": ["K7", "M2", "K7", "M2", "N3"],
            # The first is shared in length; in the second a repair lies between two exposures.
            "from_mm": [0.0, 500.0, np.nan, np.nan, np.nan],
            "to_mm": [500.0, 1000.0, np.nan, np.nan, np.nan],
            "date": pd.to_datetime(
                ["2026-01-05", "2026-01-05", "2026-01-05", "2026-02-10", "2026-01-05"]
            ),
        }
    )
    exams = pd.DataFrame(
        {
            "joint": ["B-0", "B-0", "B-1", "B-1", "B-2", "B-2"],
            "from_mm": [0.0, 600.0] * 3, "to_mm": [300.0, 900.0] * 3, "verdict": "accept",
            "date": pd.to_datetime(["2026-02-01", "2026-02-20"] * 3),
        }
    )  # fmt: skip
    write(joints=joints, deposits=deposits, examinations=exams)
    asked = {"method": "RT", "job": None, "as_of": None}
    charges = first_counted(register, ["welder"], **asked)
    assert charges.seen.groupby("welder")["times"].sum().to_dict() == {"K7": 3, "M2": 2, "N3": 2}
    assert charges.seen.loc[charges.seen["row"] < 0, "welder"].tolist() == ["N3"]


@pytest.mark.parametrize("seed", range(2))
def test_what_is_counted_apart_is_that_of_every_row(register, now, monkeypatch, seed):
    fill(register, seed, now)
    questions = [
        {}, {"by": ["month", "thickness"], "job": "H1"}, {"by": ["joint", "method"]},
        {"method": "RT", "as_of": now + timedelta(hours=1)}, {"by": ["job"], "method": "UT"},
    ]  # fmt: skip
    counted = [set_aside(register, **asked) for asked in questions]
    assert counted[0].set_index("what")["count"]["overturned"] > 0
    monkeypatch.setattr(aside, "_counted", aside._each)
    for table, asked in zip(counted, questions, strict=True):
        pd.testing.assert_frame_equal(table, set_aside(register, **asked), check_exact=True)
