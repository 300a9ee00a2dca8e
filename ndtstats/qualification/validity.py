"""Which certificates are in force on a day, until when, and what ends them."""

from datetime import date
from typing import Any

import pandas as pd

from ndtstats.qualification.schemes import schemes
from ndtstats.qualification.spans import plus_months, route_of, spans, vouched_until, with_scheme

#: Columns of the validity of certificates, and their types.
VALIDITY_COLUMNS: dict[str, str] = {
    "welder": "str",
    "certificate": "str",
    "process": "str",
    "standard": "str",
    "scheme": "str",
    "in_force": "bool",
    "since": "datetime64[s]",
    "lapses_on": "datetime64[s]",
    "because": "str",
    "note": "str",
}


def validity(
    qualifications: pd.DataFrame, confirmations: pd.DataFrame, uses: pd.DataFrame, *, on: date
) -> pd.DataFrame:
    """Return whether each certificate is in force on a day.

    Parameters
    ----------
    qualifications, confirmations, uses : DataFrame
        As for :func:`ndtstats.qualification.spans.spans`. What is dated after ``on`` is not looked
        at, but for the ``confirmed_on`` that a certificate states.
    on : date
        The day.

    Returns
    -------
    DataFrame
        Columns :data:`VALIDITY_COLUMNS`, a row for each certificate and process in the order of
        ``qualifications``: ``scheme`` (missing where the standard is not known), ``since``,
        ``lapses_on`` (the last day in force, of the span that holds ``on`` or else of the last one
        before it; missing where none is in sight, or none has begun), ``because`` (the clock that
        ends it: confirmation, continuity or end of validity) and ``note``.

    Examples
    --------
    >>> days = pd.to_datetime
    >>> tickets = pd.DataFrame({"welder": ["K7"], "certificate": ["C-1"], "process": ["141"],
    ...     "standard": ["ASME IX"], "route": [None], "qualified_on": days(["2025-11-03"]),
    ...     "confirmed_on": days([None]), "valid_until": days([None])})
    >>> welded = pd.DataFrame({"welder": "K7", "process": "141", "date": days(["2026-03-31"])})
    >>> none = pd.DataFrame({"welder": [], "certificate": [], "date": days([])})
    >>> validity(tickets, none, welded, on=date(2026, 9, 30)).iloc[0][["in_force", "because"]]
    in_force                         True
    because     continuity of the process
    Name: 0, dtype: object
    >>> validity(tickets, none, welded, on=date(2026, 10, 1))["in_force"].tolist()
    [False]
    """
    day = pd.Timestamp(on)
    tickets = with_scheme(qualifications)
    begun = spans(qualifications, confirmations, uses, until=day)
    begun = begun[begun["begins"] <= day].sort_values(["ticket", "begins"])
    last = begun.drop_duplicates("ticket", keep="last").set_index("ticket").reindex(tickets.index)
    found = tickets.assign(
        in_force=last["begins"].notna() & ~(last["ends"] < day),
        since=last["begins"],
        lapses_on=last["ends"],
        because=last["because"].where(last["ends"].notna()),
        note=_notes(tickets, confirmations),
    )
    return found[list(VALIDITY_COLUMNS)].astype(VALIDITY_COLUMNS)


def _notes(tickets: pd.DataFrame, confirmations: pd.DataFrame) -> "pd.Series[str]":
    """Return what the reader of each certificate must know."""
    scheme, own = tickets["scheme"], tickets["route"].astype("str")
    taken = route_of(tickets)
    choice = scheme.isin([s.name for s in schemes().values() if s.route and not s.usual_route])
    stated = tickets["valid_until"].notna()
    strange = own.notna() & (own != taken.fillna("")) & scheme.notna()
    unnamed = choice & taken.isna()
    vouched = vouched_until(tickets, confirmations)
    since = vouched.dt.strftime("%Y-%m-%d").astype("str")
    cases = [
        (scheme.isna(), tickets["standard"].fillna("?") + " is not a scheme known here; taken as"
         " the certificate states it: confirmation and continuity are not looked at"),
        (strange, scheme + " has no route " + own),
        (unnamed & stated, "no route stated: ends on its valid_until"),
        (unnamed & ~stated, "neither route nor valid_until stated: only confirmations"
         " are looked at"),
        (_assumed(tickets, vouched), "confirmations before " + since + " on its word"),
    ]  # fmt: skip
    cases += [
        ((scheme == known.name) & (taken == letter), pd.Series(route.note, tickets.index))
        for known in schemes().values() for letter, route in known.route.items() if route.note
    ]  # fmt: skip
    words = pd.Series("", index=tickets.index, dtype="str")
    for applies, text in cases:
        words = words.where(~applies, words + "; " + text)
    return words.str.removeprefix("; ")


def _assumed(tickets: pd.DataFrame, vouched: "pd.Series[Any]") -> "pd.Series[bool]":
    """Return where confirmations are taken for granted that the register does not hold."""
    granted = pd.Series(data=False, index=tickets.index)
    for known in schemes().values():
        late = vouched > plus_months(tickets["qualified_on"], known.months)
        granted |= late & (tickets["scheme"] == known.name)
    return granted
