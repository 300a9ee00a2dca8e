"""The spans in which certificates are in force: pure arithmetic of days.

Months and years are calendar ones, and the last day belongs to them: 31 August and six months is
the last day of February, 31 March and six months is 30 September (common practice, no source; for
ASME IX, QW-322, as read in published answers). The day of the test weld is day 0. A confirmation
that comes late brings nothing back: a certificate that lapsed stays lapsed.
"""

from typing import Any

import pandas as pd

from ndtstats.qualification.schemes import schemes, schemes_of

#: The clocks that can run out, by what they are called in a sentence.
CONFIRMATION = "six-monthly confirmation"
CONTINUITY = "continuity of the process"
VALIDITY = "end of validity"

#: Columns of the spans, and their types.
SPAN_COLUMNS: dict[str, str] = {
    "ticket": "int64",
    "begins": "datetime64[s]",
    "ends": "datetime64[s]",
    "because": "str",
}


def plus_months(days: Any, months: int) -> Any:
    """Return each day so many calendar months later; month ends stay within the month.

    Examples
    --------
    >>> plus_months(pd.Series(pd.to_datetime(["2026-08-31", "2027-08-31"])), 6).dt.date.tolist()
    [datetime.date(2027, 2, 28), datetime.date(2028, 2, 29)]
    """
    return days + pd.DateOffset(months=months)


def spans(
    qualifications: pd.DataFrame,
    confirmations: pd.DataFrame,
    uses: pd.DataFrame,
    *,
    until: pd.Timestamp | None = None,
) -> pd.DataFrame:
    """Return the spans in which each certificate is in force.

    Parameters
    ----------
    qualifications : DataFrame
        Table of the register: a row for each welder, certificate and process.
    confirmations : DataFrame
        Table of the register: ``welder``, ``certificate``, ``date``.
    uses : DataFrame
        Who welded by which process when, in any job: ``welder``, ``process``, ``date``.
    until : Timestamp, optional
        Confirmations and uses after this day are not looked at: nobody can promise them.

    Returns
    -------
    DataFrame
        Columns :data:`SPAN_COLUMNS`: ``ticket`` is the position of the certificate's row, from 0;
        ``begins`` and ``ends`` belong to the span, and an open end is missing; ``because`` says
        which clock ends it. A certificate whose scheme knows renewal tests can have several.

    Notes
    -----
    What happens before the first confirmation that the register holds rests on the certificate
    where it states one (``confirmed_on``): nobody signs a chain that is broken. From there on each
    confirmation must come within the months of the one before. A certificate of a standard that is
    not known is in force as it states: from its test weld to its ``valid_until``.

    Examples
    --------
    >>> days = pd.to_datetime
    >>> tickets = pd.DataFrame({"welder": ["K7"], "certificate": ["C-1"], "process": ["135"],
    ...     "standard": ["ISO 9606-1"], "route": ["b"], "qualified_on": days(["2024-06-15"]),
    ...     "confirmed_on": days([None]), "valid_until": days([None])})
    >>> signed = pd.DataFrame({"welder": "K7", "certificate": "C-1",
    ...     "date": days(["2024-12-15", "2025-12-15"])})
    >>> spans(tickets, signed, tickets.iloc[:0].rename(columns={"qualified_on": "date"}))
       ticket     begins       ends                   because
    0       0 2024-06-15 2025-06-15  six-monthly confirmation
    """
    tickets = with_scheme(qualifications)
    alive = chains(tickets, confirmations, uses, until=until)
    end = last_day(tickets).reindex(alive["ticket"]).set_axis(alive.index)
    begun = alive[~(end < alive["begins"])]
    end = end.reindex(begun.index)
    sooner = end.notna() & ~(begun["ends"] < end)
    ended = begun.assign(
        ends=begun["ends"].mask(sooner, end), because=begun["because"].mask(sooner, VALIDITY)
    )
    return ended.reset_index(drop=True)[list(SPAN_COLUMNS)].astype(SPAN_COLUMNS)


def last_day(tickets: pd.DataFrame) -> "pd.Series[Any]":
    """Return the last day of validity by each certificate's route; missing where there is none.

    It is what the certificate states, else so many years from the test weld as the route says: a
    prolongation is an act of the examiner, and counts when ``valid_until`` says so.

    Parameters
    ----------
    tickets : DataFrame
        Rows of qualifications with ``scheme``, its name or missing.
    """
    end = tickets["valid_until"]
    letters = route_of(tickets)
    for scheme in schemes().values():
        for letter, route in scheme.route.items():
            if route.years is not None:
                mine = (tickets["scheme"] == scheme.name) & (letters == letter)
                whole = plus_months(tickets["qualified_on"], 12 * route.years)
                # Where no tested weld prolongs, nothing that is stated makes it longer.
                longer = end.isna() | ((end > whole) & (not route.tested))
                end = end.mask(mine & longer, whole)
    return end


def route_of(tickets: pd.DataFrame) -> "pd.Series[str]":
    """Return the route of each certificate: its own, else its scheme's usual one, else missing.

    A route that the scheme does not have is passed over.
    """
    own = tickets["scheme"].str.cat(tickets["route"], sep="\n")
    known = [f"{scheme.name}\n{letter}" for scheme in schemes().values() for letter in scheme.route]
    usual = tickets["scheme"].map({s.name: s.usual_route for s in schemes().values()})
    return tickets["route"].where(own.isin(known), usual).astype("str")


def with_scheme(qualifications: pd.DataFrame) -> pd.DataFrame:
    """Return certificates counted from 0, with the name of the ``scheme`` of each, or missing."""
    tickets = qualifications.reset_index(drop=True)
    return tickets.assign(scheme=schemes_of(tickets["standard"]))


def _events(
    tickets: pd.DataFrame,
    confirmations: pd.DataFrame,
    uses: pd.DataFrame,
    until: pd.Timestamp | None,
) -> pd.DataFrame:
    """Return what starts or keeps each certificate: ``ticket``, ``date``, ``test``, ``vouched``.

    ``vouched`` is the day up to which the certificate itself shows an unbroken chain.
    """
    named = tickets.reset_index(names="ticket")
    of_process = named[named["scheme"].isin(_with("continuity", "process"))]
    own = named[["ticket", "welder", "certificate"]].merge(
        confirmations[["welder", "certificate", "date"]], on=["welder", "certificate"]
    )
    stated = named[["ticket", "confirmed_on"]].rename(columns={"confirmed_on": "date"}).dropna()
    signed = pd.concat([own[["ticket", "date"]], stated], ignore_index=True)
    # What was signed before the test weld belongs to an earlier qualification.
    signed = signed[signed["date"] >= _of(signed, tickets["qualified_on"])]
    vouched = vouched_until(tickets, confirmations)
    also = named[["welder", "process"]].loc[signed["ticket"]].assign(date=signed["date"].to_numpy())
    used = pd.concat([uses[["welder", "process", "date"]], also]).drop_duplicates()
    used = of_process[["ticket", "welder", "process"]].merge(used, on=["welder", "process"])
    kept = pd.concat([signed, used[["ticket", "date"]]]).drop_duplicates()
    if until is not None:
        kept = kept[(kept["date"] <= until) | (kept["date"] == _of(kept, vouched))]
    events = pd.concat([kept.assign(test=False), _tests(named).assign(test=True)])
    return events.assign(vouched=_of(events, vouched))


def vouched_until(tickets: pd.DataFrame, confirmations: pd.DataFrame) -> "pd.Series[Any]":
    """Return until when each certificate itself shows an unbroken chain; missing where it does not.

    That is the first confirmation that is known, of a certificate that states one.
    """
    keys = ["welder", "certificate"]
    signed = (
        tickets[[*keys, "qualified_on"]]
        .reset_index(names="ticket")
        .merge(confirmations[[*keys, "date"]], on=keys)
    )
    signed = signed[signed["date"] >= signed["qualified_on"]]
    first = signed.groupby("ticket")["date"].min().reindex(tickets.index)
    stated = tickets["confirmed_on"].where(tickets["confirmed_on"] >= tickets["qualified_on"])
    return stated.where(~(first < stated), first)


def _of(events: pd.DataFrame, by_ticket: "pd.Series[Any]") -> "pd.Series[Any]":
    """Return the value of each event's ticket; a map would fail on dates where there are none."""
    return by_ticket.reindex(events["ticket"]).set_axis(events.index)


def _tests(named: pd.DataFrame) -> pd.DataFrame:
    """Return the test welds that start each certificate: its own, and those that restore it."""
    restores = named["scheme"].isin(_with("renewal_restores", value=True))
    keys = ["welder", "process", "scheme"]
    others = named.loc[restores, [*keys, "qualified_on"]].drop_duplicates()
    again = named.loc[restores, ["ticket", *keys, "qualified_on"]].merge(
        others, on=keys, suffixes=("_own", "")
    )
    # A test before a certificate's own does not start it.
    again = again[again["qualified_on"] >= again["qualified_on_own"]]
    both = pd.concat([named, again])[["ticket", "qualified_on"]]
    return both.rename(columns={"qualified_on": "date"}).drop_duplicates()


def _with(attribute: str, value: Any) -> list[str]:
    return [name for name, scheme in schemes().items() if getattr(scheme, attribute) == value]


def _kept_until(events: pd.DataFrame, scheme: "pd.Series[str]") -> "pd.Series[Any]":
    """Return until when each event keeps its certificate; missing: it needs no keeping."""
    keeps = pd.Series(pd.NaT, index=events.index, dtype=events["date"].dtype)
    for known in schemes().values():
        later = plus_months(events["date"], known.months)
        keeps = keeps.mask(scheme == known.name, later)
    return keeps


def chains(
    tickets: pd.DataFrame,
    confirmations: pd.DataFrame,
    uses: pd.DataFrame,
    *,
    until: pd.Timestamp | None = None,
) -> pd.DataFrame:
    """Return the spans that unbroken chains of events make, whatever the end of validity.

    Parameters
    ----------
    tickets : DataFrame
        As :func:`with_scheme` returns them.
    confirmations, uses, until
        As for :func:`spans`.

    Returns
    -------
    DataFrame
        Columns ``ticket``, ``begins``, ``last`` (the day of the last confirmation or use), ``ends``
        (until when that keeps it) and ``because``.
    """
    events = _events(tickets, confirmations, uses, until)
    events = events[events["date"] >= _of(events, tickets["qualified_on"])]
    events = events.sort_values(["ticket", "date"], kind="stable")
    events = events.reset_index(drop=True)
    events = events.assign(keeps=_kept_until(events, events["ticket"].map(tickets["scheme"])))
    before = events.groupby("ticket")["keeps"].shift()
    late = (events["date"] > before) & ~(events["date"] <= events["vouched"])
    chain = late.groupby(events["ticket"]).cumsum()
    begun = events["test"].groupby([events["ticket"], chain]).cummax()
    # A use after the lapse is a weld outside a qualification: it keeps nothing.
    held = events[begun].groupby(["ticket", chain[begun]], as_index=False)
    found = held.agg(begins=("date", "min"), last=("date", "max"), ends=("keeps", "max"))
    continuity = {s.name: s.continuity for s in schemes().values()}
    kind = found["ticket"].map(tickets["scheme"]).map(continuity)
    words = kind.map({"certificate": CONFIRMATION, "process": CONTINUITY})
    return found.assign(because=words)
