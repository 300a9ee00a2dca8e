"""What several pages ask of the stages, and what stands where there is no answer."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pandas as pd

from ndtstats import __version__
from ndtstats.errors import UseError
from ndtstats.planning import Worth, plan_worth
from ndtstats.rates import compare_welders, rates, trend_of
from ndtstats.rates.compare import Comparison
from ndtstats.rates.hidden import Hidden, hidden
from ndtstats.rates.trend_charts import Trend
from ndtstats.register import Register
from ndtstats.report import formatting as show
from ndtstats.rules import Rules, rules_in_force
from ndtstats.words import METHODS

#: The method of a page where nothing was examined yet.
_USUAL = "RT"
#: What is hidden is said with this probability: fewer than so many.
HIDDEN_LEVEL = 0.90
#: Qualifications that lapse within so many days are told.
LAPSE_DAYS = 60


def moment_of(register: Register, as_of: datetime | None) -> datetime:
    """Return the instant of which a page speaks: the one asked for, else the last change.

    Not the clock's: the same register gives the same page.
    """
    return as_of or register.latest_time() or datetime(1970, 1, 1, tzinfo=UTC)


def usual_method(register: Register, job: str | None, as_of: datetime) -> str:
    """Return the method used most, other than by eye."""
    columns = register.table("examinations", job=job, as_of=as_of, columns=["method"])
    others = columns["method"][columns["method"] != "VT"].value_counts()
    return str(others.index[0]) if len(others) else _USUAL


def method_name(method: str) -> str:
    """Return the name of a method.

    Examples
    --------
    >>> method_name("RT")
    'radiography (RT)'
    """
    return f"{METHODS[method]} ({method})" if method in METHODS else method


def title_of(register: Register, job: str, as_of: datetime) -> str:
    """Return what the job is called besides its number; "" if it has no name."""
    return str(register.table("jobs", job=job, as_of=as_of)["title"].fillna("").iloc[0])


@dataclass(frozen=True, slots=True)
class Rated:
    """How often welds of a job are rejected by one method.

    Attributes
    ----------
    method : str
        The method.
    basis : {"unbiased", "described"}
        Of ``total`` and ``welders``.
    total : Series or None
        Rate of all together, as a row of :func:`ndtstats.rates.rates`; None: nothing examined.
    welders, described : DataFrame
        By welder on that basis, and of everything examined.
    methods : DataFrame
        By method, of everything examined.
    comparison : Comparison
        Welders side by side.
    trend : Trend
        Charts by month.
    """

    method: str
    basis: str
    total: "pd.Series[Any] | None"
    welders: pd.DataFrame
    described: pd.DataFrame
    methods: pd.DataFrame
    comparison: Comparison
    trend: Trend

    @property
    def usual(self) -> float:
        """The rate of all together; 0 where nothing was examined."""
        return 0.0 if self.total is None else float(self.total["rate"])


def rated(register: Register, job: str, method: str, level: float, as_of: datetime) -> Rated:
    """Return how often welds of a job are rejected."""
    asked: dict[str, Any] = {"job": job, "as_of": as_of, "level": level}
    welders = rates(register, by=("welder",), method=method, **asked)
    methods = rates(register, by=("method",), **asked)
    basis = basis_of(welders)
    return Rated(
        method=method,
        basis=basis,
        total=total_of(methods, method, basis),
        welders=welders[welders["basis"] == basis],
        described=welders[welders["basis"] == "described"],
        methods=methods[methods["basis"] == "described"],
        comparison=compare_welders(register, method=method, **asked),
        trend=trend_of(register, method=method, job=job, as_of=as_of),
    )


def basis_of(table: pd.DataFrame) -> str:
    """Return the better basis that a table of rates has."""
    return "unbiased" if (table["basis"] == "unbiased").any() else "described"


def total_of(methods: pd.DataFrame, method: str, basis: str) -> "pd.Series[Any] | None":
    """Return the rate of one method from rates by method."""
    rows = methods[(methods["method"] == method) & (methods["basis"] == basis)]
    return None if rows.empty else rows.iloc[0]


def hidden_of(
    register: Register, job: str | None, method: str, by: str, as_of: datetime
) -> Hidden | None:
    """Return what is likely hidden; None where the method examined nothing."""
    try:
        return hidden(
            register, method=method, by=(by,), level=HIDDEN_LEVEL, job=job, as_of=as_of
        )  # fmt: skip
    except UseError:
        return None


def worth_of(register: Register, job: str, rules: Rules | None, as_of: datetime) -> Worth | None:
    """Return what exposures buy; None where no plan by the rules in force looks inside a weld."""
    if rules is None:
        return None
    try:
        return plan_worth(register, job=job, rules=rules, as_of=as_of)
    except UseError:
        return None


def origin(register: Register, jobs: list[str], as_of: datetime) -> tuple[tuple[str, str], ...]:
    """Return hashes, seeds and versions that a page about some jobs rests on."""
    of_jobs = [line for job in jobs for line in _of_job(register, job, as_of, len(jobs) > 1)]
    return (
        ("as of", show.instant(as_of)),
        ("data SHA-256", register.data_sha256(as_of)),
        *of_jobs,
        ("made by", f"ndtstats {__version__}"),
    )


def _of_job(
    register: Register, job: str, as_of: datetime, named: bool
) -> tuple[tuple[str, str], ...]:
    rules = rules_in_force(register, job, as_of)
    plans = register.table("plans", job=job, as_of=as_of)
    seeds: list[Any] = [
        f"{plan} seed {seed}" for plan, seed in zip(plans["plan"], plans["seed"], strict=True)
    ]
    of = f" of job {job}" if named else ""
    return (
        (f"rules in force{of}", f"{rules.title}; {rules.file.follows}" if rules else "none"),
        (f"rules SHA-256{of}", rules.sha256 if rules else "none"),
        (f"plans{of}", ", ".join(seeds) or "none"),
    )
