"""Switching between normal, tightened and reduced examination, lot by lot."""

from collections.abc import Iterable, Iterator
from typing import Literal, NamedTuple

Severity = Literal["normal", "tightened", "reduced", "discontinued"]
Standard = Literal["ISO 2859-1", "MIL-STD-105E"]

# ISO 2859-1 (seen) and MIL-STD-105E, 4.7 (from memory) agree in these.
NOT_ACCEPTED_TO_TIGHTEN = 2
AMONG = 5
ACCEPTED_TO_RELAX = 5

#: ISO 2859-1 (seen): lots not accepted in all since tightened inspection began.
NOT_ACCEPTED_TO_STOP = 5
#: MIL-STD-105E, 4.7.5 (from memory): lots in a row that stay on tightened inspection.
TIGHTENED_TO_STOP = 10

#: Lots accepted in a row on normal that may lead to reduced. ISO 2859-1: a score of 30, two for
#: each lot accepted by a plan with acceptance number 0 or 1 (from memory). MIL-STD-105E: ten, with
#: few enough defectives by its table VIII (from memory).
ACCEPTED_TO_REDUCE: dict[Standard, int] = {"ISO 2859-1": 15, "MIL-STD-105E": 10}


class Step(NamedTuple):
    """Severity under which a lot was examined, and the one for the next."""

    during: Severity
    after: Severity


def switch(
    accepted: Iterable[bool],
    *,
    start: Severity = "normal",
    steady: bool = False,
    standard: Standard = "ISO 2859-1",
) -> Iterator[Step]:
    """Yield the severity of each lot in turn, and what follows from its verdict.

    Parameters
    ----------
    accepted : iterable of bool
        Verdict of each lot on its first inspection; lots presented again are not counted.
    start : {"normal", "tightened", "reduced", "discontinued"}
        Severity of the first lot.
    steady : bool
        Production is steady and the authority wants reduced inspection after enough lots in a row
        were accepted on normal. (The limit numbers of table VIII of MIL-STD-105E are for people to
        look up.)
    standard : {"ISO 2859-1", "MIL-STD-105E"}
        They differ in when inspection is discontinued, and in when it may be reduced.

    Notes
    -----
    Normal to tightened when 2 of 5 or fewer consecutive lots are not accepted; back after 5
    consecutive ones accepted. Discontinued for good: only a corrective action that the authority
    accepts resumes it, on tightened. Reduced to normal at the first lot not accepted. ISO 2859-1
    (seen). For welds, where a lot may be a block or a welder's week, this is an analogy and no
    code: common practice, no source.

    Examples
    --------
    >>> [step.after for step in switch([True, True, False, True, False])][-1]
    'tightened'
    """
    severity: Severity = start
    since: list[bool] = []
    for verdict in accepted:
        during = severity
        since.append(verdict)
        severity = _after(severity, since, standard, steady=steady)
        if severity != during:
            since = []
        yield Step(during, severity)


def _after(severity: Severity, since: list[bool], standard: Standard, *, steady: bool) -> Severity:
    """Return what follows from the verdicts since a severity began."""
    if severity == "normal":
        enough = ACCEPTED_TO_REDUCE[standard]
        if since[-AMONG:].count(False) >= NOT_ACCEPTED_TO_TIGHTEN:
            return "tightened"
        if steady and len(since) >= enough and all(since[-enough:]):
            return "reduced"
    elif severity == "tightened":
        if len(since) >= ACCEPTED_TO_RELAX and all(since[-ACCEPTED_TO_RELAX:]):
            return "normal"
        if _stops(since, standard):
            return "discontinued"
    elif severity == "reduced" and not since[-1]:
        return "normal"
    return severity


def _stops(since: list[bool], standard: Standard) -> bool:
    if standard == "MIL-STD-105E":
        return len(since) >= TIGHTENED_TO_STOP
    return since.count(False) >= NOT_ACCEPTED_TO_STOP
