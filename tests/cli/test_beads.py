import json

import pandas as pd
import pytest

from ndtstats.register import Register


@pytest.fixture
def yard(tmp_path, now):
    """A register of one intermittent weld, 2 of its 40 beads short."""
    register = Register.open(tmp_path / "ndtstats.sqlite", create=True)
    joint = {"job": "H1", "joint": "F-1", "zone": "Z", "category": "A", "length_mm": 6000.0,
             "bead_length_mm": 50.0, "bead_pitch_mm": 150.0}  # fmt: skip
    beads = pd.DataFrame({"from_mm": [150.0 * n for n in range(40)],
                          "length_mm": [45.0] * 2 + [55.0] * 38})  # fmt: skip
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("joints", pd.DataFrame([joint]))
        batch.merge("beads", beads.assign(job="H1", joint="F-1", side="first"))
    register.close()


def test_a_sentence_and_a_table(yard, ndtstats):
    code, out, _ = ndtstats("beads", "--job", "H1")
    assert code == 0
    assert out.startswith(
        "2 of 40 beads measured on 1 joint are shorter than specified, 5.0 % (95 % bounds 0.6 % "
        "and 16.9 %)."
    )
    assert "This describes the beads that were measured" in out
    _, out, _ = ndtstats("beads", "--share", "0.9", "--format", "json")
    (record,) = json.loads(out)
    assert (record["specified_mm"], record["below"], record["limit_mm"]) == (50.0, 2, 45.0)


@pytest.mark.parametrize(
    ("more", "says"), [(("--share", "95"), "between 0 and 1"), (("--job", "H2"), "is not in")]
)
def test_a_wrong_question_is_told(yard, ndtstats, more, says):
    code, out, err = ndtstats("beads", *more)
    assert (code, out) == (2, "")
    assert says in err
