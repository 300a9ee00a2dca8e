"""What a reject sets in motion: extras, repairs, whole lots, and what is still owed."""

from ndtstats.escalation.decide import decide
from ndtstats.escalation.decided import (
    find_item,
    orphaned_waivers,
    overturn,
    review,
    waive,
    waived_sentences,
)
from ndtstats.escalation.extras import plan_extras
from ndtstats.escalation.lives import ages, lives, lives_sentence
from ndtstats.escalation.owed import owed, sentence
from ndtstats.escalation.repairs import repairs
from ndtstats.escalation.severity import (
    Severity,
    severity,
    severity_sentence,
    switching,
    switching_now,
    tightened_in_force,
)
from ndtstats.escalation.signals import severity_of
from ndtstats.escalation.story import explain
from ndtstats.escalation.switching import switch

__all__ = [
    "Severity",
    "ages",
    "decide",
    "explain",
    "find_item",
    "lives",
    "lives_sentence",
    "orphaned_waivers",
    "overturn",
    "owed",
    "plan_extras",
    "repairs",
    "review",
    "sentence",
    "severity",
    "severity_of",
    "severity_sentence",
    "switch",
    "switching",
    "switching_now",
    "tightened_in_force",
    "waive",
    "waived_sentences",
]
