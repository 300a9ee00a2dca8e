import json

import pandas as pd
import pytest
from scipy.stats import binomtest

from ndtstats.register import Register


@pytest.fixture
def yard(tmp_path, now):
    """A register of thirty joints, three of them rejected and one mended."""
    register = Register.open(tmp_path / "ndtstats.sqlite", create=True)
    joints = pd.DataFrame({"joint": [f"B-{n}" for n in range(30)], "job": "H1"})
    exams = joints.assign(
        method="RT", from_mm=0.0, to_mm=300.0, round=0, date=pd.Timestamp("2026-02-01"),
        report="R-1", verdict=["reject"] * 3 + ["accept"] * 27,
    )  # fmt: skip
    again = exams.iloc[:1].assign(round=1, verdict="accept", report="R-2")
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("joints", joints.assign(zone="Z", category="A", length_mm=1000.0))
        batch.merge("deposits", joints.assign(welder="K7", date=pd.Timestamp("2026-01-05")))
        batch.merge("examinations", pd.concat([exams, again], ignore_index=True))
    register.close()


def test_a_table_with_its_conclusion_and_what_is_counted_apart(yard, ndtstats):
    code, out, _ = ndtstats("rates", "--method", "RT")
    assert code == 0
    first, *_, last = out.strip().splitlines()
    assert first.startswith("3 of 30 spots rejected at first examination, 10.0 %")
    assert "K7" in out
    assert last == (
        "Counted apart: repairs accepted 1 of 1, re-shoots 0 of 31, not done 0 of 31, "
        "overturned 0 of 3."
    )


def test_json_has_the_keys_that_others_rely_on(yard, ndtstats):
    code, out, _ = ndtstats("rates", "--by", "welder,zone", "--format", "json")
    record = json.loads(out)[0]
    assert code == 0
    assert list(record)[:11] == [
        "welder", "zone", "basis", "measure", "rejected", "examined", "rate", "lower", "upper",
        "level", "interval",
    ]  # fmt: skip
    # Clopper & Pearson at full precision.
    known = binomtest(3, 30).proportion_ci(0.95, method="exact")
    assert (record["lower"], record["upper"]) == pytest.approx((known.low, known.high), rel=1e-9)


@pytest.mark.parametrize(
    ("option", "upper"),
    [
        # 3 of 30: Wilson 1927 and the one-sided Clopper-Pearson, from the project's notes.
        (("--interval", "wilson"), 0.2562),
        (("--sides", "upper"), 0.2386),
    ],
)
def test_bounds_as_asked(yard, ndtstats, option, upper):
    _, out, _ = ndtstats("rates", "--format", "json", *option)
    assert round(json.loads(out)[0]["upper"], 4) == upper


def test_all_together(yard, ndtstats):
    _, out, _ = ndtstats("rates", "--by", "", "--format", "csv")
    assert out.splitlines()[0].startswith("basis,measure,rejected")
    assert len(out.splitlines()) == 2


def test_what_is_counted_apart_by_group(yard, ndtstats):
    code, out, _ = ndtstats("rates", "--apart", "--format", "json")
    assert code == 0
    assert [(r["welder"], r["what"], r["count"], r["of"]) for r in json.loads(out)] == [
        ("K7", "repairs accepted", 1, 1), ("K7", "re-shoots", 0, 31), ("K7", "not done", 0, 31),
        ("K7", "overturned", 0, 3),
    ]  # fmt: skip


def test_as_of_a_day_before_anything_was_known(yard, ndtstats):
    code, out, _ = ndtstats("rates", "--as-of", "2026-01-01", "--format", "json")
    assert (code, json.loads(out)) == (0, [])


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--by", "wleder"), 'did you mean "welder"'),
        (("--job", "H2"), 'job "H2" is not in'),
        (("--level", "95"), "between 0 and 1"),
        (("--measure", "spots", "--by", "imperfection"), "per-metre"),
    ],
)
def test_a_mistake_is_told_in_a_sentence(yard, ndtstats, arguments, says):
    code, out, err = ndtstats("rates", *arguments)
    assert (code, out) == (2, "")
    assert says in err
    assert "Traceback" not in err
