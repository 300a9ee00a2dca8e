import json

import pandas as pd
import pytest

from ndtstats.register import Register


@pytest.fixture
def yard(tmp_path, now):
    """One intermittent weld, 2 of its 40 beads short and one missing, and one not measured."""
    register = Register.open(tmp_path / "ndtstats.sqlite", create=True)
    joint = {"job": "H1", "zone": "TANK", "category": "A", "length_mm": 6000.0,
             "bead_length_mm": 50.0, "bead_pitch_mm": 150.0}  # fmt: skip
    beads = pd.DataFrame({"from_mm": [150.0 * n for n in range(40) if n != 20],
                          "length_mm": [45.0] * 2 + [55.0] * 37})  # fmt: skip
    with register.batch(kind="load", subject="all", now=now) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
        batch.merge("zones", pd.DataFrame({"job": "H1", "zone": ["BLOCK", "TANK", "VOID"],
                                           "parent": [None, "BLOCK", None]}))  # fmt: skip
        batch.merge("joints", pd.DataFrame([joint | {"joint": name} for name in ("F-1", "F-2")]))
        batch.merge("beads", beads.assign(job="H1", joint="F-1", side="first"))
    register.close()


def test_a_sentence_the_faults_and_what_the_lengths_say(yard, ndtstats):
    code, out, err = ndtstats("beads", "--job", "H1")
    assert code == 1
    lines = out.splitlines()
    # 37 beads of 55 mm are good; 40 of 50 mm are specified.
    assert lines[0] == (
        "3 faults on 1 of 1 joint measured: 2 short, 1 missing. Effective is 101.8 % of the weld "
        "specified there. 1 joint with beads specified was not measured."
    )
    assert [line.split()[:4] for line in lines[3:6]] == [
        ["TANK", "F-1", "first", "short"],
        ["TANK", "F-1", "first", "short"],
        ["TANK", "F-1", "first", "missing"],
    ]
    assert "a bead missing" in lines[5]
    assert (
        "2 of 39 beads measured on 1 joint are shorter than specified, 5.1 % (95 % bounds 0.6 % "
        "and 17.3 %)."
    ) in out
    assert "This describes the beads that were measured" in out
    assert "Not measured: F-2." in err


def test_machines_get_the_table_they_ask_for(yard, ndtstats):
    _, out, _ = ndtstats("beads", "--format", "json")
    assert [record["kind"] for record in json.loads(out)] == ["short", "short", "missing"]
    _, out, _ = ndtstats("beads", "--table", "lengths", "--share", "0.9", "--format", "json")
    (record,) = json.loads(out)
    assert (record["specified_mm"], record["below"], record["limit_mm"]) == (50.0, 2, 45.0)
    _, out, _ = ndtstats("beads", "--table", "sides", "--format", "json")
    assert [record["measured"] for record in json.loads(out)] == [39, 0]


@pytest.mark.parametrize(
    ("more", "code", "says"),
    [
        (("--zone", "BLOCK"), 1, "3 faults"),
        (("--zone", "VOID"), 0, "No joint states the length and pitch of beads."),
        (("--joint", "F-2"), 0, "1 joint with beads specified was not measured."),
    ],
)
def test_a_joint_or_a_zone_alone(yard, ndtstats, more, code, says):
    done, out, _ = ndtstats("beads", *more)
    assert done == code
    assert out.startswith(says)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--table", "lengths", "--share", "95"), "between 0 and 1"),
        (("--job", "H2"), "is not in"),
        (("--joint", "F-3"), "did you mean"),
        (("--zone", "TANC"), 'did you mean "TANK"?'),
    ],
)
def test_a_wrong_question_is_told(yard, ndtstats, more, says):
    code, out, err = ndtstats("beads", *more)
    assert (code, out) == (2, "")
    assert says in err
