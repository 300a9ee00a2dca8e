"""Switching between normal, tightened and reduced examination, lot by lot."""

from collections.abc import Iterable, Iterator
from typing import Literal, NamedTuple

Severity = Literal["normal", "tightened", "reduced", "discontinued"]

#: ISO 2859-1 (seen) and MIL-STD-105E, 4.7 (from memory).
NOT_ACCEPTED_TO_TIGHTEN = 2
AMONG = 5
ACCEPTED_TO_RELAX = 5
NOT_ACCEPTED_TO_STOP = 5


class Step(NamedTuple):
    """Severity under which a lot was examined, and the one for the next."""

    during: Severity
    after: Severity


def switch(
    accepted: Iterable[bool], *, start: Severity = "normal", steady: bool = False
) -> Iterator[Step]:
    """Yield the severity of each lot in turn, and what follows from its verdict.

    Parameters
    ----------
    accepted : iterable of bool
        Verdict of each lot on its first inspection; lots presented again are not counted.
    start : {"normal", "tightened", "reduced"}
        Severity of the first lot.
    steady : bool
        Go to reduced after ten lots in a row accepted on normal (the form of MIL-STD-105; the
        limit numbers of its table VIII and the authority's wish are for people to judge).

    Notes
    -----
    Normal to tightened when 2 of 5 or fewer consecutive lots are not accepted; back after 5
    consecutive ones accepted; discontinued after 5 not accepted while on tightened; reduced to
    normal at the first not accepted. ISO 2859-1 (seen). For welds this is an analogy, not a code:
    common practice, no source.

    Examples
    --------
    >>> [step.after for step in switch([True, True, False, True, False])][-1]
    'tightened'
    """
    severity: Severity = start
    recent: list[bool] = []
    failed = 0
    for verdict in accepted:
        during = severity
        recent.append(verdict)
        if severity == "normal":
            if recent[-AMONG:].count(False) >= NOT_ACCEPTED_TO_TIGHTEN:
                severity, recent, failed = "tightened", [], 0
            elif steady and len(recent) >= 10 and all(recent[-10:]):
                severity, recent = "reduced", []
        elif severity == "tightened":
            failed += not verdict
            if failed >= NOT_ACCEPTED_TO_STOP:
                severity = "discontinued"
            elif len(recent) >= ACCEPTED_TO_RELAX and all(recent[-ACCEPTED_TO_RELAX:]):
                severity, recent = "normal", []
        elif severity == "reduced" and not verdict:
            severity, recent = "normal", []
        yield Step(during, severity)
