"""What the page for the QA lead says: gathered from the stages, decided by none of this."""

from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from ndtstats.escalation import owed
from ndtstats.extent import extent
from ndtstats.planning import Worth
from ndtstats.progress import Progress, silent
from ndtstats.qualification import lapsing
from ndtstats.rates import set_aside
from ndtstats.rates.hidden import Hidden
from ndtstats.register import Register, require_job
from ndtstats.release import warnings_of
from ndtstats.report import gather
from ndtstats.report.gather import Rated
from ndtstats.report.joints import Strips, strips_of
from ndtstats.rules import rules_in_force

_STEPS = 6


@dataclass(frozen=True, slots=True)
class QaFacts:
    """Everything on the page for the welding QA lead.

    Attributes
    ----------
    job, title : str
        The job, and what it is.
    as_of : datetime
        The instant of which the page speaks.
    level : float
        Confidence level of all bounds, except of what is hidden.
    rated : Rated
        How often welds are rejected, by welder and month.
    aside : DataFrame
        Repairs, re-shoots and spots not done (:func:`ndtstats.rates.set_aside`).
    hidden : Hidden or None
        What is likely hidden, by zone; None where the method examined nothing.
    extents : DataFrame
        As :func:`ndtstats.extent.extent` gives them; empty where no rules are in force.
    owed : DataFrame
        As :func:`ndtstats.escalation.owed` gives it.
    warnings : DataFrame
        The warnings that stand, as the register keeps them.
    lapsing : DataFrame
        Certificates of the job's welders that lapse within :data:`gather.LAPSE_DAYS`.
    strips : Strips
        Joints and zones to draw.
    worth : Worth or None
        What exposures buy; None where no plan by the rules in force looks inside a weld.
    origin : tuple of (str, str)
        Hashes, seeds, versions.
    """

    job: str
    title: str
    as_of: datetime
    level: float
    rated: Rated
    aside: pd.DataFrame
    hidden: Hidden | None
    extents: pd.DataFrame
    owed: pd.DataFrame
    warnings: pd.DataFrame
    lapsing: pd.DataFrame
    strips: Strips
    worth: Worth | None
    origin: tuple[tuple[str, str], ...]


def qa_facts(
    register: Register,
    *,
    job: str | None = None,
    method: str | None = None,
    level: float = 0.95,
    as_of: datetime | None = None,
    progress: Progress = silent,
) -> QaFacts:
    """Return everything that stands on the page; parameters as for :func:`qa_page`."""
    job = require_job(register, job, as_of)
    moment = gather.moment_of(register, as_of)
    register = register.snapshot(moment)
    method = method or gather.usual_method(register, job, moment)
    rated = gather.rated(register, job, method, level, moment)
    progress("what is hidden", 2, _STEPS)
    hidden = gather.hidden_of(register, job, method, "zone", moment)
    progress("what is owed", 3, _STEPS)
    items = owed(register, job=job, as_of=moment)
    progress("extents", 4, _STEPS)
    rules = rules_in_force(register, job, moment)
    extents = extent(register, job=job, as_of=moment) if rules else pd.DataFrame()
    progress("joints", 5, _STEPS)
    return QaFacts(
        job=job,
        title=gather.title_of(register, job, moment),
        as_of=moment,
        level=level,
        rated=rated,
        aside=set_aside(register, method=method, job=job, as_of=moment, level=level),
        hidden=hidden,
        extents=extents,
        owed=items,
        warnings=_warnings(register, job, moment),
        lapsing=_lapsing(register, job, moment),
        strips=strips_of(register, job, items, moment),
        worth=gather.worth_of(register, job, rules, moment),
        origin=gather.origin(register, [job], moment),
    )


def _warnings(register: Register, job: str, as_of: datetime) -> pd.DataFrame:
    waiting = warnings_of(register, job=job, as_of=as_of)["warning"]
    stored = register.table("warnings", as_of=as_of)
    return stored[("W" + stored["id"].astype("str")).isin(waiting)]


def _lapsing(register: Register, job: str, as_of: datetime) -> pd.DataFrame:
    made = register.table("deposits", job=job, as_of=as_of, columns=["welder"])
    found = lapsing(register, as_of.date(), gather.LAPSE_DAYS, as_of=as_of)
    return found[found["welder"].isin(made["welder"])]
