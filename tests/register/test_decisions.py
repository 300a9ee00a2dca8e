"""Decisions of named persons: kept, numbered, withdrawn, and asked for as of a past instant."""

from datetime import UTC, datetime, timedelta

import pytest

from ndtstats.errors import UseError
from ndtstats.register import decisions_in_force, record_decisions, withdraw_decision

NOW = datetime(2026, 6, 1, tzinfo=UTC)
LATER = NOW + timedelta(days=1)
WHO = {"person": " A. Lead ", "reason": "seen on site", "now": NOW}


def test_a_decision_is_kept_with_name_reason_and_instant(register):
    assert record_decisions(register, kind="waiver", subjects=["item"], job="H1", **WHO) == ["D1"]
    row = decisions_in_force(register).iloc[0]
    assert (row["person"], row["reason"], row["at"].to_pydatetime()) == (
        "A. Lead", "seen on site", NOW,
    )  # fmt: skip
    assert register.batches()["kind"].tolist() == ["decision"]


def test_several_of_one_batch_have_numbers_of_their_own(register):
    numbers = record_decisions(register, kind="answer", subjects=["W1", "W2"], **WHO)
    assert numbers == ["D1-1", "D1-2"]
    assert decisions_in_force(register, kind="answer")["subject"].tolist() == ["W1", "W2"]
    assert decisions_in_force(register, kind="waiver").empty


@pytest.mark.parametrize("blank", ["person", "reason"])
def test_nobody_decides_without_name_or_reason(register, blank):
    with pytest.raises(UseError, match="a decision needs"):
        record_decisions(register, kind="waiver", subjects=["item"], **WHO | {blank: "  "})
    assert register.table("decisions").empty


def test_a_withdrawn_decision_is_kept_and_holds_no_longer(register):
    record_decisions(register, kind="waiver", subjects=["item"], job="H1", **WHO)
    withdraw_decision(register, "D1", person="A. Lead", reason="owner objects", now=LATER)
    assert decisions_in_force(register).empty
    assert len(register.table("decisions")) == 2
    assert decisions_in_force(register, as_of=NOW)["decision"].tolist() == ["D1"]


def test_only_a_decision_in_force_can_be_withdrawn(register):
    record_decisions(register, kind="waiver", subjects=["item"], **WHO)
    withdraw_decision(register, "D1", person="A. Lead", reason="no", now=LATER)
    with pytest.raises(UseError, match="not a decision in force"):
        withdraw_decision(register, "D1", person="A. Lead", reason="no", now=LATER)
