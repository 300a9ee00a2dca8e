"""Welders whose extent is multiplied since their record gave a signal: what more is drawn of them.

What signals, and who stands how, is told by :func:`ndtstats.escalation.tightened_in_force`; here
the factors are an argument, kept with the plan, so that it can be drawn again.
"""

import json
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ndtstats.planning.classes import Classes, Floats
from ndtstats.planning.shares import SLACK
from ndtstats.rules import ExtentRule

#: By welder and method: what the extent of his work is multiplied by.
Tightened = Mapping[tuple[str, str], float]


class More(NamedTuple):
    """What tightened welders are examined more.

    Attributes
    ----------
    needed : ndarray of float, shape (crews,)
        Least number drawn from each crew, in the order in which crews occur first, beside what is
        certain; 0 for who is not tightened.
    number : int
        By how much the number of the rule grows.
    """

    needed: Floats
    number: int


def factors_of_crews(
    crew: "pd.Series[str]", tightened: Tightened, rule: ExtentRule
) -> "pd.Series[float]":
    """Return what the extent of each cell is multiplied by, 1 where nobody is tightened.

    Parameters
    ----------
    crew : Series of str
        Whose work each cell shows; several parted by semicolons: the strictest holds.
    tightened : mapping of (str, str) to float
        By welder and method. A signal by any method that counts under the rule is one.
    rule : ExtentRule
        The rule.

    Examples
    --------
    >>> rule = ExtentRule(name="butts", categories=("A",), method="RT", amount={
    ...     "family": "share-of-length", "percent": 10.0})
    >>> crew = pd.Series(["K7", "K7; M3", "M3"])
    >>> factors_of_crews(crew, {("K7", "RT"): 2.0, ("M3", "UT"): 3.0}, rule).tolist()
    [2.0, 2.0, 1.0]
    """
    of = pd.Series(1.0, index=crew.unique())
    for (welder, method), factor in tightened.items():
        if method in rule.methods:
            mine = ("; " + of.index + ";").str.contains(f"; {welder};", regex=False)
            of[mine] = of[mine].clip(lower=factor)
    return crew.map(of).astype("float64")


def more_of_tightened(cells: pd.DataFrame, classes: Classes, rule: ExtentRule, number: int) -> More:
    """Return how much more is drawn of tightened welders than the rule asks for.

    Parameters
    ----------
    cells : DataFrame
        Columns ``crew`` and ``factor``.
    classes : Classes
        What kind each cell is.
    rule : ExtentRule
        The rule.
    number : int
        Spots that it asks for, whoever welded.

    Notes
    -----
    A welder's extent is his share of the number by length of weld, or what the rule asks of each
    welder, whichever is more. That times his factor, rounded up, is drawn of him; never more than
    there is. The number grows by what is added, so that nobody else is examined less. Chosen
    here, no source: no code says how a factor meets an extent.
    """
    crew, _ = pd.factorize(cells["crew"])
    many = int(crew.max(initial=-1)) + 1
    factor = np.ones(many)
    np.maximum.at(factor, crew, cells["factor"].to_numpy(float))
    if (factor <= 1).all() or rule.everything:
        return More(np.zeros(many), 0)
    free = classes.certain == 0
    # What is certain counts towards the number, or stands beside it.
    counted = ~classes.short & (free | rule.always_counts)
    length = np.bincount(crew, classes.length_mm * counted, many)
    room = np.bincount(crew, counted, many)
    share = number * length / max(length.sum(), 1.0)
    of_rule = pd.Series(crew).groupby(classes.welder).first()
    each = np.bincount(of_rule, classes.needed[of_rule.index], many)
    extent = np.minimum(np.maximum(share, each), room)
    strict = np.minimum(np.ceil(factor * extent - SLACK), room)
    strict = np.where(factor > 1, strict, 0.0)
    added = np.maximum(strict - extent, 0.0)[factor > 1].sum()
    sure = np.bincount(crew, counted & ~free, many)
    return More(np.maximum(strict - sure, 0.0), int(np.ceil(added - SLACK)))


def tightened_told(tightened: Tightened) -> str:
    """Return in a sentence whose extent is multiplied; "" where nobody's is.

    Examples
    --------
    >>> tightened_told({("K7", "RT"): 2.0, ("M3", "RT"): 2.0})
    'tightened by signals: K7 (RT, extent × 2), M3 (RT, extent × 2)'
    """
    told = [f"{welder} ({method}, extent × {by:g})" for (welder, method), by in tightened.items()]
    return f"tightened by signals: {', '.join(told)}" if told else ""


def tightened_in_plan(head: "pd.Series[Any]") -> str:
    """Return in a sentence whose extent a plan multiplied (:func:`tightened_told`)."""
    return tightened_told(kept_factors(head))


def kept_factors(head: "pd.Series[Any]") -> dict[tuple[str, str], float]:
    """Return the factors that a plan was drawn by."""
    return from_text(None if pd.isna(head["tightened"]) else head["tightened"])


def as_text(tightened: Tightened) -> str | None:
    """Return factors as they are kept with a plan; None where there are none."""
    rows = [[welder, method, factor] for (welder, method), factor in tightened.items()]
    return json.dumps(sorted(rows), ensure_ascii=False) if rows else None


def from_text(text: str | None) -> dict[tuple[str, str], float]:
    """Return factors that were kept with a plan.

    Examples
    --------
    >>> from_text(as_text({("K7", "RT"): 2.0}))
    {('K7', 'RT'): 2.0}
    """
    return {(welder, method): by for welder, method, by in json.loads(text or "[]")}
