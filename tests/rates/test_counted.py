"""What the database counts is what one gets who reads the examinations one by one."""

from datetime import timedelta
from itertools import product

import numpy as np
import pandas as pd
import pytest

from ndtstats.rates import aside, rates, set_aside
from ndtstats.rates import counted as counts_of_database
from ndtstats.rates.counted import first_counted
from ndtstats.rates.measures import Settings
from ndtstats.rates.rates import rates_of
from ndtstats.rates.sample import first_charged
from ndtstats.register import Register, queries

from ..register.conftest import new_database
from .invented import fill

USUAL = Settings(0.95, "clopper-pearson", "two")
#: What is asked of each invented register; many more were tried when this was written.
ASKED = [
    (["welder"], {}),
    (["welder", "process"], {"method": "RT"}),
    (["zone", "welder", "month"], {"job": "H1", "method": "RT"}),
    (["category", "thickness"], {"as_of": timedelta(hours=1), "method": "RT"}),
    (["part", "method"], {}),
    (["process"], {"as_of": timedelta(hours=1), "job": "H1", "method": "RT"}),
    (["welder"], {"method": "RT"}),
    (["job", "joint"], {}),
]


@pytest.mark.parametrize(("seed", "planned"), list(product(range(2), [True, False])))
def test_counts_of_the_database_are_those_of_every_row(register, now, monkeypatch, seed, planned):
    if not planned:
        for module in (queries, counts_of_database):
            monkeypatch.setattr(module, "MOST_JOINTS_NAMED", 3)
    fill(register, seed, now, planned=planned)
    for by, some in ASKED[seed * 2 + planned :: 4]:
        as_of = now + some["as_of"] if "as_of" in some else None
        asked = {"method": None, "job": None} | some | {"as_of": as_of}
        counted, single = (how(register, by, **asked) for how in (first_counted, first_charged))
        # It does count: fewer rows stand for as many examinations.
        assert (counted.seen["row"] < 0).any()
        assert counted.seen["times"].sum() == single.seen["times"].sum()
        assert counted.seen["rejected"].any()
        for measure in ("spots", "joints"):
            pd.testing.assert_frame_equal(
                rates_of(counted, by, measure, USUAL),
                rates_of(single, by, measure, USUAL),
                check_exact=True,
            )


def test_who_remembers_all_methods_answers_for_one_as_who_asks_anew(register, now):
    fill(register, 0, now)
    kept = register.snapshot()
    for measure, by in product(("spots", "per-metre"), (["welder"], ["method", "zone"])):
        for method in (None, "RT", "UT"):
            asked = {"by": by, "method": method, "measure": measure}
            pd.testing.assert_frame_equal(
                rates(kept, **asked), rates(register, **asked), check_exact=True
            )


def test_a_server_counts_as_a_file_does(register, now, tmp_path):
    with new_database("postgresql", tmp_path) as target:
        server = Register.open(target, create=True)
        for where in (register, server):
            fill(where, 3, now)
        for by in (["welder", "process"], ["month", "thickness"]):
            for question, method in product((rates, set_aside), (None, "RT")):
                pd.testing.assert_frame_equal(
                    question(server, by=by, method=method),
                    question(register, by=by, method=method),
                    check_exact=True,
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


def test_joints_with_one_deposit_are_counted_together_with_their_rejects(register, write):
    """K7 made B-0, B-1 and B-2, M2 made B-3: six of K7 on three joints, two with a reject."""
    write(
        joints=pd.DataFrame({"joint": [f"B-{n}" for n in range(4)]}),
        deposits=pd.DataFrame(
            {
                "joint": [f"B-{n}" for n in range(4)], "welder": ["K7", "K7", "K7", "M2"],
                "date": pd.Timestamp("2026-01-05"),
            }
        ),
        examinations=pd.DataFrame(
            {
                "joint": ["B-0", "B-0", "B-1", "B-1", "B-2", "B-2", "B-3"],
                "from_mm": [0.0, 300.0] * 3 + [0.0], "to_mm": [300.0, 600.0] * 3 + [300.0],
                "verdict": ["accept"] * 3 + ["reject"] * 3 + ["accept"],
                "date": pd.Timestamp("2026-02-01"),
            }
        ),
        # Of the reject without an indication, the first of the three, no length is known either.
        imperfections=pd.DataFrame(
            {
                "examination": [4, 5], "imperfection": ["401", "100"],
                "imp_length_mm": [np.nan, 10.0],
            }
        ),
    )  # fmt: skip
    counted = first_counted(register, ["welder"], method="RT", job=None, as_of=None).seen
    told = counted[["welder", "rejected", "times", "joints"]].sort_values(["welder", "rejected"])
    assert told.to_numpy().tolist() == [
        ["K7", False, 3, 1], ["K7", True, 3, 2], ["M2", False, 1, 1],
    ]  # fmt: skip
    of_spots, of_joints = (
        rates(register, measure=measure, method="RT").set_index("welder")
        for measure in ("spots", "joints")
    )
    columns = ["rejected", "examined", "joints", "no_length"]
    assert of_spots[columns].to_numpy().tolist() == [[3, 6, 3, 2], [0, 1, 1, 0]]
    assert of_joints[columns].to_numpy().tolist() == [[2, 3, 3, 2], [0, 1, 1, 0]]


@pytest.mark.parametrize("by", [["welder"], ["process"], ["welder", "month"]])
def test_joints_that_only_look_alike_are_not_counted_together(register, write, by):
    joints = pd.DataFrame({"joint": [f"B-{n}" for n in range(7)], "process": "131"})
    deposits = pd.DataFrame(
        [
            # Two passes of one welder, one of which says more than the other; a reject of either.
            ("B-0", "K7", "root", "141", np.nan, np.nan, "2026-01-05"),
            ("B-0", "K7", "cap", None, np.nan, np.nan, "2026-01-05"),
            ("B-1", "K7", "root", None, np.nan, np.nan, "2026-01-05"),
            ("B-1", "K7", "cap", None, np.nan, np.nan, "2026-01-05"),
            # Half of the joint; a joint of no length; a place of no length.
            ("B-2", "K7", None, None, 0.0, 500.0, "2026-01-05"),
            ("B-3", "K7", None, None, np.nan, np.nan, "2026-01-05"),
            ("B-4", "K7", None, None, np.nan, np.nan, "2026-01-05"),
            # Welded between two exposures of a month; an indication that need not be repaired.
            ("B-5", "K7", None, None, np.nan, np.nan, "2026-01-15"),
            ("B-6", "K7", None, None, np.nan, np.nan, "2026-01-05"),
        ],
        columns=["joint", "welder", "pass", "process", "from_mm", "to_mm", "date"],
    )
    exams = pd.DataFrame(
        [
            ("B-0", 0.0, 300.0, "2026-02-01", "accept"),
            ("B-1", 0.0, 300.0, "2026-02-01", "reject"),
            ("B-2", 600.0, 900.0, "2026-02-01", "accept"),
            ("B-3", 0.0, np.nan, "2026-02-01", "accept"),
            ("B-4", 300.0, 300.0, "2026-02-01", "accept"),
            ("B-5", 0.0, 300.0, "2026-01-10", "accept"),
            ("B-5", 300.0, 600.0, "2026-01-20", "accept"),
            ("B-5", 600.0, 900.0, "2026-02-01", "accept"),
            ("B-6", 0.0, 300.0, "2026-02-01", "reject"),
        ],
        columns=["joint", "from_mm", "to_mm", "date", "verdict"],
    )
    marks = pd.DataFrame(
        {
            "examination": [1, 8, 8], "imperfection": "2011", "imp_from_mm": 10.0,
            "imp_length_mm": [np.nan, np.nan, 20.0], "imp_rejectable": [True, False, True],
        }
    )  # fmt: skip
    write(
        joints=joints.assign(length_mm=[1000.0] * 3 + [np.nan] + [1000.0] * 3),
        deposits=deposits.astype({"date": "datetime64[s]"}),
        examinations=exams.astype({"date": "datetime64[s]"}), imperfections=marks,
    )  # fmt: skip
    asked = {"method": "RT", "job": None, "as_of": None}
    counted, single = (how(register, by, **asked) for how in (first_counted, first_charged))
    for measure in ("spots", "joints"):
        pd.testing.assert_frame_equal(
            rates_of(counted, by, measure, USUAL),
            rates_of(single, by, measure, USUAL),
            check_exact=True,
        )


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
