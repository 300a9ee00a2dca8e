"""Who may weld, what lapses, and which reports serve: asked of a register.

Example C3: ISO 9606-1, 9.3 b), as published accounts of it tell: test weld 2024-06-15, two welds of
the last six months tested and accepted by 2026-06-15. Worked by hand.
"""

from datetime import date

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.qualification import (
    certificates,
    evidence,
    lapsing,
    may_weld,
    outside,
    require_welder,
    sentence,
    with_evidence,
)


@pytest.fixture
def yard(register, now):
    """One welder with a certificate that ends on 15 June 2026, and welds that might prolong it."""
    ticket = {
        "welder": "K7", "certificate": "C-1", "standard": "ISO 9606-1", "process": "135",
        "route": "b", "joint_types": "butt", "positions": "PF", "material": "1",
        "thickness_min_mm": 3.0, "thickness_max_mm": 24.0, "qualified_on": "2024-06-15",
    }  # fmt: skip
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1", "H2"]}))
        batch.merge("zones", pd.DataFrame({"job": ["H1", "H2"], "zone": "T"}))
        batch.merge("welders", pd.DataFrame({"welder": ["K7", "M2"], "name": ["Kim", "Mo"]}))
        batch.merge("qualifications", frame([ticket]))
        signed = [{"welder": "K7", "certificate": "C-1", "date": day}
                  for day in ("2024-12-15", "2025-06-15", "2025-12-15")]  # fmt: skip
        batch.merge("confirmations", frame(signed))
        batch.merge("joints", frame([weld(f"B-{n}") for n in range(5)] + [weld("B-0", job="H2")]))
    return register


def frame(rows):
    found = pd.DataFrame(rows)
    dates = [name for name in ("date", "qualified_on") if name in found]
    return found.assign(**{name: pd.to_datetime(found[name]) for name in dates})


def weld(joint, job="H1"):
    return {
        "job": job, "zone": "T", "joint": joint, "category": "A", "joint_type": "butt",
        "length_mm": 900.0, "thickness_mm": 12.0, "material": "1.2", "process": "135",
        "position": "PF",
    }  # fmt: skip


@pytest.fixture
def work(yard, now):
    def add(*rows):
        """Deposits of K7, and a film of each: joint, welded on, examined on, verdict, and more."""
        made, seen = [], []
        for number, (joint, welded, examined, verdict, *more) in enumerate(rows):
            change = more[0] if more else {}
            job = change.get("job", "H1")
            made += [
                {"job": job, "joint": joint, "welder": welder, "date": welded}
                for welder in change.get("welders", ["K7"])
            ]
            seen.append(
                {"job": job, "joint": joint, "method": change.get("method", "RT"), "round": 0,
                 "verdict": verdict, "date": examined, "report": f"R-{number}",
                 "from_mm": 0.0, "to_mm": 300.0}
            )  # fmt: skip
        with yard.batch(kind="load", subject="all", now=now) as batch:
            batch.merge("deposits", frame(made).drop_duplicates())
            batch.merge("examinations", frame(seen))
        return yard

    return add


def prolongation(register, on="2026-06-15"):
    found = evidence(register, date.fromisoformat(on))
    return found[found["window"] == "prolongation"].iloc[0]


GOOD = ("B-0", "2026-01-10", "2026-01-15", "accept")


@pytest.mark.parametrize(
    ("second", "reports"),
    [
        (("B-1", "2026-06-15", "2026-06-15", "accept"), "R-0, R-1"),  # the last day counts
        (("B-1", "2025-12-16", "2025-12-16", "accept"), "R-0, R-1"),  # the first day counts
        (("B-1", "2026-02-01", "2026-02-02", "accept", {"method": "UT"}), "R-0, R-1"),
        (("B-0", "2026-02-01", "2026-02-02", "accept", {"job": "H2"}), "R-0, R-1"),
        (("B-1", "2025-12-15", "2025-12-20", "accept"), "R-0"),  # welded before the window
        (("B-1", "2026-02-01", "2026-02-02", "reject"), "R-0"),
        (("B-1", "2026-02-01", "2026-02-02", "accept", {"method": "PT"}), "R-0"),
        (("B-1", "2026-02-01", "2026-02-02", "accept", {"welders": ["K7", "M2"]}), "R-0"),
    ],
)
def test_two_tested_welds_of_the_last_six_months_prolong(work, second, reports):
    found = prolongation(work(GOOD, second))
    assert found["reports"] == reports
    assert found["missing"] == (0 if reports == "R-0, R-1" else 1)
    assert (found["opens_on"], found["closes_on"]) == (
        pd.Timestamp("2025-12-15"), pd.Timestamp("2026-06-15")
    )  # fmt: skip


def test_two_films_of_one_weld_are_one_weld(work):
    again = (*GOOD[:2], "2026-01-16", "accept", {"method": "UT"})
    found = prolongation(work(GOOD, again))
    assert (found["proven"], found["missing"]) == (1, 1)


def test_an_examination_of_the_next_day_is_not_looked_at(work):
    register = work(GOOD, ("B-1", "2026-02-01", "2026-02-02", "accept"))
    assert prolongation(register, "2026-02-01")["missing"] == 1
    assert prolongation(register, "2026-02-02")["missing"] == 0


def test_the_confirmation_counts_welds_in_range_tested_or_not(work):
    register = work(GOOD, ("B-1", "2026-02-01", "2026-02-02", "reject"))
    found = evidence(register, date(2026, 3, 1)).set_index("window").loc["confirmation"]
    assert (found["opens_on"], found["closes_on"]) == (
        pd.Timestamp("2025-12-15"), pd.Timestamp("2026-06-15")
    )  # fmt: skip
    assert (found["welds"], found["proven"], found["reports"]) == (2, 1, "R-0")


@pytest.mark.parametrize(
    ("on", "told"),
    [
        ("2025-12-14", "0 in range, 0 tested"),
        ("2025-12-15", ""),  # confirmed that day; the prolongation opens the day after
        ("2025-12-16", "0 of 2 tested"),
        ("2026-01-15", "1 of 2 tested: R-0"),
        ("2026-06-16", ""),  # lapsed: no tested weld helps
    ],
)
def test_each_certificate_tells_its_evidence(work, on, told):
    register, day = work(GOOD), date.fromisoformat(on)
    found = with_evidence(certificates(register, day), evidence(register, day), day)
    assert found["evidence"].fillna("").tolist() == [told]


def test_who_may_weld_and_what_lapses(yard):
    on = date(2026, 4, 16)
    may = may_weld(yard, on)
    assert may[["welder", "name", "process"]].to_numpy().tolist() == [["K7", "Kim", "135"]]
    assert may["lapses_on"].tolist() == [pd.Timestamp("2026-06-15")]
    assert lapsing(yard, on, 60)["certificate"].tolist() == ["C-1"]
    assert lapsing(yard, on, 59).empty
    assert may_weld(yard, date(2026, 6, 16)).empty
    assert may_weld(yard, date(2024, 6, 14)).empty


def test_deposits_outside_are_told_by_job_and_day(work):
    register = work(
        ("B-0", "2026-06-16", "2026-06-17", "accept"),
        ("B-1", "2026-02-01", "2026-02-02", "accept", {"welders": ["M2"]}),
        ("B-0", "2026-06-20", "2026-06-22", "accept", {"job": "H2"}),
    )
    found = outside(register)
    assert found[["job", "joint", "zone", "welder"]].to_numpy().tolist() == [
        ["H1", "B-1", "T", "M2"], ["H1", "B-0", "T", "K7"], ["H2", "B-0", "T", "K7"],
    ]  # fmt: skip
    assert found["reason"].tolist() == [
        "no certificate of M2 is in the register",
        *["C-1 was in force until 2026-06-15 only: its validity ended"] * 2,
    ]
    assert outside(register, job="H2")["date"].tolist() == [pd.Timestamp("2026-06-20")]
    assert len(outside(register, until=date(2026, 6, 16))) == 2


def test_the_sentence_says_who_when_and_where(work):
    register = work(("B-1", "2026-02-01", "2026-02-02", "accept", {"welders": ["M2"]}))
    found, on = may_weld(register, date(2026, 4, 16)), date(2026, 4, 16)
    assert sentence(found, outside(register), on, 60) == (
        "K7 may weld on 2026-04-16. Last day in force within 60 days: K7 (135) on 2026-06-15. "
        "Welded outside a qualification: 1 joint, by M2."
    )
    assert sentence(found, outside(register).iloc[:0], on, 10).endswith(
        "Nothing lapses within 10 days."
    )


def test_an_empty_register_is_told(register):
    found = may_weld(register, date(2026, 4, 16))
    assert sentence(found, outside(register), date(2026, 4, 16), 60).startswith(
        "The register holds no certificates"
    )
    assert evidence(register, date(2026, 4, 16)).empty


def test_a_welder_there_is_none_of_is_wrong_use(yard):
    assert require_welder(yard, "K7") == "K7"
    with pytest.raises(UseError, match="did you mean"):
        require_welder(yard, "K77")
