"""What lots consist of: by welder, by month of welding, by increment of weld length."""

import pandas as pd
import pytest

from ndtstats.escalation.lots import lots_of_examinations, lots_of_work
from ndtstats.rules import read_rules

RULES = """
title = "lots"
follows = "invented"
edition = "none"
[[extent]]
name = "butts"
categories = ["B"]
method = "RT"
amount = {{ family = "spot-per-increment", increment_m = 15.0 }}
spot_length_mm = 1000.0
escalation = "spot-vessel"
lot = {lot}
{more}
"""


def rules_with(*lot, more=""):
    shown = "[" + ", ".join(f'"{name}"' for name in lot) + "]"
    return read_rules(RULES.format(lot=shown, more=more), source="lots.toml")


@pytest.fixture
def joints():
    """A seam of 20 m and a pipe butt; the seam, longer than an increment, was welded later."""
    return pd.DataFrame(
        {
            "joint": ["S1", "P1"], "category": "B", "zone": ["V1", "V2"], "whole": [False, True],
            "length_mm": [20_000.0, 1000.0], "crossings_mm": None, "process": ["111", "141"],
            "procedure": ["W-1", "W-2"],
        }
    ).astype({"crossings_mm": "str"})  # fmt: skip


@pytest.fixture
def deposits():
    """Ann welds the first half of the seam, Ben the second and the butt."""
    return pd.DataFrame(
        {
            "joint": ["S1", "S1", "P1"], "welder": ["ANN", "BEN", "BEN"],
            "date": pd.to_datetime(["2026-02-27", "2026-03-03", "2026-01-10"]),
            "from_mm": [None, 10_000.0, None], "to_mm": [10_000.0, None, None],
            "process": [None, "136", None], "procedure": None,
        }
    ).astype({"process": "str", "procedure": "str"})  # fmt: skip


def examined(**columns):
    frame = pd.DataFrame(
        {
            "ref": ["X1"], "joint": ["S1"], "category": "B", "zone": "V1", "from_mm": [10_200.0],
            "to_mm": [11_200.0], "welder": ["BEN"], "rejected": [True], "process": ["136"],
            "procedure": ["W-1"],
        }
    )  # fmt: skip
    return frame.assign(**columns)


def lots(joints, deposits, *columns, more="", films=None):
    rules = rules_with(*columns, more=more)
    rule = rules.extent[0]
    if films is not None:
        return lots_of_examinations(films, joints, deposits, rules, rule)
    return lots_of_work(joints, deposits, rules, rule)


def test_places_cover_the_welds_and_each_belongs_to_who_welded_it(joints, deposits):
    work = lots(joints, deposits, "welder")
    assert work["lot"].value_counts().to_dict() == {"welder ANN": 10, "welder BEN": 11}
    assert (work["to_mm"] - work["from_mm"]).sum() == 21_000
    assert work.loc[work["joint"] == "P1", "to_mm"].tolist() == [1000.0]


def test_a_place_that_two_welded_is_in_the_lots_of_both(joints, deposits):
    deposits.loc[0, "to_mm"] = 10_500.0
    work = lots(joints, deposits, "welder")
    assert (work.groupby(["joint", "from_mm"]).size() == 2).sum() == 1


def test_what_nobody_is_known_to_have_welded_is_not_lost(joints, deposits):
    work = lots(joints, deposits.iloc[:1], "welder", "category")
    assert "welder unknown, category B" in set(work["lot"])
    assert (work["to_mm"] - work["from_mm"]).sum() == 21_000


def test_the_month_is_that_of_the_welding(joints, deposits):
    work = lots(joints, deposits, "welder", "month")
    assert set(work["lot"]) == {
        "welder ANN, month 2026-02", "welder BEN, month 2026-03", "welder BEN, month 2026-01",
    }  # fmt: skip
    film = lots(joints, deposits, "month", films=examined(month="2026-07"))
    assert film["lot"].tolist() == ["month 2026-03"]


def test_increments_are_counted_in_the_order_of_the_welding(joints, deposits):
    # An increment of weld as it was made: ASME VIII-1, UW-52(b); from memory.
    work = lots(joints, deposits, "increment")
    of_seam = work[work["joint"] == "S1"].set_index("from_mm")["lot"]
    assert set(work.loc[work["joint"] == "P1", "lot"]) == {"increment 1"}
    assert of_seam[[0.0, 13_000.0, 14_000.0, 19_000.0]].tolist() == [
        "increment 1", "increment 1", "increment 2", "increment 2",
    ]  # fmt: skip
    film = lots(joints, deposits, "increment", films=examined(from_mm=13_200.0, to_mm=14_300.0))
    assert film["lot"].tolist() == ["increment 1"]


def test_a_joint_that_comes_later_leaves_the_increments_where_they_were(joints, deposits):
    before = lots(joints, deposits, "increment")
    more = pd.concat([joints, joints.iloc[:1].assign(joint="A0")], ignore_index=True)
    welded = deposits.iloc[:1].assign(joint="A0", date=pd.Timestamp("2026-05-01"), to_mm=None)
    after = lots(more, pd.concat([deposits, welded], ignore_index=True), "increment")
    kept = after[after["joint"] != "A0"]
    keys = ["joint", "from_mm", "lot"]
    assert sorted(kept[keys].itertuples(index=False)) == sorted(
        before[keys].itertuples(index=False)
    )


def test_increments_of_each_vessel_are_its_own(joints, deposits):
    work = lots(joints, deposits, "increment", more='counted_per = ["zone"]')
    assert set(work["lot"]) == {"increment V1 1", "increment V1 2", "increment V2 1"}


def test_a_reject_charged_to_one_of_two_counts_once_in_a_lot_without_welders(joints, deposits):
    films = pd.concat([examined(welder="ANN", rejected=False), examined()], ignore_index=True)
    found = lots(joints, deposits, "joint", films=films)
    assert found["rejected"].tolist() == [True]


def test_an_examination_charged_to_nobody_known_is_kept(joints, deposits):
    found = lots(joints, deposits, "welder", films=examined(welder="unknown"))
    assert found["lot"].tolist() == ["welder unknown"]
    assert found["welded"].isna().all()
