"""Windows in which a tested weld serves a certificate, and which welds prove what.

ISO 9606-1 has two clocks (read in published accounts of it, not in the standard itself). Every six
months somebody confirms that the welder worked within his range (9.2): that asks for no test, but a
tested weld is evidence that nobody disputes (common practice, no source). Under 9.3 b) a
certificate is prolonged by two years if two welds made in its last six months were tested inside
and accepted. What serves is a weld of the welder made in the window and within the range of the
certificate, with an accepted first examination by radiography or ultrasonics of a place that he
alone welded: an image that cannot be tied to one welder proves nothing about him (common practice,
no source). Two images of one joint are one weld.
"""

from datetime import date
from typing import Any

import pandas as pd

from ndtstats.places import welders_of
from ndtstats.qualification.cover import KIND, in_range, kinds_of, matched, pieces
from ndtstats.qualification.schemes import schemes
from ndtstats.qualification.spans import (
    CONFIRMATION,
    chains,
    last_day,
    plus_months,
    route_of,
    with_scheme,
)
from ndtstats.words import VOLUMETRIC


def windows(qualifications: pd.DataFrame, confirmations: pd.DataFrame, *, on: date) -> pd.DataFrame:
    """Return the windows in which each certificate that is in force needs a tested weld.

    Parameters
    ----------
    qualifications, confirmations : DataFrame
        Tables of the register.
    on : date
        The day from which one looks; a certificate that lapsed by then has no window.

    Returns
    -------
    DataFrame
        Columns ``ticket`` (position of the certificate's row, from 0), ``certificate``,
        ``process``, ``welder``, ``window`` ("confirmation": since the test weld or the latest
        confirmation, one weld; "prolongation": before the end of validity, as many as its route
        says), ``opens_on`` (not part of it), ``closes_on`` and ``needed``. A certificate of ISO
        9606-1 that states its end and no route is taken to go by route b.

    Examples
    --------
    >>> tickets = pd.DataFrame({"certificate": ["C-1"], "process": ["131"], "welder": ["K7"],
    ...     "standard": ["ISO 9606-1"], "route": ["b"],
    ...     "qualified_on": pd.to_datetime(["2024-06-15"]),
    ...     "confirmed_on": pd.to_datetime(["2025-12-15"]), "valid_until": pd.to_datetime([None])})
    >>> none = pd.DataFrame({"welder": [], "certificate": [], "date": pd.to_datetime([])})
    >>> found = windows(tickets, none, on=date(2026, 5, 1))
    >>> found[["window", "opens_on", "closes_on", "needed"]]
             window   opens_on  closes_on  needed
    0  confirmation 2025-12-15 2026-06-15       1
    1  prolongation 2025-12-15 2026-06-15       2
    """
    day = pd.Timestamp(on)
    tickets = with_scheme(qualifications)
    unused = tickets.iloc[:0].assign(date=tickets["qualified_on"])
    alive = chains(tickets, confirmations, unused, until=day).set_index("ticket")
    written = alive[(alive["because"] == CONFIRMATION) & (alive["ends"] >= day)]
    end = last_day(tickets).reindex(written.index)
    written = written[(written["begins"] <= day) & ~(end < day)]
    mine = tickets.loc[written.index, ["certificate", "process", "welder", "scheme"]]
    tested, months = _asked(tickets.loc[written.index])
    ends = end.reindex(written.index)
    both = [
        mine.assign(
            window="confirmation", opens_on=written["last"], closes_on=written["ends"], needed=1
        ),
        mine.assign(window="prolongation", closes_on=ends, needed=tested).assign(
            opens_on=_before(ends, months)
        )[tested > 0],
    ]
    found = pd.concat(both).rename_axis("ticket").reset_index().drop(columns="scheme")
    found = found[found["closes_on"].notna()].astype({"needed": "int64"})
    order = ["ticket", "certificate", "process", "welder", "window", "opens_on", "closes_on"]
    return found[[*order, "needed"]].reset_index(drop=True)


def _asked(tickets: pd.DataFrame) -> tuple["pd.Series[int]", "pd.Series[int]"]:
    """Return how many tested welds prolong each certificate, and of how many months."""
    letters = route_of(tickets)
    # Where a scheme leaves the choice and none is stated, only route b has an end that is stated.
    letters = letters.fillna("b").where(letters.notna() | tickets["valid_until"].notna())
    tested = pd.Series(0, index=tickets.index)
    months = pd.Series(0, index=tickets.index)
    for known in schemes().values():
        months = months.mask(tickets["scheme"] == known.name, known.tested_months)
        for letter, route in known.route.items():
            mine = (tickets["scheme"] == known.name) & (letters == letter)
            tested = tested.mask(mine, route.tested)
    return tested, months


def _before(days: "pd.Series[Any]", months: "pd.Series[int]") -> "pd.Series[Any]":
    """Return each day so many months earlier."""
    found = days
    for number in months.unique():
        found = found.where(months != number, plus_months(days, -int(number)))
    return found


def weld_key(frame: pd.DataFrame) -> "pd.Series[str]":
    """Return what tells one weld from another: joints of two jobs may share a number."""
    return frame["job"] + "\n" + frame["joint"]


def made_by_all(deposits: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    """Return the pieces of work of all welders: ranges, ``date``, place, and ``weld``."""
    made = pieces(deposits, joints).reset_index(drop=True)
    return made[[*KIND, "date", "from_mm", "to_mm"]].assign(weld=weld_key(made))


def in_windows(due: pd.DataFrame, made: pd.DataFrame, tickets: pd.DataFrame) -> pd.DataFrame:
    """Return the pieces made in each window, and whether they are within the certificate's range.

    Parameters
    ----------
    due : DataFrame
        As :func:`windows` returns it; its index numbers the windows.
    made : DataFrame
        As :func:`made_by_all` returns it.
    tickets : DataFrame
        Rows of qualifications, counted from 0.

    Returns
    -------
    DataFrame
        Columns ``number`` (of the window), ``piece`` (of ``made``), ``joint_type``, ``covered``.
    """
    opened = due[["ticket", "welder", "opens_on", "closes_on"]].reset_index(names="number")
    pairs = opened.merge(made.reset_index(names="piece"), on="welder")
    pairs = pairs[(pairs["date"] > pairs["opens_on"]) & (pairs["date"] <= pairs["closes_on"])]
    number, kinds = kinds_of(pairs)
    good = in_range(matched(kinds, tickets))[["kind", "ticket"]].assign(covered=True)
    found = pairs.assign(kind=number).merge(good, on=["kind", "ticket"], how="left")
    found["covered"] = found["covered"].notna()
    return found[["number", "piece", "joint_type", "covered"]]


def looked_inside(places: pd.DataFrame) -> pd.DataFrame:
    """Return the places that are looked into, each with its ``weld``."""
    inside = places[places["method"].isin(VOLUMETRIC)]
    return inside.assign(weld=weld_key(inside))


def first_accepted(judged: pd.DataFrame) -> pd.DataFrame:
    """Return the examinations that can serve: accepted, and not after a repair."""
    return judged[(judged["verdict"] == "accept") & (judged["round"].fillna(0) == 0)]


def shown_in(places: pd.DataFrame, made: pd.DataFrame, fits: pd.DataFrame) -> pd.DataFrame:
    """Return the places that show pieces which fit a window: ``number``, ``place``, ``weld``.

    ``alone`` says whether a place shows the work of that welder, and of nobody else.

    Parameters
    ----------
    places : DataFrame
        As :func:`looked_inside` returns it, bounds filled in; its index names the places.
    made : DataFrame
        As :func:`made_by_all` returns it.
    fits : DataFrame
        Rows of :func:`in_windows`.
    """
    at, by = places.assign(joint=places["weld"]), made.assign(joint=made["weld"])
    parts = welders_of(at, by)
    several = parts["cell"].duplicated(keep=False)
    sole = parts[~several & parts["shown"]].set_index("cell")["welder"]
    pairs = overlaps(places, made.loc[fits["piece"].unique()].reset_index(names="piece"))
    shown = pairs.merge(fits[["number", "piece"]], on="piece")
    shown = shown.assign(alone=shown["place"].map(sole) == shown["welder"])
    keys = ["number", "place", "weld"]
    return shown.groupby(keys, as_index=False).agg(alone=("alone", "any"))


def overlaps(places: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """Return each place (``place``: its index) beside the others of its weld that it touches."""
    mine = places[["weld", "from_mm", "to_mm"]].reset_index(names="place")
    pairs = mine.merge(others, on="weld", suffixes=("", "_other"))
    below = ~(pairs["from_mm_other"] >= pairs["to_mm"])
    return pairs[below & ~(pairs["to_mm_other"] <= pairs["from_mm"])]
