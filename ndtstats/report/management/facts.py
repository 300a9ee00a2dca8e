"""What the page for management says: gathered from the stages, decided by none of this."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.errors import UseError
from ndtstats.escalation import owed
from ndtstats.extent import extent
from ndtstats.planning import Worth
from ndtstats.progress import Progress, silent
from ndtstats.qualification import lapsing
from ndtstats.rates import compare_welders, rates, trend_of
from ndtstats.rates.compare import FACTORS, Comparison
from ndtstats.rates.hidden import Hidden
from ndtstats.rates.trend_charts import Trend
from ndtstats.register import Register, jobs_known
from ndtstats.release import releases, releases_table
from ndtstats.report import gather
from ndtstats.request.open_spots import open_spots
from ndtstats.rules import rules_in_force

#: What is owed and costs an examination; what is owed and costs a repair.
_EXAMINATIONS, _REPAIRS = ("extra", "re-examine", "whole lot"), ("repair",)


@dataclass(frozen=True, slots=True)
class Costs:
    """What one examination other than by eye, and one repair, costs; None: not known.

    Raises
    ------
    UseError
        If a cost is below 0.
    """

    per_exposure: float | None = None
    per_repair: float | None = None
    currency: str = ""

    def __post_init__(self) -> None:
        for what, cost in (("an exposure", self.per_exposure), ("a repair", self.per_repair)):
            if cost is not None and not cost >= 0:
                raise UseError(f"{what} cannot cost {cost:g}; write a number of 0 or more")


@dataclass(frozen=True, slots=True)
class JobFacts:
    """One job on the page for management.

    Attributes
    ----------
    job, title, method : str
        The job, what it is, and the method its rates are of.
    total : Series or None
        Rate of all its welds; None where nothing was examined.
    months : DataFrame
        Rates by month on the same basis.
    extents : DataFrame
        As :func:`ndtstats.extent.extent` gives them; empty where no rules are in force.
    owed : DataFrame
        As :func:`ndtstats.escalation.owed` gives it.
    made, repaired : int
        Examinations other than by eye, and repairs that were examined again.
    planned : int
        Exposures that are planned and not made yet, those that are owed left out.
    worth : Worth or None
        What the planned exposures should find.
    zones : DataFrame
        As :func:`ndtstats.release.releases_table` gives it.
    """

    job: str
    title: str
    method: str
    total: "pd.Series[Any] | None"
    months: pd.DataFrame
    extents: pd.DataFrame
    owed: pd.DataFrame
    made: int
    repaired: int
    planned: int
    worth: Worth | None
    zones: pd.DataFrame

    @property
    def owed_examinations(self) -> int:
        """How many examinations are owed."""
        return int(self.owed.loc[self.owed["what"].isin(_EXAMINATIONS), "count"].sum())

    @property
    def owed_repairs(self) -> int:
        """How many repairs are owed."""
        return int(self.owed.loc[self.owed["what"].isin(_REPAIRS), "count"].sum())

    @property
    def expected_repairs(self) -> float:
        """How many rejectable imperfections the planned exposures should find."""
        if self.worth is None or not self.worth.planned:
            return 0.0
        return float(self.worth.at([self.worth.planned])["found"].iloc[0])


@dataclass(frozen=True, slots=True)
class ManagementFacts:
    """Everything on the page for management.

    Attributes
    ----------
    as_of : datetime
        The instant of which the page speaks.
    level : float
        Confidence level of all bounds, except of what is hidden.
    method : str
        Method of the comparisons; rates of a job may be of another.
    jobs : tuple of JobFacts
        In the order in which they came.
    total : Series or None
        Rate of all jobs together by that method.
    welders, between : Comparison
        Welders, and jobs, side by side.
    trend : Trend
        Signals by welder.
    works_on : Series
        Jobs of each welder, as a text, by his stamp.
    hidden : Hidden or None
        What is likely hidden, by job.
    lapsing : DataFrame
        Certificates that lapse within :data:`gather.LAPSE_DAYS`.
    costs : Costs
        As given.
    origin : tuple of (str, str)
        Hashes, seeds, versions.
    """

    as_of: datetime
    level: float
    method: str
    jobs: tuple[JobFacts, ...]
    total: "pd.Series[Any] | None"
    welders: Comparison
    between: Comparison
    trend: Trend
    works_on: "pd.Series[str]"
    hidden: Hidden | None
    lapsing: pd.DataFrame
    costs: Costs
    origin: tuple[tuple[str, str], ...]


def management_facts(
    register: Register,
    *,
    as_of: datetime | None = None,
    method: str | None = None,
    level: float = 0.95,
    costs: Costs | None = None,
    progress: Progress = silent,
) -> ManagementFacts:
    """Return everything that stands on the page; parameters as for :func:`management_page`."""
    moment = gather.moment_of(register, as_of)
    register = register.snapshot(moment)
    names = jobs_known(register, moment)
    if not names:
        raise UseError("the register has no jobs yet; load them with: ndtstats load jobs FILE")
    method = method or gather.usual_method(register, None, moment)
    asked: dict[str, Any] = {"method": method, "level": level, "as_of": moment}
    # One job alone is compared with none, whatever was welded there.
    factors = FACTORS if len(names) > 1 else ()
    between = compare_welders(register, by="job", factors=factors, **asked)
    jobs = []
    for number, name in enumerate(names):
        progress(f"job {name}", number, len(names))
        jobs.append(_job(register, name, level, moment))
    return ManagementFacts(
        as_of=moment,
        level=level,
        method=method,
        jobs=tuple(jobs),
        total=_total(register, asked),
        welders=compare_welders(register, limit=_usual(between), **asked),
        between=between,
        trend=trend_of(register, method=method, as_of=moment),
        works_on=_works_on(register, moment),
        hidden=gather.hidden_of(register, None, method, "job", moment),
        lapsing=lapsing(register, moment.date(), gather.LAPSE_DAYS, as_of=moment),
        costs=costs or Costs(),
        origin=gather.origin(register, names, moment),
    )


def _total(register: Register, asked: dict[str, Any]) -> "pd.Series[Any] | None":
    table = rates(register, by=("method",), **asked)
    return gather.total_of(table, asked["method"], gather.basis_of(table))


def _usual(between: Comparison) -> float | None:
    """Return the share of rejected spots of all jobs; None where it tells nobody apart."""
    rejected, examined = (between.table[name].sum() for name in ("rejected", "examined"))
    return float(rejected / examined) if 0 < rejected < examined else None


def _job(register: Register, job: str, level: float, as_of: datetime) -> JobFacts:
    method = gather.usual_method(register, job, as_of)
    asked: dict[str, Any] = {"job": job, "as_of": as_of}
    months = rates(register, by=("month",), method=method, level=level, **asked)
    methods = rates(register, by=("method",), method=method, level=level, **asked)
    basis = gather.basis_of(methods)
    rules = rules_in_force(register, job, as_of)
    rows = register.table("examinations", columns=["method", "round", "verdict"], **asked)
    made = rows[(rows["method"] != "VT") & (rows["verdict"] != "not done")]
    again = (made["round"] > 0) & made["verdict"].isin(["accept", "reject"])
    return JobFacts(
        job=job,
        title=gather.title_of(register, job, as_of),
        method=method,
        total=gather.total_of(methods, method, basis),
        months=months[months["basis"] == basis],
        extents=extent(register, **asked) if rules else pd.DataFrame(columns=["state"]),
        owed=owed(register, **asked),
        made=len(made),
        repaired=int(again.sum()),
        planned=_planned(register, job, as_of),
        worth=gather.worth_of(register, job, rules, as_of),
        zones=releases_table(releases(register, **asked)),
    )


def _planned(register: Register, job: str, as_of: datetime) -> int:
    try:
        waiting = open_spots(register, job=job, as_of=as_of)
    except UseError:
        return 0
    return int(waiting.loc[waiting["part"] != "extra", "exposures"].sum())


def _works_on(register: Register, as_of: datetime) -> "pd.Series[str]":
    made = register.table("deposits", as_of=as_of, columns=["welder", "job"])
    each = made[["welder", "job"]].drop_duplicates().sort_values(["welder", "job"])
    named: pd.Series[str] = each.groupby("welder")["job"].agg(", ".join)
    return named
