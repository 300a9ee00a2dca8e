import pandas as pd
import pytest

from ndtstats.planning.likelihood import fit_likelihood
from ndtstats.planning.risk import FACTORS, factors_in_words, hidden_zones, risk_factors
from ndtstats.rules import Risk

CELLS = pd.DataFrame(
    {
        "joint": "B-1",
        "from_mm": [0.0, 300.0, 600.0, 900.0],
        "to_mm": [300.0, 600.0, 900.0, 1200.0],
        "mandatory": ["", "crossing", "", ""],
        "first_of_welder": [True, True, True, False],
        "first_of_procedure": [False, False, True, True],
        "process": "135",
        "position": ["PA", "PA", "PE", "PE"],
        "thickness": "3 to 6 mm",
        "welder": "K1",
    }
)
JOINTS = pd.DataFrame(
    {"joint": ["B-1"], "zone": ["TANK"], "length_mm": [1200.0], "category": ["A"]}
)
NO_REJECTS = pd.DataFrame({"joint": [], "from_mm": [], "to_mm": []}).astype({"joint": "str"})
RISK = Risk(
    first_work_of_welder=2.0, first_work_of_procedure=1.5, bead_end=1.3, crossing=1.7,
    difficult_access=1.2, difficult_positions=("PE",), near_repair=1.6, near_repair_mm=100.0,
    hidden_later=1.4, consequence={"A": 3.0},
)  # fmt: skip


def factors(rejects=NO_REJECTS, hidden=("TANK",)):
    likelihood = fit_likelihood(None, rate_per_m=0.1)
    return risk_factors(CELLS, JOINTS, rejects, RISK, likelihood=likelihood, hidden_zones=hidden)


def test_each_factor_applies_where_it_should():
    found = factors()
    assert tuple(found.columns) == FACTORS
    assert found["first_work_of_welder"].tolist() == [2.0, 2.0, 2.0, 1.0]
    assert found["first_work_of_procedure"].tolist() == [1.0, 1.0, 1.5, 1.5]
    assert found["bead_end"].tolist() == [1.3, 1.0, 1.0, 1.3]
    assert found["crossing"].tolist() == [1.0, 1.7, 1.0, 1.0]
    assert found["difficult_access"].tolist() == [1.0, 1.0, 1.2, 1.2]
    assert found["hidden_later"].tolist() == [1.4] * 4
    assert found["consequence"].tolist() == [3.0] * 4
    assert (found[["process", "position", "thickness", "welder"]] == 1.0).all(axis=None)
    assert factors(hidden=())["hidden_later"].tolist() == [1.0] * 4


def test_near_a_reject_is_within_the_distance_of_it():
    reject = pd.DataFrame({"joint": ["B-1"], "from_mm": [650.0], "to_mm": [700.0]})
    # 100 mm about 650 to 700 mm: 550 to 800 mm.
    assert factors(reject)["near_repair"].tolist() == [1.0, 1.6, 1.6, 1.0]


def test_what_closes_a_block_hides_all_that_stands_in_it():
    zones = pd.DataFrame(
        {
            "zone": ["HULL", "BLOCK", "TANK", "CELL", "DECK"],
            "parent": [None, "HULL", "BLOCK", "TANK", "HULL"],
            "milestone": ["hand over", None, "close", None, "paint"],
        }
    )
    assert hidden_zones(zones, ("close",)) == ["TANK", "CELL"]
    assert hidden_zones(zones, ("close", "paint")) == ["TANK", "CELL", "DECK"]
    assert hidden_zones(zones, ("test",)) == []


def test_the_words_are_the_product():
    found = factors()
    words = factors_in_words(found)
    assert words[1] == "first work of welder 2 × crossing 1.7 × hidden later 1.4 × consequence 3"
    for text, product in zip(words, found.prod(axis=1), strict=True):
        value = 1.0
        for part in text.split(" × "):
            value *= float(part.rsplit(" ", 1)[1])
        assert value == pytest.approx(product)
