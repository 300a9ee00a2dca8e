"""What stands on a page: gathered from the other stages, decided by none of this."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pandas as pd

from ndtstats import __version__
from ndtstats.escalation import owed
from ndtstats.escalation import sentence as owed_sentence
from ndtstats.extent import extent
from ndtstats.extent import sentence as extent_sentence
from ndtstats.progress import Progress, silent
from ndtstats.rates import rates, set_aside
from ndtstats.rates.base import all_examinations, first_examinations, indications
from ndtstats.register import Register, require_job
from ndtstats.report import formatting as show
from ndtstats.request import match_examinations
from ndtstats.rules import rules_in_force

#: Joints that get a strip picture: those with rejects and open spots first.
MOST_STRIPS = 40
#: Rows of a table on the page; the rest is counted.
MOST_ROWS = 200
#: Fewer examinations than this are called a small sample: common practice, no source.
SMALL = 30


@dataclass(frozen=True, slots=True)
class Joint:
    """One joint with its strip picture: what was examined, found and is still planned."""

    name: str
    zone: str
    category: str
    length_mm: float
    examined: pd.DataFrame
    found: pd.DataFrame
    planned: pd.DataFrame


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
    basis : str
        "unbiased" or "described": the basis of the rates shown.
    welders, trend, extents, owed, aside, warnings : DataFrame
        The tables.
    joints : tuple of Joint
        Those with a strip picture; ``joints_left`` were examined and have none.
    provenance : tuple of (str, str)
        Hashes, seeds, versions.
    """

    job: str
    title: str
    as_of: datetime
    headline: str
    basis: str
    level: float
    method: str
    total_rate: float
    welders: pd.DataFrame
    described: pd.DataFrame
    trend: pd.DataFrame
    extents: pd.DataFrame
    extent_sentence: str
    owed: pd.DataFrame
    owed_sentence: str
    aside: pd.DataFrame
    warnings: pd.DataFrame
    warnings_left: int
    joints: tuple[Joint, ...]
    joints_left: int
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
    by_welder = rates(register, by=("welder",), method=chosen, job=job, as_of=moment, level=level)
    basis = "unbiased" if (by_welder["basis"] == "unbiased").any() else "described"
    progress("trend", 2, 6)
    by_month = rates(register, by=("month",), method=chosen, job=job, as_of=moment, level=level)
    total = rates(register, by=(), method=chosen, job=job, as_of=moment, level=level)
    progress("what is owed", 3, 6)
    items = owed(register, job=job, as_of=moment)
    progress("extents", 4, 6)
    rules = rules_in_force(register, job, moment)
    extents = extent(register, job=job, as_of=moment) if rules else pd.DataFrame()
    warnings = register.table("warnings", job=job, as_of=moment)
    progress("joints", 5, 6)
    joints, left = _joints(register, job, moment)
    jobs = register.table("jobs", job=job, as_of=moment)
    title = jobs["title"].fillna("").iloc[0]
    return QaPage(
        job=job,
        title=str(title),
        as_of=moment,
        headline=_headline(job, total, basis, items, extents, level, chosen),
        basis=basis,
        level=level,
        method=chosen,
        total_rate=float(total.loc[total["basis"] == basis, "rate"].sum()),
        welders=by_welder[by_welder["basis"] == basis],
        described=by_welder[by_welder["basis"] == "described"],
        trend=by_month[by_month["basis"] == basis],
        extents=extents,
        extent_sentence=extent_sentence(extents) if len(extents) else "No rules are in force.",
        owed=items,
        owed_sentence=owed_sentence(items),
        aside=set_aside(register, method=chosen, job=job, as_of=moment, level=level),
        warnings=warnings.head(MOST_ROWS),
        warnings_left=max(len(warnings) - MOST_ROWS, 0),
        joints=joints,
        joints_left=left,
        provenance=_provenance(register, job, moment),
    )


def _usual_method(register: Register, job: str, as_of: datetime) -> str:
    methods = register.table("examinations", job=job, as_of=as_of, columns=["method"])["method"]
    others = methods[methods != "VT"]
    return str(others.value_counts().index[0]) if len(others) else "RT"


def _headline(
    job: str,
    total: pd.DataFrame,
    basis: str,
    items: pd.DataFrame,
    extents: pd.DataFrame,
    level: float,
    method: str,
) -> str:
    rows = total[total["basis"] == basis]
    if rows.empty or rows["examined"].iloc[0] == 0:
        said = f"Nothing of job {job} has been examined by {method} yet."
    else:
        row = rows.iloc[0]
        how = (
            "the unbiased reject rate of its welds is"
            if basis == "unbiased"
            else "of what was examined, the reject rate is"
        )
        small = " That is a small sample." if row["examined"] < SMALL else ""
        said = (
            f"Job {job}, {method}: {row['rejected']:,.0f} of {row['examined']:,.0f} "
            f"{'spot' if row['examined'] == 1 else 'spots'} rejected at first examination; "
            f"{how} {show.percent(row['rate'])}, and with {level:.0%} confidence between "
            f"{show.percent(row['lower'])} and {show.percent(row['upper'])}.{small}"
        )
    short = int((extents["state"] == "short").sum()) if len(extents) else 0
    extent_said = (
        f" {show.count(short, 'extent rule')} {'is' if short == 1 else 'are'} short."
        if short
        else " All extents are met." if len(extents) else ""
    )  # fmt: skip
    return f"{said} {owed_sentence(items)}{extent_said}"


def _joints(register: Register, job: str, as_of: datetime) -> tuple[tuple[Joint, ...], int]:
    """Return the joints most worth a look with their pictures, and how many more were examined."""
    rows = all_examinations(register, job=job, method=None, as_of=as_of)
    rows = rows[rows["method"] != "VT"]
    first = first_examinations(register, job=job, as_of=as_of)
    found = indications(register, first, job=job, as_of=as_of)
    found = found.merge(first[["id", "joint", "method"]], on="id")
    spots = register.table("spots", job=job, as_of=as_of)
    answered = match_examinations(rows, spots)["spot"]
    open_spots = spots[~spots["spot"].isin(answered) & (spots["part"] != "reserve")]
    known = register.table("joints", job=job, as_of=as_of).set_index("joint")
    rejects = rows[rows["verdict"] == "reject"].groupby("joint").size()
    looked = rows.groupby("joint").size()
    order = pd.DataFrame({"rejects": rejects, "looked": looked}).fillna(0)
    order = order.sort_index().sort_values(["rejects", "looked"], ascending=False, kind="stable")
    picked = order.index[:MOST_STRIPS]
    joints = tuple(
        Joint(
            name=str(name),
            zone=str(known.loc[name, "zone"]),
            category=str(known.loc[name, "category"]),
            length_mm=float(known.loc[name, "length_mm"]),
            examined=rows[rows["joint"] == name].sort_values(["date", "from_mm"]),
            found=found[found["joint"] == name],
            planned=open_spots[open_spots["joint"] == name],
        )
        for name in picked
    )
    return joints, len(order) - len(picked)


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
