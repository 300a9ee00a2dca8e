"""Deposits outside a qualification on their day, with the reason in words."""

from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.qualification.cover import FITS, covered, kinds_of, matched, pieces
from ndtstats.qualification.papers import Papers, papers_of
from ndtstats.qualification.spans import CONFIRMATION, CONTINUITY, VALIDITY
from ndtstats.register import Register

#: Columns of what lies outside.
OUTSIDE_COLUMNS = (
    "job", "joint", "zone", "welder", "date", "process", "position", "certificate", "reason",
)  # fmt: skip

_WORDS = {
    "process": "process ", "joint_type": "joint type ", "position": "position ",
    "material": "material ", "thickness_mm": "",
}  # fmt: skip

_LAPSED = {
    CONFIRMATION: "its six-monthly confirmation is missing or came late",
    CONTINUITY: "no work by the process within six months",
    VALIDITY: "its validity ended",
}


def outside(
    register: Register,
    *,
    job: str | None = None,
    as_of: datetime | None = None,
    until: date | None = None,
) -> pd.DataFrame:
    """Return the deposits that no certificate of their welder covered on the day.

    Parameters
    ----------
    register : Register
        The register.
    job : str, optional
        Only deposits of this job; continuity counts what was welded on any.
    as_of : datetime, optional
        By what was known then.
    until : date, optional
        Only deposits up to this day.

    Returns
    -------
    DataFrame
        Columns :data:`OUTSIDE_COLUMNS`, a row for each joint, welder, day and reason, in the order
        of the days. ``certificate`` is the one that comes nearest; missing where there is none.
    """
    return register.once(
        ("outside", job, as_of, until), lambda: _of_register(register, job, as_of, until)
    )


def _of_register(
    register: Register, job: str | None, as_of: datetime | None, until: date | None
) -> pd.DataFrame:
    deposits = register.table("deposits", job=job, as_of=as_of)
    if until is not None:
        deposits = deposits[deposits["date"] <= pd.Timestamp(until)]
    joints = register.table("joints", job=job, as_of=as_of)
    found = outside_of(pieces(deposits, joints), papers_of(register, as_of))
    zones = joints[["job", "joint", "zone"]]
    found = found.merge(zones, on=["job", "joint"], how="left")[list(OUTSIDE_COLUMNS)]
    found = found.drop_duplicates()
    return found.sort_values(["date", "job", "joint", "welder"], ignore_index=True)


def outside_of(work: pd.DataFrame, papers: Papers) -> pd.DataFrame:
    """Return the pieces of work that no certificate covered on the day, with the reason.

    Parameters
    ----------
    work : DataFrame
        As :func:`ndtstats.qualification.cover.pieces` returns it.
    papers : Papers
        What is known of the certificates.

    Returns
    -------
    DataFrame
        The rows of ``work``, with ``certificate`` and ``reason``.
    """
    spans = papers.spans()
    tickets = papers.qualifications
    bad = work[~covered(work, tickets, spans)].copy()
    number, kinds = kinds_of(bad)
    days = bad.assign(kind=number)[["kind", "date"]].drop_duplicates(ignore_index=True)
    nearest = _nearest(days, matched(kinds, tickets), spans)
    told = _told(nearest.merge(kinds, left_on="kind", right_index=True), tickets)
    told = told[["kind", "date", "certificate", "reason"]]
    merged = bad.assign(kind=number).reset_index(names="row").merge(told, on=["kind", "date"])
    return merged.set_index("row").rename_axis(None).drop(columns="kind").sort_index()


def _nearest(days: pd.DataFrame, pairs: pd.DataFrame, spans: pd.DataFrame) -> pd.DataFrame:
    """Return for each kind and day the certificate that comes nearest to covering it.

    That of the right process with the least out of range; of several, the one that was in force, or
    else lapsed last. ``begins`` and ``ends`` are the last span of it that begins by the day.
    """
    lacking = (~pairs[list(FITS.values())]).sum(axis="columns")
    # Another process is another trade: no range of it comes near.
    pairs = pairs.assign(lacking=lacking)[pairs["process_fits"]]
    tried = days.merge(pairs, on="kind").reset_index(names="pair")
    held = tried[["pair", "ticket", "date"]].merge(spans, on="ticket")
    held = held[held["begins"] <= held["date"]].sort_values(["pair", "begins"])
    last = held.drop_duplicates("pair", keep="last").set_index("pair")
    tried = tried.join(last[["begins", "ends", "because"]])
    tried = tried.assign(
        unborn=tried["begins"].isna(), open_end=tried["ends"].fillna(pd.Timestamp("2262-01-01"))
    )
    order = ["kind", "date", "lacking", "unborn", "open_end", "ticket"]
    tried = tried.sort_values(order, ascending=[True, True, True, True, False, True])
    best = tried.drop_duplicates(["kind", "date"]).drop(columns=["pair", "unborn", "open_end"])
    return days.merge(best, on=["kind", "date"], how="left")


def _told(nearest: pd.DataFrame, tickets: pd.DataFrame) -> pd.DataFrame:
    """Return the nearest certificates with the reason in words."""
    named = tickets["certificate"].reindex(nearest["ticket"]).set_axis(nearest.index)
    some = nearest["welder"].isin(tickets["welder"])
    ended = nearest["ends"].dt.strftime("%Y-%m-%d").astype("str")
    cases: list[tuple[Any, Any]] = [
        (~some, "no certificate of " + nearest["welder"] + " is in the register"),
        (named.isna(), "no certificate for process " + nearest["process"].fillna("?")),
        (nearest["lacking"] > 0, named + " does not cover " + _beyond(nearest)),
        (nearest["begins"].isna(), named + " was not in force yet"),
    ]
    because = nearest["because"].map(_LAPSED).astype("str")
    lapsed = named + " was in force until " + ended + " only: " + because
    reason = np.select([case for case, _ in cases], [text for _, text in cases], lapsed)
    return nearest.assign(certificate=named, reason=pd.Series(reason, nearest.index, dtype="str"))


def _beyond(nearest: pd.DataFrame) -> "pd.Series[str]":
    """Return in words what of the work is out of a certificate's range."""
    words = pd.Series("", index=nearest.index, dtype="str")
    for name, fits in FITS.items():
        value = nearest[name]
        text = value.map("{:g} mm".format) if name == "thickness_mm" else value.fillna("?")
        out = nearest[fits].eq(other=False)
        words = words.where(~out, words + f", {_WORDS[name]}" + text.astype("str"))
    return words.str.removeprefix(", ")
