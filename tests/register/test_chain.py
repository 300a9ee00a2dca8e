"""A changed past is noticed, whatever of it was changed; what is right is never accused."""

from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest
import sqlalchemy as sa

from ndtstats.columns import Column
from ndtstats.register import Register, verify
from ndtstats.register import engine as db
from ndtstats.register.chain import RowsDigest, chain_all, check_chain
from ndtstats.register.schema import SQL_TABLES

T0 = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)

EXAMINATIONS = pd.DataFrame(
    {
        "job": ["H1", "H1"],
        "joint": ["B-1", "B-2"],
        "method": ["RT", "RT"],
        "from_mm": [-0.0, 0.1],
        "to_mm": [300.0, 400.0],
        "round": [0, 0],
        "verdict": ["accept", "reject"],
        "date": pd.to_datetime(["2026-02-01", None]),
        "report": ["R1", "Ärger \U0001f525"],
    }
)
PORES = pd.DataFrame(
    {"examination": [1, 1], "imperfection": ["2013", "401"], "imp_rejectable": [None, True]}
)


@pytest.fixture
def past(register: Register) -> Register:
    """Four batches: welders, examinations, a correction of one, another job."""
    name = pd.DataFrame({"welder": ["K7", "M2"], "name": ["Welder K7", None]})
    for day, table, frame, shown in (
        (0, "welders", name, None),
        (1, "examinations", EXAMINATIONS, PORES),
        (2, "examinations", EXAMINATIONS.assign(verdict="reject"), PORES.iloc[:1]),
        (3, "jobs", pd.DataFrame({"job": ["H2"]}), None),
    ):
        now = T0 + timedelta(days=day)
        with register.batch(kind="load", subject=table, now=now) as batch:
            batch.merge(table, frame, shown)
    return register


def broken(register: Register) -> list[int]:
    return [number for number, _ in verify(register).chain.broken]


def test_an_untouched_register_holds(past):
    told: list[tuple[str, int, int]] = []
    found = verify(past, progress=lambda *step: told.append(step))
    done = [step[1] for step in told]
    assert done == sorted(done)
    # Every row that was ever written, those that are no longer in force among them.
    with past.reading() as connection:
        written = [connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
                   for table in SQL_TABLES.values()]  # fmt: skip
    assert told[-1] == ("rows", sum(written), sum(written))
    assert found.holds
    assert (found.chain.entries, found.chain.kept_from) == (4, 1)
    assert found.chain.digest == past.batches()["digest"].iloc[-1]


def test_an_empty_register_holds(register):
    assert verify(register).holds


# What a person with a database tool could do to the past, and the first batch that shows it.
TAMPERED = {
    "a value changed": ("UPDATE examinations SET verdict = 'accept' WHERE id = 2", 2),
    "a value taken away": ("UPDATE examinations SET report = NULL WHERE id = 1", 2),
    "a value added": ("UPDATE welders SET name = 'Nobody' WHERE id = 2", 1),
    "a number changed a little": ("UPDATE examinations SET from_mm = 0.1000000001 WHERE id = 2", 2),
    "a date changed": ("UPDATE examinations SET date = '2026-02-03' WHERE id = 1", 2),
    "a row removed": ("DELETE FROM imperfections WHERE id = 2", 2),
    "a row added": ("INSERT INTO jobs (id, batch, key, job) VALUES (9, 4, 'H9', 'H9')", 4),
    "a row moved to another batch": ("UPDATE welders SET batch = 4 WHERE id = 2", 1),
    "rows exchanged": ("UPDATE welders SET id = id + 10", 1),
    "a mark taken back": ("UPDATE imperfections SET superseded = NULL WHERE id = 2", 3),
    "a mark set": ("UPDATE welders SET superseded = 4 WHERE id = 1", 4),
    "a mark moved": ("UPDATE examinations SET superseded = 4 WHERE superseded = 3", 3),
    "the log changed": ("UPDATE batches SET at = '2026-01-01' WHERE number = 1", 1),
    "a digest changed": ("UPDATE batches SET digest = 'ab' WHERE number = 2", 2),
    "a digest taken away": ("UPDATE batches SET digest = NULL WHERE number = 4", 4),
}  # fmt: skip


def test_a_changed_past_is_noticed(past):
    for change, (sql, first) in TAMPERED.items():
        with db.writing(past._engine) as connection:
            connection.exec_driver_sql(sql)
            assert check_chain(connection).broken[0][0] == first, change
            connection.get_transaction().rollback()
    assert verify(past).holds


def test_a_removed_batch_is_noticed(past):
    with db.writing(past._engine) as connection:
        connection.exec_driver_sql("UPDATE welders SET batch = 2")
        connection.exec_driver_sql("DELETE FROM batches WHERE number = 1")
        assert check_chain(connection).broken[0] == (1, "its entry is not in the log")


def test_a_past_made_anew_is_noticed_by_a_digest_kept_elsewhere(past):
    kept = verify(past).chain.digest
    with db.writing(past._engine) as connection:
        connection.exec_driver_sql("UPDATE welders SET name = 'Nobody' WHERE id = 2")
        chain_all(connection)
    found = verify(past).chain
    assert not found.broken
    assert found.digest != kept


def test_writing_on_after_a_change_does_not_hide_it(past):
    with db.writing(past._engine) as connection:
        connection.exec_driver_sql("UPDATE examinations SET verdict = 'accept' WHERE id = 2")
    with past.batch(kind="load", subject="jobs", now=T0 + timedelta(days=9)) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H3"]}))
    assert broken(past) == [2]


def test_the_cuts_between_pieces_do_not_matter():
    columns = tuple(
        Column(kind, kind, "") for kind in ("text", "number", "whole", "date", "flag", "numbers")
    )
    frame = pd.DataFrame(
        {
            "text": pd.Series([None, "a", ",null", '"'], dtype="str"),
            "number": [None, 0.1, float("inf"), -0.0],
            "whole": pd.Series([None, 1, 2**62, -1], dtype="Int64"),
            "date": pd.to_datetime(["2026-01-01", None, "1969-12-31", None]),
            "flag": pd.Series([True, None, False, None], dtype="boolean"),
            "numbers": pd.Series([None] * 4, dtype="str"),
        }
    )

    def digest(*cuts: int) -> str:
        tally = RowsDigest(columns)
        for first, end in zip((0, *cuts), (*cuts, 4), strict=True):
            tally.add(frame.iloc[first:end])
        return tally.hexdigest()

    assert len({digest(), digest(1), digest(1, 2, 3), digest(2, 2)}) == 1
    # Neither what stands in the next cell nor where it ends can be moved without notice.
    for name in ("text", "number", "whole", "date", "flag"):
        turned = RowsDigest(columns)
        turned.add(frame.assign(**{name: frame[name].iloc[::-1].to_numpy()}).astype(frame.dtypes))
        assert turned.hexdigest() != digest(), name


def test_the_verb_names_the_first_batch_that_does_not_hold(ndtstats, tmp_path):
    ndtstats("init")
    assert ndtstats("verify") == (0, "Register ndtstats.sqlite: whole and empty.\n", "")
    register = Register.open(tmp_path / "ndtstats.sqlite")
    with register.batch(kind="load", subject="jobs", now=T0) as batch:
        batch.merge("jobs", pd.DataFrame({"job": ["H1"]}))
    code, out, _ = ndtstats("verify")
    assert code == 0
    assert "1 batch holds" in out
    assert register.batches()["digest"].iloc[0] in out
    with db.writing(register._engine) as connection:
        connection.exec_driver_sql("UPDATE jobs SET job = 'H2'")
    register.close()
    code, out, _ = ndtstats("verify")
    assert code == 1
    assert "batch 1 does not hold" in out
