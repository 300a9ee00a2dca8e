from datetime import timedelta

import pytest

from ndtstats.errors import UseError
from ndtstats.rules.force import adopt, rules_by_sha256, rules_for_plan, rules_in_force
from ndtstats.rules.reader import load_rules


def test_no_rules_are_in_force_before_some_are_adopted(register):
    assert rules_in_force(register, "H1") is None


def test_the_rules_adopted_last_are_in_force_and_the_past_stays(register, now):
    first, second = load_rules("aluminium-hull"), load_rules("steel-hull")
    assert adopt(register, "H1", first, agreed_by="the society", by="lead", now=now)
    later = now + timedelta(days=7)
    assert adopt(register, "H1", second, agreed_by=None, by="lead", now=later)
    assert rules_in_force(register, "H1") == second
    assert rules_in_force(register, "H1", now + timedelta(days=1)) == first
    assert rules_in_force(register, "H1", now - timedelta(days=1)) is None
    assert rules_in_force(register, "H2") is None


def test_the_text_is_kept_word_for_word(register, now):
    rules = load_rules("process-piping")
    adopt(register, "P1", rules, agreed_by=None, by=None, now=now)
    kept = rules_in_force(register, "P1")
    assert kept is not None
    assert (kept.text, kept.sha256) == (rules.text, rules.sha256)
    assert rules_by_sha256(register, rules.sha256) == rules


def test_adopting_the_same_rules_again_changes_nothing(register, now):
    rules = load_rules("process-piping")
    assert adopt(register, "P1", rules, agreed_by="client", by="lead", now=now)
    assert not adopt(register, "P1", rules, agreed_by="client", by="lead", now=now)
    assert len(register.batches()) == 1


def test_two_jobs_share_one_text(register, now):
    rules = load_rules("process-piping")
    for job in ("P1", "P2"):
        adopt(register, job, rules, agreed_by="client", by="lead", now=now)
    assert len(register.table("rule_sets")) == 1
    assert register.table("adoptions")["job"].tolist() == ["P1", "P2"]


def test_the_log_says_what_was_agreed_and_with_whom(register, now):
    adopt(register, "P1", load_rules("process-piping"), agreed_by="client", by="lead", now=now)
    entry = register.batches().iloc[0]
    assert (entry["kind"], entry["subject"], entry["by"]) == ("rules", "P1", "lead")
    assert register.table("adoptions")["agreed_by"].tolist() == ["client"]


def test_new_terms_with_the_same_rules_are_a_new_adoption(register, now):
    rules = load_rules("process-piping")
    adopt(register, "P1", rules, agreed_by=None, by="lead", now=now)
    assert adopt(register, "P1", rules, agreed_by="client", by="lead", now=now)
    assert register.table("adoptions")["agreed_by"].tolist()[-1] == "client"


def test_rules_the_register_does_not_hold_are_said(register):
    with pytest.raises(KeyError):
        rules_by_sha256(register, "ab" * 32)


def test_the_first_rules_planned_by_come_into_force_and_others_do_not(register, now):
    first, said = rules_for_plan(register, "P1", "process-piping", by="lead", now=now)
    assert rules_in_force(register, "P1") == first
    assert "are now in force" in said[0]
    assert rules_for_plan(register, "P1", None, by="lead", now=now) == (first, [])
    other, said = rules_for_plan(register, "P1", "pressure-vessel", by="lead", now=now)
    assert other != first
    assert "stay in force" in said[0]
    assert rules_in_force(register, "P1") == first


def test_a_plan_without_rules_is_refused(register, now):
    with pytest.raises(UseError, match="rules adopt"):
        rules_for_plan(register, "P1", None, by="lead", now=now)
