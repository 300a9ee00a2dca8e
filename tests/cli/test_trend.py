import json

import pandas as pd
import pytest

from ndtstats.register import Register


@pytest.fixture
def yard(tmp_path, now):
    """A register of 60 joints of one welder, 20 a month, with 10 rejects in the last month."""
    register = Register.open(tmp_path / "ndtstats.sqlite", create=True)
    joints = pd.DataFrame({"joint": [f"B-{n:02}" for n in range(60)], "job": "H1"})
    days = [pd.Timestamp(f"2026-{month:02}-15") for month in (2, 3, 4) for _ in range(20)]
    exams = joints.assign(
        method="RT", from_mm=0.0, to_mm=300.0, round=0, date=days, report="R-1",
        verdict=["accept"] * 50 + ["reject"] * 10,
    )  # fmt: skip
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("joints", joints.assign(zone="Z", category="A", length_mm=1000.0))
        batch.merge("deposits", joints.assign(welder="K1", date=pd.Timestamp("2026-01-05")))
        batch.merge("examinations", exams)
    register.close()


def test_a_sentence_months_and_signals_that_name_examinations(yard, ndtstats):
    code, out, _ = ndtstats("trend", "--method", "rt")
    assert code == 0
    first = out.splitlines()[0]
    assert first.startswith("10 of 60 spots rejected at first examination in 3 months, 16.7 %;")
    assert "Month 2026-04: 10 of 20 spots rejected, above the limit: RT R-1, B-50 0-300 mm" in out
    assert "Welder K1, 2026-04-15: CUSUM at its limit, 3 of 3 spots rejected" in out
    assert "B-57 0-300 mm, 2026-04-15 and 2 more." in out
    assert "falsely once in 1,092 spots" in out


def test_machines_get_months_or_welders(yard, ndtstats):
    _, out, _ = ndtstats("trend", "--method", "RT", "--format", "json")
    assert [(r["month"], r["rejected"], r["signal"]) for r in json.loads(out)] == [
        ("2026-02", 0, ""), ("2026-03", 0, ""), ("2026-04", 10, "above"),
    ]  # fmt: skip
    _, out, _ = ndtstats("trend", "--method", "RT", "--show", "welders", "--format", "json")
    (welder,) = json.loads(out)
    assert (welder["welder"], welder["signals"], welder["last_signal"]) == ("K1", 3, "2026-04-15")


def test_all_signals_as_a_table(yard, ndtstats):
    _, out, _ = ndtstats("trend", "--method", "RT", "--show", "signals", "--format", "json")
    found = json.loads(out)
    assert [(r["chart"], r["when"], r["rejected"]) for r in found] == [
        ("spots", "2026-04", 10), ("EWMA", "2026-03", 0),
        *[("CUSUM", "2026-04-15", 3)] * 3,
    ]  # fmt: skip
    assert len(found[0]["examinations"].split("; ")) == 10


def test_as_of_a_day_before_anything_was_known(yard, ndtstats):
    code, out, _ = ndtstats("trend", "--method", "RT", "--as-of", "2026-01-01")
    assert code == 0
    assert out.startswith("Nothing was examined for the first time yet")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--welder", "k1"), 'did you mean "K1"'),
        (("--good", "0.2"), "below the bad rate"),
        (("--basis", "chosen"), "answers a plan"),
    ],
)
def test_a_wrong_question_is_told(yard, ndtstats, more, says):
    code, out, err = ndtstats("trend", "--method", "RT", *more)
    assert (code, out) == (2, "")
    assert says in err
