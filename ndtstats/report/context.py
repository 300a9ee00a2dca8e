"""What stands on a page: gathered from the other stages, decided by none of this."""

from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

import pandas as pd

from ndtstats import __version__
from ndtstats.errors import UseError
from ndtstats.escalation import owed
from ndtstats.escalation import sentence as owed_sentence
from ndtstats.extent import extent
from ndtstats.extent import sentence as extent_sentence
from ndtstats.planning import Worth, plan_worth
from ndtstats.progress import Progress, silent
from ndtstats.rates import rates, set_aside
from ndtstats.register import Register, require_job
from ndtstats.report import formatting as show
from ndtstats.report import sentences
from ndtstats.report.joints import Joint, Zone, strips_of
from ndtstats.report.sentences import Decision
from ndtstats.rules import Rules, rules_in_force

#: Rows of a table on the page; the rest is counted.
MOST_ROWS = 200
#: Rows of the register that one line of the warnings names.
MOST_NAMED = 12
#: Places that one owed item names.
MOST_PLACES = 6

#: In this order the parts of what is owed for one reject are told.
_OWED_ORDER = ("repair", "re-examine", "extra", "whole lot")
_CAUSE = ["because", "procedure", "state"]


@dataclass(frozen=True, slots=True)
class Owed:
    """What one cause asks for: ``items`` are the rows of the owed table that name it."""

    because: str
    procedure: str
    state: str
    items: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class QaPage:
    """Everything on the page for the welding QA lead.

    Attributes
    ----------
    job, title : str
        The job, and what it is.
    as_of : datetime
        The instant of which the page speaks.
    headline : str
        The sentence at the top.
    decisions : tuple of Decision
        What needs a decision, what is owed first.
    basis : str
        "unbiased" or "described": the basis of the rates shown.
    level, method
        Confidence level of all bounds; method of the rates shown.
    total_rate : float
        Rate of all together on that basis.
    welders, trend : DataFrame
        Rates on that basis, as :func:`ndtstats.rates.rates` gives them; ``described`` those of
        everything examined. ``apart`` and ``others`` say them in words.
    aside : DataFrame
        Repairs, re-shoots and spots not done.
    extents : DataFrame
        As :func:`ndtstats.extent.extent` gives them, with ``extent_sentence``.
    owed : tuple of Owed
        Cause by cause; ``owed_left`` causes are not listed; ``owed_sentence`` counts them all.
    warnings : DataFrame
        One row for each kind and file: ``reason``, ``remedy``, ``file``, ``count``, ``rows``,
        ``values``; ``warnings_number`` counts the single ones.
    joints : tuple of Joint
        Those with a strip picture; ``joints_left`` more were examined.
    zones : tuple of Zone
        Those with anything planned, examined or owed; ``zones_left`` more are not drawn.
    worth : Worth or None
        What exposures buy; None where no plan by the rules in force looks inside a weld.
    provenance : tuple of (str, str)
        Hashes, seeds, versions.
    """

    job: str
    title: str
    as_of: datetime
    headline: str
    decisions: tuple[Decision, ...]
    basis: str
    level: float
    method: str
    total_rate: float
    welders: pd.DataFrame
    described: pd.DataFrame
    trend: pd.DataFrame
    apart: str
    others: str
    aside: pd.DataFrame
    extents: pd.DataFrame
    extent_sentence: str
    owed: tuple[Owed, ...]
    owed_left: int
    owed_sentence: str
    warnings: pd.DataFrame
    warnings_number: int
    joints: tuple[Joint, ...]
    joints_left: int
    zones: tuple[Zone, ...]
    zones_left: int
    worth: Worth | None
    provenance: tuple[tuple[str, str], ...]


def qa_page(
    register: Register,
    *,
    job: str | None = None,
    method: str | None = None,
    level: float = 0.95,
    as_of: datetime | None = None,
    progress: Progress = silent,
) -> QaPage:
    """Return the page for the welding QA lead.

    Parameters
    ----------
    job : str, optional
        The job; the only one if left out.
    method : str, optional
        Method of the rates; by default the volumetric or surface method used most.
    level : float
        Confidence level of all bounds.
    as_of : datetime, optional
        What was known then; by default when the register last changed, so that the same register
        gives the same page.
    progress : Progress
        Told as the work goes on.
    """
    job = require_job(register, job, as_of)
    moment = as_of or register.latest_time() or datetime(1970, 1, 1, tzinfo=UTC)
    register = register.snapshot(moment)
    chosen = method or _usual_method(register, job, moment)
    asked: dict[str, Any] = {"job": job, "as_of": moment, "level": level}
    by_welder = rates(register, by=("welder",), method=chosen, **asked)
    progress("trend", 2, 6)
    by_month = rates(register, by=("month",), method=chosen, **asked)
    by_method = rates(register, by=("method",), **asked)
    basis = "unbiased" if (by_welder["basis"] == "unbiased").any() else "described"
    total = _total(by_method, chosen, basis)
    total_rate = float(total["rate"]) if total is not None else 0.0
    welders = by_welder[by_welder["basis"] == basis]
    progress("what is owed", 3, 6)
    items = owed(register, job=job, as_of=moment)
    progress("extents", 4, 6)
    rules = rules_in_force(register, job, moment)
    extents = extent(register, job=job, as_of=moment) if rules else pd.DataFrame()
    extent_said = extent_sentence(extents) if len(extents) else "No rules are in force."
    progress("joints", 5, 6)
    strips = strips_of(register, job, items, moment)
    warnings = register.table("warnings", job=job, as_of=moment)
    causes, causes_left = _causes(items)
    rate_said = sentences.rate_sentence(job, chosen, total)
    headline = f"{rate_said} {owed_sentence(items)} {sentences.extent_part(extents)}"
    return QaPage(
        job=job,
        title=_title(register, job, moment),
        as_of=moment,
        headline=headline.strip(),
        decisions=sentences.decisions(
            owed=owed_sentence(items), extents=extents, extent=extent_said,
            planned=strips.planned, warnings=len(warnings),
        ),
        basis=basis,
        level=level,
        method=chosen,
        total_rate=total_rate,
        welders=welders,
        described=by_welder[by_welder["basis"] == "described"],
        trend=by_month[by_month["basis"] == basis],
        apart=sentences.apart_sentence(welders, total_rate, level),
        others=sentences.others_sentence(by_method[by_method["basis"] == "described"], chosen),
        aside=set_aside(register, method=chosen, **asked),
        extents=extents,
        extent_sentence=extent_said,
        owed=causes,
        owed_left=causes_left,
        owed_sentence=owed_sentence(items),
        warnings=_kinds(warnings),
        warnings_number=len(warnings),
        joints=strips.joints,
        joints_left=strips.left,
        zones=strips.zones,
        zones_left=strips.zones_left,
        worth=_worth(register, job, rules, moment),
        provenance=_provenance(register, job, moment),
    )  # fmt: skip


def _worth(register: Register, job: str, rules: Rules | None, as_of: datetime) -> Worth | None:
    if rules is None:
        return None
    try:
        return plan_worth(register, job=job, rules=rules, as_of=as_of)
    except UseError:
        return None


def _title(register: Register, job: str, as_of: datetime) -> str:
    title = register.table("jobs", job=job, as_of=as_of)["title"].fillna("")
    return str(title.iloc[0])


def _usual_method(register: Register, job: str, as_of: datetime) -> str:
    methods = register.table("examinations", job=job, as_of=as_of, columns=["method"])["method"]
    others = methods[methods != "VT"]
    return str(others.value_counts().index[0]) if len(others) else "RT"


def _total(by_method: pd.DataFrame, method: str, basis: str) -> "pd.Series[Any] | None":
    rows = by_method[(by_method["method"] == method) & (by_method["basis"] == basis)]
    return None if rows.empty else rows.iloc[0]


def _causes(items: pd.DataFrame) -> tuple[tuple[Owed, ...], int]:
    """Return the owed items by what caused them, and how many causes are beyond the page."""
    if items.empty:
        return (), 0
    rank = items["what"].map({what: n for n, what in enumerate(_OWED_ORDER)})
    ordered = items.assign(rank=rank).sort_values([*_CAUSE, "rank", "item"], kind="stable")
    number = ordered.groupby(_CAUSE).ngroup()
    shown = ordered[number < MOST_ROWS].to_dict("records")
    cause = itemgetter(*_CAUSE)
    causes = tuple(
        Owed(because, procedure, state, tuple(_item(row) for row in rows))
        for (because, procedure, state), rows in groupby(shown, key=cause)
    )
    return causes, int(number.max()) + 1 - len(causes)


def _item(row: dict[Any, Any]) -> dict[str, Any]:
    places = row["places"]
    return {
        "what": row["what"], "count": row["count"], "round": row["round"], "lot": row["lot"],
        "places": places[:MOST_PLACES], "more": max(len(places) - MOST_PLACES, 0),
    }  # fmt: skip


def _kinds(warnings: pd.DataFrame) -> pd.DataFrame:
    """Return warnings with those of one kind and file together."""
    told = warnings.assign(
        file=warnings["file"].astype("str").fillna("")
        + (", sheet " + warnings["sheet"].astype("str")).fillna(""),
        value=warnings["value"].astype("str").fillna(""),
    )
    kinds = told.fillna({"reason": "", "remedy": "", "column": ""}).groupby(
        ["code", "column", "reason", "remedy", "file"], sort=False
    )
    return kinds.agg(
        count=("row", "size"),
        rows=("row", lambda rows: _named(rows.dropna().astype(int))),
        values=("value", lambda values: _named(values.drop_duplicates())),
    ).reset_index()


def _named(values: "pd.Series[Any]") -> str:
    shown = ", ".join(str(value) for value in values.head(MOST_NAMED))
    more = len(values) - MOST_NAMED
    return f"{shown} and {more:,} more" if more > 0 else shown


def _provenance(register: Register, job: str, as_of: datetime) -> tuple[tuple[str, str], ...]:
    rules = rules_in_force(register, job, as_of)
    plans = register.table("plans", job=job, as_of=as_of)
    seeds: list[Any] = [
        f"{plan} seed {seed}" for plan, seed in zip(plans["plan"], plans["seed"], strict=True)
    ]
    return (
        ("as of", show.instant(as_of)),
        ("data SHA-256", register.data_sha256(as_of)),
        ("rules in force", f"{rules.title}; {rules.file.follows}" if rules else "none"),
        ("rules SHA-256", rules.sha256 if rules else "none"),
        ("plans", ", ".join(seeds) or "none"),
        ("made by", f"ndtstats {__version__}"),
    )
