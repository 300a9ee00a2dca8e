"""Who may weld what on a day, what lapses soon, and what evidence there is: from the register."""

from datetime import date, datetime
from typing import Any

import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.places import filled_places
from ndtstats.qualification.papers import Papers, papers_of
from ndtstats.qualification.proof import (
    first_accepted,
    in_windows,
    looked_inside,
    made_by_all,
    shown_in,
    windows,
)
from ndtstats.qualification.validity import validity
from ndtstats.register import Register

#: What a certificate covers, as it is shown.
_COVERS = ["material", "joint_types", "positions", "thickness_min_mm", "thickness_max_mm"]

#: Columns of the evidence.
EVIDENCE_COLUMNS = (
    "welder", "certificate", "process", "window", "opens_on", "closes_on", "welds", "needed",
    "proven", "missing", "reports", "asks",
)  # fmt: skip

_ASKS = {
    "confirmation": "a signature that he worked in range; a tested weld is beyond dispute",
    "prolongation": "tested and accepted welds made in the window",
}


def certificates(register: Register, on: date, *, as_of: datetime | None = None) -> pd.DataFrame:
    """Return every certificate with its validity on a day and what it covers.

    Returns
    -------
    DataFrame
        Columns of :func:`ndtstats.qualification.validity.validity`, then ``name`` of the welder,
        ``material``, ``joint_types``, ``positions``, ``thickness_min_mm`` and ``thickness_max_mm``
        (blank: everything).
    """
    papers = papers_of(register, as_of)
    found = validity(papers.qualifications, papers.confirmations, papers.uses, on=on)
    names = register.table("welders", as_of=as_of).drop_duplicates("welder").set_index("welder")
    return found.assign(
        name=found["welder"].map(names["name"]), **papers.qualifications[_COVERS]
    ).sort_values(["welder", "process", "certificate"], ignore_index=True)


def may_weld(register: Register, on: date, *, as_of: datetime | None = None) -> pd.DataFrame:
    """Return who may weld what on a day: a row for each certificate that is in force.

    Parameters
    ----------
    register : Register
        The register.
    on : date
        The day.
    as_of : datetime, optional
        By what was known then.

    Returns
    -------
    DataFrame
        As :func:`certificates`.
    """
    found = certificates(register, on, as_of=as_of)
    return found[found["in_force"]].reset_index(drop=True)


def lapsing(
    register: Register, on: date, within_days: int, *, as_of: datetime | None = None
) -> pd.DataFrame:
    """Return the certificates in force on a day that lapse soon if nothing is done.

    Parameters
    ----------
    within_days : int
        Those whose last day in force is ``on`` or up to so many days later.

    Returns
    -------
    DataFrame
        As :func:`certificates`, what lapses first before the rest.
    """
    return soon(may_weld(register, on, as_of=as_of), on, within_days)


def require_welder(register: Register, welder: str, *, as_of: datetime | None = None) -> str:
    """Return a welder's stamp if the register knows it.

    Raises
    ------
    UseError
        If it does not.
    """
    known = register.table("welders", as_of=as_of, columns=["welder"])["welder"].tolist()
    if welder in known:
        return welder
    close = nearest(welder, known)
    hint = f'did you mean "{close}"?' if close else f"known: {', '.join(known[:9]) or 'none'}"
    raise UseError(f'welder "{welder}" is not in {register.name}; {hint}')


def soon(found: pd.DataFrame, on: date, within_days: int) -> pd.DataFrame:
    """Return those of some certificates that are in force on a day and lapse within so many."""
    last = pd.Timestamp(on) + pd.Timedelta(days=within_days)
    mine = found[found["in_force"] & (found["lapses_on"] <= last)]
    return mine.sort_values(["lapses_on", "welder", "certificate"], ignore_index=True)


def evidence(register: Register, on: date, *, as_of: datetime | None = None) -> pd.DataFrame:
    """Return for each window of each certificate the reports that serve, and what is missing.

    Parameters
    ----------
    register : Register
        The register.
    on : date
        The day; what was welded or examined later is not looked at.
    as_of : datetime, optional
        By what was known then.

    Returns
    -------
    DataFrame
        Columns :data:`EVIDENCE_COLUMNS`, what closes first before the rest: ``welds`` made in
        range, of which ``proven`` have an accepted volumetric report (``reports``: their numbers,
        parted by commas), of ``needed`` ones; ``asks`` says what the window is for. Which welds
        serve is told in :mod:`ndtstats.qualification.proof`.
    """
    papers = papers_of(register, as_of)
    due = windows(papers.qualifications, papers.confirmations, on=on)
    due = due.sort_values(["closes_on", "welder", "certificate", "window"], ignore_index=True)
    tables = {
        name: register.table(name, as_of=as_of) for name in ("deposits", "joints", "examinations")
    }
    return evidence_of(due, papers, **tables, on=on)


def evidence_of(
    due: pd.DataFrame,
    papers: Papers,
    *,
    deposits: pd.DataFrame,
    joints: pd.DataFrame,
    examinations: pd.DataFrame,
    on: date,
) -> pd.DataFrame:
    """Return the evidence in windows, as :func:`evidence` does, from frames.

    Parameters
    ----------
    due : DataFrame
        As :func:`ndtstats.qualification.proof.windows` returns it.
    papers : Papers
        The certificates.
    deposits, joints, examinations : DataFrame
        Tables of the register, of all jobs.
    on : date
        The day.
    """
    day = pd.Timestamp(on)
    made = made_by_all(deposits[deposits["date"] <= day], joints)
    fits = in_windows(due, made, papers.qualifications)
    fits = fits[fits["covered"]]
    seen = filled_places(examinations[examinations["date"] <= day], joints)
    accepted = first_accepted(looked_inside(seen))
    shown = shown_in(accepted, made, fits)
    shown = shown[shown["alone"]].assign(
        report=lambda rows: accepted["report"].reindex(rows["place"]).to_numpy(),
        date=lambda rows: accepted["date"].reindex(rows["place"]).to_numpy(),
    )
    closes = due["closes_on"].reindex(shown["number"]).set_axis(shown.index)
    shown = shown[shown["date"] <= closes]
    proven = shown.groupby("number")["weld"].nunique().reindex(due.index, fill_value=0)
    welds = made["weld"].reindex(fits["piece"]).set_axis(fits.index)
    return due.assign(
        welds=welds.groupby(fits["number"]).nunique().reindex(due.index, fill_value=0),
        proven=proven,
        missing=(due["needed"] - proven).clip(lower=0),
        reports=_listed(shown).reindex(due.index).fillna(""),
        asks=due["window"].map(_ASKS).astype("str"),
    )[list(EVIDENCE_COLUMNS)]


def _listed(shown: pd.DataFrame) -> "pd.Series[Any]":
    """Return the numbers of the reports of each window, in order."""
    reports = shown[["number", "report"]].drop_duplicates().sort_values(["number", "report"])
    return reports.groupby("number")["report"].agg(", ".join).astype("str")


def with_evidence(found: pd.DataFrame, proof: pd.DataFrame, on: date) -> pd.DataFrame:
    """Return certificates with the evidence that there is for each, and what is missing.

    Parameters
    ----------
    found : DataFrame
        As :func:`certificates` returns it.
    proof : DataFrame
        As :func:`evidence` returns it.
    on : date
        The day asked about.

    Returns
    -------
    DataFrame
        ``found`` with ``reports`` and ``missing`` of the window that is open: the prolongation, or
        else the confirmation; and ``evidence``, the same in words. Missing and blank where none is
        open.
    """
    opened = proof[proof["opens_on"] < pd.Timestamp(on)].sort_values("window", ascending=False)
    keys = ["welder", "certificate", "process"]
    opened = opened.drop_duplicates(keys)
    opened = opened.assign(evidence=_in_words(opened), missing=opened["missing"].astype("Int64"))
    return found.merge(opened[[*keys, "reports", "missing", "evidence"]], on=keys, how="left")


def _in_words(proof: pd.DataFrame) -> "pd.Series[str]":
    """Return evidence in words: a confirmation asks for work, a prolongation for tested welds."""
    proven = proof["proven"].astype("str")
    worked = proof["welds"].astype("str") + " in range, " + proven + " tested"
    asked = proven + " of " + proof["needed"].astype("str") + " tested"
    told = worked.where(proof["window"] == "confirmation", asked)
    return told + (": " + proof["reports"]).where(proof["reports"] != "", "")


def sentence(found: pd.DataFrame, out: pd.DataFrame, on: date, days: int) -> str:
    """Return in sentences who may weld, what lapses soon and what lies outside.

    Parameters
    ----------
    found : DataFrame
        As :func:`certificates` returns it.
    out : DataFrame
        As :func:`ndtstats.qualification.outside.outside` returns it.
    on : date
        The day asked about.
    days : int
        How far one looks ahead for what lapses.
    """
    return " ".join(part for part in (_may(found, on), _soon(found, on, days), _out(out)) if part)


def _may(found: pd.DataFrame, on: date) -> str:
    welders = found["welder"].unique()
    may = found.loc[found["in_force"], "welder"].nunique()
    if not len(welders):
        return (
            "The register holds no certificates; load them with: ndtstats load qualifications FILE"
        )
    if len(welders) == 1:
        return f"{welders[0]} may {'' if may else 'not '}weld on {on:%Y-%m-%d}."
    return f"{may} of {len(welders)} welders with a certificate may weld on {on:%Y-%m-%d}."


def _soon(found: pd.DataFrame, on: date, days: int) -> str:
    late = soon(found, on, days).drop_duplicates(["welder", "process"])
    if found.empty:
        return ""
    if late.empty:
        return f"Nothing lapses within {days} days."
    named = late["welder"] + " (" + late["process"] + ") on " + _text(late["lapses_on"])
    return f"Last day in force within {days} days: {_first(named, 3)}."


def _out(out: pd.DataFrame) -> str:
    joints = len(out[["job", "joint"]].drop_duplicates())
    stamps = pd.Series(sorted(out["welder"].unique()), dtype="str")
    where = "1 joint" if joints == 1 else f"{joints:,} joints"
    return f"Welded outside a qualification: {where}, by {_first(stamps, 5)}." if joints else ""


def _first(names: "pd.Series[str]", number: int) -> str:
    more = len(names) - number
    return ", ".join(names.head(number)) + (f" and {more} more" if more > 0 else "")


def _text(days: "pd.Series[Any]") -> "pd.Series[str]":
    text: pd.Series[str] = days.dt.strftime("%Y-%m-%d").astype("str")
    return text
