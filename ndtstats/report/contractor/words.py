"""Sentences of the page for the contractor, made from the figures."""

import math
from typing import Any

import pandas as pd

from ndtstats.report import formatting as show
from ndtstats.report.contractor.facts import Turnaround

#: Fewer exposures or requests than this are called few: common practice, no source.
FEW = 30


def images_sentence(total: "pd.Series[Any]", level: float) -> str:
    """Return how many exposures had to be taken again, and how sure the share is.

    Parameters
    ----------
    total : Series
        ``reshoots``, ``taken``, ``rate``, ``lower``, ``upper``.
    level : float
        Of the bounds.

    Examples
    --------
    >>> images_sentence(pd.Series({"reshoots": 1, "taken": 20, "rate": 0.05, "lower": 0.0013,
    ...     "upper": 0.2487}), 0.95)
    '1 of 20 exposures had to be taken again: a re-shoot rate of 5.0 %. With 95 % confidence the \
rate behind it lies between 0.1 % and 24.9 %. That is a small sample.'
    """
    taken, again = int(total["taken"]), int(total["reshoots"])
    if not taken:
        return "No exposure has been reported yet."
    of = f"{again:,} of {show.count(taken, 'exposure')} had to be taken again"
    return (
        f"{of}: a re-shoot rate of {show.percent(total['rate'])}. With {show.level(level)} "
        f"confidence the rate behind it lies between {show.percent(total['lower'])} and "
        f"{show.percent(total['upper'])}.{' That is a small sample.' if taken < FEW else ''}"
    )


def turnaround_sentence(found: Turnaround, level: float) -> str:
    """Return how long requests wait for their examination, and what still waits.

    Parameters
    ----------
    found : Turnaround
        How long it takes.
    level : float
        Of the bounds.
    """
    parts = [_how_long(found, level), _still_open(found)]
    if found.before:
        were = "place was" if found.before == 1 else "places were"
        parts.append(
            f"{found.before:,} {were} answered by images dated before the request; of "
            f"{'it' if found.before == 1 else 'them'} there is no turnaround."
        )
    return " ".join(filter(None, parts))


def _how_long(found: Turnaround, level: float) -> str:
    asked = found.examined + found.waiting
    if not asked:
        return "No request has been answered or stands open, so there is no turnaround yet."
    if not found.examined:
        return f"None of {show.count(asked, 'request')} has been examined yet."
    half, most = found.half, found.most
    if math.isinf(half[0]):
        return f"Fewer than half of {show.count(asked, 'request')} are examined so far."
    told = (
        f"Half of {show.count(asked, 'request')} are examined within {_days(half[0])} "
        f"({show.level(level)} bounds {_span(half)})"
    )
    if math.isinf(most[0]):
        told += "; nine in ten are not examined yet"
    else:
        told += f", nine in ten within {_days(most[0])} ({_span(most)})"
    return f"{told}.{' Few requests: that may well change.' if asked < FEW else ''}"


def _still_open(found: Turnaround) -> str:
    if not found.waiting:
        return "No request stands open." if found.examined else ""
    waits = "request stands open" if found.waiting == 1 else "requests stand open"
    oldest = "" if found.waiting == 1 else "the oldest "
    since = f"for {_days(found.oldest_days)}" if found.oldest_days else "since today"
    return f"{found.waiting:,} {waits}, {oldest}{since}."


def _days(value: float) -> str:
    return show.count(value, "day") if value else "the same day"


def _span(found: tuple[float, float, float]) -> str:
    low, high = (f"{value:,.0f}" for value in found[1:])
    return f"{low} to more than can be said" if math.isinf(found[2]) else f"{low} to {high}"


def states_sentence(states: "pd.Series[int]") -> str:
    """Return what became of the requests.

    Parameters
    ----------
    states : Series of int
        Spots in each state, named.

    Examples
    --------
    >>> states_sentence(pd.Series({"done": 40, "short": 1, "shifted": 0, "not done": 2, "open": 0,
    ...     "unasked": 0, "not welded": 0}))
    'Of 43 requests 40 were examined as asked, 1 was examined short, 2 were not done.'
    """
    asked = int(states.drop("unasked").sum() - states["not welded"])
    words = (
        ("done", "examined as asked"), ("short", "examined short"), ("shifted", "shifted"),
        ("not done", "not done"), ("open", "open"),
    )  # fmt: skip
    parts = [
        f"{states[name]:,} {'was' if states[name] == 1 else 'were'} {word}".replace(
            "were open", "are open"
        ).replace("was open", "is open")
        for name, word in words if states[name]
    ]  # fmt: skip
    told = f"Of {show.count(asked, 'request')} {', '.join(parts)}." if asked else "Nothing asked."
    extra = []
    if states["not welded"]:
        waits = "waits for its joint" if states["not welded"] == 1 else "wait for their joint"
        more = show.count(int(states["not welded"]), "more place")
        extra.append(f"{more} {waits} to be welded, and nobody was asked yet.")
    if states["unasked"]:
        extra.append(f"{show.count(int(states['unasked']), 'examination')} answered no request.")
    return " ".join([told, *extra])


def corrections_sentence(files: pd.DataFrame) -> str:
    """Return how much of what was sent had to be corrected or could not be taken.

    Parameters
    ----------
    files : DataFrame
        Of :func:`ndtstats.request.turnaround.corrections`.

    Examples
    --------
    >>> corrections_sentence(pd.DataFrame({"new": [40, 0], "unchanged": [0, 39],
    ...     "corrected": [0, 1], "left_out": [2, 0]}))
    '2 files of examinations were loaded. 1 row corrected an earlier one, and 2 rows could not be \
taken as they were.'
    """
    if files.empty:
        return "No file of examinations has been loaded yet."
    loaded = f"{show.count(len(files), 'file')} of examinations "
    loaded += "was loaded." if len(files) == 1 else "were loaded."
    corrected, left = int(files["corrected"].sum()), int(files["left_out"].sum())
    if not corrected and not left:
        return f"{loaded} No row was corrected later, and none had to be left out."
    first = show.count(corrected, "row").capitalize()
    ones = "an earlier one" if corrected == 1 else "earlier ones"
    return (
        f"{loaded} {first} corrected {ones}, and {show.count(left, 'row')} could not be taken as "
        f"{'it was' if left == 1 else 'they were'}."
    )
