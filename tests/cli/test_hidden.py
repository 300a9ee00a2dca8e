import json

import pandas as pd
import pytest

from ndtstats.register import Register


@pytest.fixture
def yard(tmp_path, now):
    """A register of thirty joints of a metre, twenty of them examined on 300 mm, two rejected."""
    register = Register.open(tmp_path / "ndtstats.sqlite", create=True)
    joints = pd.DataFrame({"joint": [f"B-{n}" for n in range(30)], "job": "H1"})
    exams = joints.iloc[:20].assign(
        method="RT", from_mm=0.0, to_mm=300.0, round=0, date=pd.Timestamp("2026-02-01"),
        report="R-1", verdict=["reject"] * 2 + ["accept"] * 18,
    )  # fmt: skip
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge(
            "joints", joints.assign(zone="Z", category="A", joint_type="butt", length_mm=1000.0)
        )
        batch.merge("examinations", exams)
    register.close()


def test_a_sentence_a_table_and_what_it_rests_on(yard, ndtstats):
    code, out, _ = ndtstats("hidden", "--method", "rt")
    assert code == 0
    # Gamma(2.5, 6 m): 10.0 expected in 24 m; nbinom(2.5, 0.2): 18 at 90 %.
    assert out.startswith(
        "In the 24 m nobody examined: 10.0 rejectable imperfections expected, fewer than 20 with "
        "90 % probability, none at all with 2 %."
    )
    assert "Selection unknown" in out
    assert out.strip().endswith("What RT missed is not counted; give --detection to count it.")


def test_detection_is_counted_as_asked(yard, ndtstats):
    _, number, _ = ndtstats("hidden", "--method", "RT", "--detection", "0.8")
    assert "and what RT missed elsewhere" in number
    assert "give --detection" not in number
    _, out, _ = ndtstats(
        "hidden", "--method", "RT", "--detection-beta", "8", "3", "--format", "json"
    )
    # E[1 / d] = (a + b - 1) / (a - 1) of a Beta(a, b).
    (record,) = json.loads(out)
    assert record["mean_unexamined"] == pytest.approx(2.5 / 6 * 24 * 10 / 7, rel=1e-9)
    assert record["zone"] == "Z"


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--detection", "0.8", "--detection-beta", "8", "3"), "not both"),
        (("--detection", "80"), "at most 1"),
        (("--by", "welder"), "cannot be told by"),
    ],
)
def test_a_wrong_question_is_told(yard, ndtstats, more, says):
    code, _, err = ndtstats("hidden", "--method", "RT", *more)
    assert code == 2
    assert says in err
