import json

import pandas as pd
import pytest


@pytest.fixture
def yard(register, now):
    """Two welders: one in range, one who welds a position that his certificate lacks."""
    tickets = pd.DataFrame(
        {
            "welder": ["K7", "M2"], "certificate": ["C-1", "C-2"], "standard": "ISO 9606-2",
            "process": "131", "positions": ["PA;PF", "PA"], "joint_types": "butt",
            "thickness_min_mm": [3.0, None], "thickness_max_mm": [12.0, None],
            "qualified_on": pd.Timestamp("2025-08-31"),
            "confirmed_on": pd.Timestamp("2026-02-28"),
        }
    )  # fmt: skip
    joint = {
        "job": "H1", "zone": "T", "joint": "B-1", "category": "A", "joint_type": "butt",
        "length_mm": 900.0, "process": "131", "position": "PF",
    }  # fmt: skip
    made = pd.DataFrame(
        {"job": "H1", "joint": "B-1", "welder": ["K7", "M2"], "date": pd.Timestamp("2026-03-10")}
    )
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": ["H1"], "zone": ["T"]}))
        batch.merge("welders", pd.DataFrame({"welder": ["K7", "M2"]}))
        batch.merge("qualifications", tickets)
        batch.merge("joints", pd.DataFrame([joint]))
        batch.merge("deposits", made)
    return register


@pytest.fixture
def ask(yard, ndtstats):
    def call(*arguments):
        return ndtstats("welders", *arguments, "--register", yard.name)

    return call


def test_a_sentence_first_then_the_certificates(ask):
    code, out, _ = ask("--on", "2026-08-28")
    first, *table = out.splitlines()
    assert code == 1
    assert first == (
        "2 of 2 welders with a certificate may weld on 2026-08-28. Last day in force within 60 "
        "days: K7 (131) on 2026-08-28, M2 (131) on 2026-08-28. Welded outside a qualification: "
        "1 joint, by M2."
    )
    assert "butt; PA PF; from 3 to 12 mm" in "\n".join(table)


def test_the_day_after_the_last_one_nobody_may(ask):
    # 28 February and six months: 28 August (common practice, no source).
    _, out, _ = ask("--on", "2026-08-29")
    assert out.startswith("0 of 2 welders with a certificate may weld on 2026-08-29.")
    assert "lapsed" in out


def test_work_of_later_days_is_not_looked_at(ask):
    code, out, _ = ask("--on", "2026-03-09")
    assert code == 0
    assert "outside" not in out


def test_deposits_outside_are_listed_with_the_reason(ask):
    code, out, _ = ask("--on", "2026-04-01", "--outside", "--format", "json")
    assert code == 1
    (row,) = json.loads(out)
    assert (row["welder"], row["reason"]) == ("M2", "C-2 does not cover position PF")


def test_one_welder_is_shown_with_his_evidence(ask):
    code, out, _ = ask("--on", "2026-04-01", "--welder", "K7")
    assert code == 0
    assert out.startswith("K7 may weld on 2026-04-01.")
    assert "confirmation" in out
    _, rows, _ = ask("--on", "2026-04-01", "--welder", "K7", "--format", "json")
    assert [row["missing"] for row in json.loads(rows)] == [1, 2]


def test_a_welder_there_is_none_of_is_wrong_use(ask):
    code, _, err = ask("--welder", "K77")
    assert code == 2
    assert 'did you mean "K7"?' in err


def test_before_it_was_known_there_are_no_certificates(ask):
    code, out, _ = ask("--as-of", "2020-01-01")
    assert code == 0
    assert out.startswith("The register holds no certificates")
