"""Who needs a tested weld by when, and which cells can give it.

The windows are those of tests/qualification/test_proof.py; the cases are worked by hand.
"""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from ndtstats.planning.evidence import COLUMNS, evidence_spots
from ndtstats.register.frames import typed
from ndtstats.register.schema import STORED

CELL = ["job", "joint", "rule", "method", "from_mm", "to_mm"]


def table(name, rows):
    return typed(pd.DataFrame(rows), STORED[name])


def tickets(**changed):
    row = {
        "welder": "K7", "certificate": "C-1", "standard": "ISO 9606-1", "process": "131",
        "material": "22", "joint_types": "butt;tee", "positions": "PA;PF",
        "thickness_min_mm": 3.0, "thickness_max_mm": 12.0,
        "qualified_on": pd.Timestamp("2024-06-15"), "confirmed_on": pd.Timestamp("2025-12-15"),
        "valid_until": pd.NaT,
    }  # fmt: skip
    return table("qualifications", [row | changed])


def joints(*names, **changed):
    row = {
        "job": "H1", "joint_type": "butt", "length_mm": 900.0, "thickness_mm": 6.0,
        "material": "22.3", "process": "131", "position": "PF",
    }  # fmt: skip
    return table("joints", [row | {"joint": name} | changed for name in names])


def deposits(*rows):
    keys = ["joint", "welder", "date", "from_mm", "to_mm", "process", "job"]
    blank = (None, None, None, "H1")
    frame = [dict(zip(keys, (*row, *blank[len(row) - 3 :]), strict=True)) for row in rows]
    return table("deposits", [row | {"date": pd.Timestamp(row["date"])} for row in frame])


def examined(*rows):
    keys = ["joint", "verdict", "date", "from_mm", "to_mm", "method", "round"]
    usual = (0.0, 300.0, "RT", 0)
    frame = [dict(zip(keys, (*row, *usual[len(row) - 3 :]), strict=True)) for row in rows]
    frame = [
        {"job": "H1", "report": "R", **row, "date": pd.Timestamp(row["date"])} for row in frame
    ]
    return table("examinations", frame or {name: [] for name in ["job", "joint"]})


def cells(*names, method="RT", job="H1"):
    rows = [(job, name, "butts", method, at, at + 300.0) for name in names for at in (0, 300, 600)]
    return pd.DataFrame(rows, columns=CELL).astype({"from_mm": float, "to_mm": float})


def proposed(qualified, done, made, welds, frame, *, day="2026-05-01", within=60, seed=1, **more):
    return evidence_spots(
        qualified, table("confirmations", {"welder": []}), done, made, welds, frame,
        as_of_day=date.fromisoformat(day), within_days=within,
        rng=np.random.default_rng(seed), **more,
    )  # fmt: skip


MADE = deposits(("B-1", "K7", "2026-02-01"))


def test_a_window_that_closes_without_a_tested_weld_gets_a_cell():
    found = proposed(tickets(), examined(), MADE, joints("B-1"), cells("B-1"))
    assert found.dtypes.astype(str).to_dict() == COLUMNS
    (row,) = found.to_dict("records")
    assert (row["certificate"], row["welder"], row["joint"]) == ("C-1", "K7", "B-1")
    assert row["why"] == "qualification evidence: certificate C-1, window closes 2026-06-15"
    assert cells("B-1").loc[row["cell"], "from_mm"] == row["from_mm"]


@pytest.mark.parametrize(
    ("day", "within", "asked"),
    [
        ("2026-05-01", 45, True),  # 15 June is 45 days after 1 May
        ("2026-05-01", 44, False),
        ("2026-06-15", 0, True),  # the day itself still counts
        ("2026-06-16", 60, False),  # lapsed: no weld brings it back
    ],
)
def test_only_windows_that_are_about_to_close_are_looked_at(day, within, asked):
    how = {"day": day, "within": within}
    found = proposed(tickets(), examined(), MADE, joints("B-1"), cells("B-1"), **how)
    assert len(found) == asked


@pytest.mark.parametrize(
    ("exam", "proves"),
    [
        (("B-0", "accept", "2026-03-01"), True),
        (("B-0", "accept", "2026-03-01", 0.0, 300.0, "UT"), True),
        (("B-0", "accept", "2026-03-01", None, None), True),
        (("B-0", "reject", "2026-03-01"), False),  # a rejected one does not count
        (("B-0", "re-shoot", "2026-03-01"), False),
        (("B-0", "accept", "2026-03-01", 0.0, 300.0, "PT"), False),  # not volumetric
        (("B-0", "accept", "2026-03-01", 0.0, 300.0, "RT", 1), False),  # a repair
        (("B-2", "accept", "2026-03-01"), False),  # welded before the window
    ],
)
def test_an_accepted_volumetric_first_examination_in_the_window_is_evidence(exam, proves):
    made = deposits(("B-0", "K7", "2026-02-01"), ("B-1", "K7", "2026-02-01"),
                    ("B-2", "K7", "2025-12-15"))  # fmt: skip
    welds = joints("B-0", "B-1", "B-2")
    found = proposed(tickets(), examined(exam), made, welds, cells("B-1"))
    assert found["joint"].tolist() == ([] if proves else ["B-1"])


def test_an_image_of_two_welders_proves_nothing_about_either():
    made = deposits(("B-0", "K7", "2026-02-01"), ("B-0", "M2", "2026-02-01"),
                    ("B-1", "K7", "2026-02-01"))  # fmt: skip
    exam = examined(("B-0", "accept", "2026-03-01"))
    found = proposed(tickets(), exam, made, joints("B-0", "B-1"), cells("B-0", "B-1"))
    assert found["joint"].tolist() == ["B-1"]


def test_two_images_of_one_joint_are_one_weld():
    until = tickets(valid_until=pd.Timestamp("2026-06-15"))
    made = deposits(*((f"B-{n}", "K7", "2026-02-01") for n in range(3)))
    welds, frame = joints("B-0", "B-1", "B-2"), cells("B-0", "B-1", "B-2")
    once = examined(("B-0", "accept", "2026-03-01"), ("B-0", "accept", "2026-03-01", 300.0, 600.0))
    found = proposed(until, once, made, welds, frame)
    assert found["window"].tolist() == ["prolongation"]
    assert found["joint"].isin(["B-1", "B-2"]).all()
    twice = examined(("B-0", "accept", "2026-03-01"), ("B-1", "accept", "2026-03-01"))
    assert proposed(until, twice, made, welds, frame).empty


def test_two_welds_are_asked_for_on_two_joints():
    until = tickets(valid_until=pd.Timestamp("2026-06-15"))
    made = deposits(("B-0", "K7", "2026-02-01"), ("B-1", "K7", "2026-02-01"))
    found = proposed(until, examined(), made, joints("B-0", "B-1"), cells("B-0", "B-1"))
    both = found[found["window"] == "prolongation"]
    assert sorted(both["joint"]) == ["B-0", "B-1"]
    # The confirmation that closes the same day is served by one of them.
    assert set(found["cell"]) == set(both["cell"])


def test_one_joint_where_two_are_needed_is_told():
    until = tickets(valid_until=pd.Timestamp("2026-06-15"), confirmed_on=pd.Timestamp("2026-04-30"))
    found = proposed(until, examined(), MADE, joints("B-1"), cells("B-1"))
    assert found["joint"].fillna("-").tolist() == ["B-1", "-"]
    assert found["why"].iloc[1] == (
        "1 more needed for certificate C-1, window closes 2026-06-15: "
        "there is no other weld that fits"
    )


@pytest.mark.parametrize(
    "changed",
    [
        {"process": "141"},
        {"material": "8"},
        {"joint_types": "tee"},
        {"positions": "PA;PC"},
        {"thickness_min_mm": 6.5},
        {"thickness_max_mm": 5.5},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_a_weld_outside_the_range_of_the_certificate_is_no_evidence(changed):
    found = proposed(tickets(**changed), examined(), MADE, joints("B-1"), cells("B-1"))
    assert found["cell"].isna().all()
    assert found["why"].tolist() == [
        "none found for certificate C-1, window closes 2026-06-15: "
        "no weld of his made after 2025-12-15 is within its range"
    ]


def test_a_blank_range_covers_everything():
    blank = dict.fromkeys(["material", "joint_types", "positions"])
    found = proposed(tickets(**blank), examined(), MADE, joints("B-1"), cells("B-1"))
    assert found["joint"].tolist() == ["B-1"]


def test_the_process_of_a_deposit_outranks_that_of_its_joint():
    made = deposits(("B-1", "K7", "2026-02-01", None, None, "141"))
    of_141 = tickets(process="141")
    assert proposed(of_141, examined(), made, joints("B-1"), cells("B-1"))["cell"].notna().all()
    assert proposed(tickets(), examined(), made, joints("B-1"), cells("B-1"))["cell"].isna().all()


@pytest.mark.parametrize(
    ("made", "welds", "frame", "done", "reason"),
    [
        (deposits(("B-1", "M2", "2026-02-01")), joints("B-1"), cells("B-1"), examined(),
         "the register has no weld of his made after 2025-12-15"),
        (MADE, joints("B-1", joint_type="tee"), cells("B-1"), examined(),
         "no butt weld of his is within its range"),
        (MADE, joints("B-1"), cells("B-1", method="PT"), examined(),
         "no cell that is not drawn yet shows such a weld by RT or UT"),
        (MADE, joints("B-1"), cells("B-1"), examined(("B-1", "reject", "2026-03-01", 0.0, 900.0)),
         "each such place was looked into, or is asked for, already"),
        (deposits(("B-1", "K7", "2026-02-01"), ("B-1", "M2", "2026-02-01")), joints("B-1"),
         cells("B-1"), examined(), "each such place shows another welder too"),
    ],
    ids=["no weld", "no butt", "no cell", "seen", "shared"],
)  # fmt: skip
def test_it_says_why_none_was_found(made, welds, frame, done, reason):
    found = proposed(tickets(), done, made, welds, frame)
    assert found["why"].tolist() == [
        f"none found for certificate C-1, window closes 2026-06-15: {reason}"
    ]


def test_only_the_part_that_he_alone_welded_is_proposed():
    made = deposits(
        ("B-1", "K7", "2026-02-01", 0.0, 300.0), ("B-1", "M2", "2026-02-01", 300.0, 900.0)
    )
    for seed in range(10):
        found = proposed(tickets(), examined(), made, joints("B-1"), cells("B-1"), seed=seed)
        assert found["from_mm"].tolist() == [0.0]


def test_a_spot_that_is_asked_for_already_is_evidence_to_come():
    asked = cells("B-1").iloc[[1]]
    found = proposed(tickets(), examined(), MADE, joints("B-1"), cells("B-1"), planned=asked)
    assert found.empty


def test_a_spot_that_was_asked_for_and_rejected_is_no_evidence_to_come():
    asked = cells("B-1").iloc[[0]]
    done = examined(("B-1", "reject", "2026-03-01"))
    found = proposed(tickets(), done, MADE, joints("B-1"), cells("B-1"), planned=asked)
    assert found["from_mm"].isin([300.0, 600.0]).tolist() == [True]


def test_a_weld_of_another_job_is_evidence_and_joints_of_two_jobs_are_not_mixed():
    made = deposits(("B-1", "K7", "2026-02-01", None, None, None, "H2"))
    welds = pd.concat([joints("B-1", job="H2"), joints("B-1")], ignore_index=True)
    exam = examined(("B-1", "accept", "2026-03-01")).assign(job="H2")
    assert proposed(tickets(), exam, made, welds, cells("B-1")).empty
    mixed = examined(("B-1", "accept", "2026-03-01"))
    assert proposed(tickets(), mixed, made, welds, cells("B-1"))["cell"].isna().tolist() == [True]


def test_chance_gives_each_cell_that_fits_its_turn_and_a_seed_repeats():
    frame = cells("B-1")
    taken = [
        int(proposed(tickets(), examined(), MADE, joints("B-1"), frame, seed=n)["cell"][0])
        for n in range(15)
    ]
    # Three cells, 15 turns: a cell that is never taken would be a chance of 3 × (2/3)^15 = 0.007.
    assert set(taken) == set(frame.index)
    again = [proposed(tickets(), examined(), MADE, joints("B-1"), frame, seed=7)] * 2
    assert again[0].equals(again[1])


def test_two_certificates_of_a_welder_meet_in_one_cell():
    both = pd.concat([tickets(), tickets(certificate="C-2")], ignore_index=True)
    made = deposits(("B-1", "K7", "2026-02-01"), ("B-2", "K7", "2026-02-01"))
    found = proposed(both, examined(), made, joints("B-1", "B-2"), cells("B-1", "B-2"))
    assert found["certificate"].tolist() == ["C-1", "C-2"]
    assert len(set(found["cell"])) == 1


def test_no_certificate_at_all_needs_nothing():
    found = proposed(tickets().iloc[:0], examined(), MADE, joints("B-1"), cells("B-1"))
    assert found.empty
    assert list(found.columns) == list(COLUMNS)
