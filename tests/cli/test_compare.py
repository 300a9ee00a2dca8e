import json

import pandas as pd
import pytest

from ndtstats.register import Register


@pytest.fixture
def yard(tmp_path, now):
    """A register of three welders with 20 spots each, of which one had 12 rejected."""
    register = Register.open(tmp_path / "ndtstats.sqlite", create=True)
    joints = pd.DataFrame({"joint": [f"B-{n}" for n in range(60)], "job": "H1"})
    exams = joints.assign(
        method="RT", from_mm=0.0, to_mm=300.0, round=0, date=pd.Timestamp("2026-02-01"),
        report="R-1", verdict=["reject"] * 12 + ["accept"] * 48,
    )  # fmt: skip
    welders = ["K1"] * 20 + ["K2"] * 20 + ["K3"] * 20
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("joints", joints.assign(zone="Z", category="A", length_mm=1000.0))
        batch.merge("deposits", joints.assign(welder=welders, date=pd.Timestamp("2026-01-05")))
        batch.merge("examinations", exams)
    register.close()


def test_a_sentence_a_table_and_what_it_rests_on(yard, ndtstats):
    code, out, _ = ndtstats("compare", "--method", "rt", "--limit", "0.1")
    assert code == 0
    first, *_ = out.strip().splitlines()
    # 4 of 20 expected of each, as all work is alike.
    assert first.startswith(
        "Welder K1 stands out above what such work leads to: 12 of 20 spots rejected, 4.0 expected"
    )
    assert first.endswith("Above the limit of 10 % with 95 % probability or more: K1.")
    assert "over 10 %" in out
    assert "Selection unknown: rests on all 60 first examinations" in out
    assert "category has one level only" in out


def test_machines_get_every_column_at_full_precision(yard, ndtstats):
    _, out, _ = ndtstats("compare", "--method", "RT", "--factors", "", "--format", "json")
    first = json.loads(out)[0]
    assert first["welder"] == "K1"
    assert first["expected"] == pytest.approx(4.0, rel=1e-9)
    assert first["above"] is None
    assert {"adjusted_p", "funnel_upper_998", "rank_lower", "own_share"} <= set(first)


def test_as_of_a_day_before_anything_was_known(yard, ndtstats):
    code, out, _ = ndtstats("compare", "--method", "RT", "--as-of", "2026-01-01")
    assert code == 0
    assert out.startswith("Nothing was examined for the first time yet")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--by", "wleder"), 'did you mean "welder"'),
        (("--limit", "5"), "0.05 for 5 %"),
        (("--basis", "chosen"), "answers a plan"),
        (("--job", "H2"), 'job "H2" is not in'),
    ],
)
def test_a_wrong_question_is_told(yard, ndtstats, more, says):
    code, out, err = ndtstats("compare", "--method", "RT", *more)
    assert (code, out) == (2, "")
    assert says in err
