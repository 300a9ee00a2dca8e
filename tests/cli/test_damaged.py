"""A register that another program wrote into is told as such, whatever that makes of a question."""

import sqlite3

import pytest

from ndtstats.cli import history

#: What nobody could foresee of a register that is whole: a day, an instant, and text that are none.
SPOILED = (
    (
        "UPDATE batches SET at = '2026-05-25T10:25:00.)0+00:00' WHERE number = 2",
        "rates",
        "owed",
    ),
    ("UPDATE joints SET length_mm = 'long'", "extent --job X1", "release --job X1"),
    ("UPDATE jobs SET job = CAST(X'58FF31' AS TEXT)", "extent", "history"),
)


@pytest.fixture
def spoil(ndtstats, tmp_path):
    """A register with a joint, into which something is written past it."""
    ndtstats("init")
    for table, text in (
        ("jobs", "job\nX1\n"),
        ("zones", "job,zone\nX1,T\n"),
        ("joints", "job,joint,zone,category,joint_type,length_mm\nX1,J1,T,B,butt,300\n"),
    ):
        (tmp_path / f"{table}.csv").write_text(text)
        assert ndtstats("load", table, f"{table}.csv")[0] == 0
    ndtstats("rules", "adopt", "steel-hull", "--job", "X1")

    def write(statement: str) -> None:
        with sqlite3.connect(tmp_path / "ndtstats.sqlite") as connection:
            connection.execute(statement)

    return write


@pytest.mark.parametrize("spoiled", SPOILED)
def test_what_was_not_written_by_it_is_blamed(spoil, ndtstats, spoiled):
    statement, *questions = spoiled
    spoil(statement)
    told = [ndtstats(*question.split()) for question in [*questions, "verify"]]
    assert all(code in {0, 1, 3} for code, _, _ in told)
    assert told[-1][0] in {1, 3}
    assert any(code == 3 and "last backup" in err for code, _, err in told)


def test_what_fails_in_a_whole_register_is_not_blamed_on_it(spoil, ndtstats, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise ValueError("a mistake of the program")

    monkeypatch.setattr(history, "emit", broken)
    with pytest.raises(ValueError, match="a mistake of the program"):
        ndtstats("history")
