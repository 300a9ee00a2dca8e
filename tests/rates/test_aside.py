import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.rates import set_aside
from ndtstats.register import examination_subjects, record_decisions
from ndtstats.statistics import proportion_interval


@pytest.fixture
def work(write):
    """Two welders; a repair of each, one of them rejected again, a re-shoot, one not done."""
    joints = pd.DataFrame({"joint": ["B-0", "B-1"]})
    rows = [
        ("B-0", "reject", 0, "R-1"), ("B-0", "accept", 1, "R-2"),
        ("B-1", "reject", 0, "R-1"), ("B-1", "reject", 1, "R-2"), ("B-1", "re-shoot", 0, "R-3"),
        ("B-1", "not done", 0, "R-4"),
    ]  # fmt: skip
    exams = pd.DataFrame(rows, columns=["joint", "verdict", "round", "report"])
    write(
        joints=joints.assign(zone=["FORE", "AFT"]),
        deposits=joints.assign(welder=["K7", "M2"]),
        examinations=exams,
    )


def counts(table, *keys):
    rows = table.set_index([*keys, "what"])
    return {key: (row["count"], row["of"]) for key, row in rows.iterrows()}


def test_repairs_re_shoots_and_not_done_are_counted_apart(register, work):
    table = set_aside(register)
    # What was not done took no exposure, so a re-shoot is one of five.
    assert counts(table) == {
        "repairs accepted": (1, 2), "re-shoots": (1, 5), "not done": (1, 6), "overturned": (0, 2),
    }  # fmt: skip
    lower, upper = proportion_interval(1, 2)
    assert table.loc[0, ["rate", "lower", "upper"]].tolist() == pytest.approx(
        [0.5, float(lower), float(upper)]
    )


@pytest.mark.parametrize(
    ("column", "good", "bad"), [("welder", "K7", "M2"), ("zone", "FORE", "AFT")]
)
def test_by_the_same_groups_as_the_rates(register, work, column, good, bad):
    assert counts(set_aside(register, by=[column]), column) == {
        (good, "repairs accepted"): (1, 1), (bad, "repairs accepted"): (0, 1),
        (good, "re-shoots"): (0, 2), (bad, "re-shoots"): (1, 3),
        (good, "not done"): (0, 2), (bad, "not done"): (1, 4),
        (good, "overturned"): (0, 1), (bad, "overturned"): (0, 1),
    }  # fmt: skip


def test_a_reject_that_a_second_reading_does_not_share_is_counted_apart(register, work, now):
    film = register.table("examinations").query("joint == 'B-0' and verdict == 'reject'")
    record_decisions(
        register, kind="overturned", subjects=examination_subjects(film).tolist(), job="H1",
        person="A. Lead", reason="read again", now=now,
    )  # fmt: skip
    assert counts(set_aside(register))["overturned"] == (1, 2)


def test_by_part(register, work):
    assert set(set_aside(register, by=["part"])["part"]) == {"unplanned"}


def test_nothing_repaired_is_nothing_known(register, work):
    row = set_aside(register, method="VT").iloc[0]
    assert (row["count"], row["of"], row["lower"], row["upper"]) == (0, 0, 0.0, 1.0)
    assert pd.isna(row["rate"])


def test_an_imperfection_is_told(register):
    with pytest.raises(UseError, match="cannot be counted by imperfection"):
        set_aside(register, by=["imperfection"])
