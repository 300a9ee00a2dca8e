"""What a reject sets in motion: extras, repairs, whole lots, and what is still owed."""

from ndtstats.escalation.decide import decide
from ndtstats.escalation.extras import plan_extras
from ndtstats.escalation.lives import ages, lives, lives_sentence
from ndtstats.escalation.owed import owed, sentence
from ndtstats.escalation.repairs import repairs
from ndtstats.escalation.switching import switch

__all__ = [
    "ages",
    "decide",
    "lives",
    "lives_sentence",
    "owed",
    "plan_extras",
    "repairs",
    "sentence",
    "switch",
]
