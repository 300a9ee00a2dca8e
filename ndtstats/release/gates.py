"""What must be done before a zone is closed, turned, tested, painted or handed over, as data."""

from typing import Final, Literal

Milestone = Literal["close", "turn", "test", "paint", "hand over"]

#: Each check, and what it asks for.
CHECKS: Final[dict[str, str]] = {
    "rules": "rules are in force, else nobody can say what had to be examined",
    "welded": "every joint is welded",
    "visual": "every joint is accepted by eye over its whole length",
    "beads": "no bead of an intermittent weld is short, missing or open",
    "spot": "every planned spot is examined, and read",
    "extent": "what the rules ask for is examined, or a plan asks for it elsewhere",
    "repair": "every reject is repaired and examined again, or cut out",
    "owed": "nothing is owed by escalation",
    "test": "a leak or pressure test is accepted where one is required",
    "qualification": "every deposit is by a welder who was qualified on the day",
    "warning": "every warning is answered",
}

_ALL: Final = tuple(CHECKS)
_BEFORE_TEST: Final = tuple(check for check in _ALL if check != "test")

#: The checks of each milestone. A zone is closed and turned before it can be tested, and examined
#: before it is tested: radiography after a pressure test is the wrong order (seen, opinion).
#: Painted only after the leak test and the examinations: LR Special Service Craft, construction
#: procedures, 3.1.4 (seen). All repairs examined again before hand over: LR (seen). The others:
#: common practice, no source. The contract decides.
GATES: Final[dict[Milestone, tuple[str, ...]]] = {
    "close": _BEFORE_TEST,
    "turn": _BEFORE_TEST,
    "test": _BEFORE_TEST,
    "paint": _ALL,
    "hand over": _ALL,
}

#: How each milestone is said of a zone.
SAID: Final[dict[Milestone, str]] = {
    "close": "closed",
    "turn": "turned",
    "test": "tested",
    "paint": "painted",
    "hand over": "handed over",
}
