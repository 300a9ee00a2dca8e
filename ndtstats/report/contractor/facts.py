"""What the page for the contractor says: gathered from the stages, decided by none of this.

The reading of images stays blind: no verdict on a weld, no welder and no reason why a place was
chosen gets in here.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pandas as pd

from ndtstats.rates.readings import Readers, readers_agree
from ndtstats.register import Register, jobs_known, require_job
from ndtstats.report import gather
from ndtstats.report.origins import origin_without_seeds
from ndtstats.request.turnaround import (
    EXAMINED,
    asked_and_answered,
    corrections,
    image_quality,
    states_counted,
    waiting_days,
)
from ndtstats.statistics.waiting import answered_within, days_until

#: Examinations that are the contractor's: what the yard sees and tests itself is left out.
METHODS = ("RT", "UT", "MT", "PT")

_IMAGES = ("job", "joint", "method", "from_mm", "to_mm", "verdict", "date", "report", "exposure",
           "technician", "remark")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Turnaround:
    """How long requests wait for their examination.

    Attributes
    ----------
    curve : DataFrame
        Of :func:`ndtstats.statistics.waiting.answered_within`.
    examined, waiting : int
        How many were examined after they were asked for, and how many still wait.
    before : int
        Places answered by images that were taken before they were asked for.
    half, most : (float, float, float)
        Days within which half, and nine in ten, are examined, with bounds; infinite where so many
        are not examined yet.
    oldest_days : float
        Days that the oldest open request has waited; missing where none is open.
    """

    curve: pd.DataFrame
    examined: int
    waiting: int
    before: int
    half: tuple[float, float, float]
    most: tuple[float, float, float]
    oldest_days: float


@dataclass(frozen=True, slots=True)
class ContractorFacts:
    """Everything on the page for the contractor.

    Attributes
    ----------
    jobs : tuple of str
        Those of which it speaks; ``job`` is the one asked for, "" for all.
    as_of : datetime
        The instant of which the page speaks.
    level : float
        Confidence level of all bounds.
    total : Series
        Exposures taken again, of all (:func:`ndtstats.request.turnaround.image_quality`);
        ``months``, ``methods``, ``technicians`` the same part by part.
    again : DataFrame
        Each image that was no good: its report, place and reason.
    states : Series
        How many spots stand in each state.
    asked : DataFrame
        As :func:`ndtstats.request.turnaround.asked_and_answered` gives them, those still open with
        ``waited`` days.
    turnaround : Turnaround
        How long it takes.
    readers : Readers or None
        Whether readers agree; None where no readings were given.
    files : DataFrame
        Files of examinations, with what each corrected and left out.
    origin : tuple of (str, str)
        Hashes and versions.
    """

    job: str
    jobs: tuple[str, ...]
    as_of: datetime
    level: float
    total: "pd.Series[Any]"
    months: pd.DataFrame
    methods: pd.DataFrame
    technicians: pd.DataFrame
    again: pd.DataFrame
    states: "pd.Series[int]"
    asked: pd.DataFrame
    turnaround: Turnaround
    readers: Readers | None
    files: pd.DataFrame
    origin: tuple[tuple[str, str], ...]


def contractor_facts(
    register: Register,
    *,
    job: str | None = None,
    readings: pd.DataFrame | None = None,
    level: float = 0.95,
    as_of: datetime | None = None,
) -> ContractorFacts:
    """Return everything that stands on the page; parameters as for :func:`.contractor_page`."""
    one = None if job is None else require_job(register, job, as_of)
    moment = gather.moment_of(register, as_of)
    register = register.snapshot(moment)
    jobs = [one] if one else jobs_known(register, moment)
    images = register.table("examinations", job=one, as_of=moment, columns=_IMAGES)
    images = images[images["method"].isin(METHODS)]
    asked = asked_and_answered(register, job=one, as_of=moment)
    asked = asked[asked["method"].isin(METHODS)].reset_index(drop=True)
    today = pd.Timestamp(moment.astimezone(UTC).date())
    waited = (today - asked["asked_on"]).dt.days
    asked = asked.assign(waited=waited.where(asked["state"] == "open"))
    return ContractorFacts(
        job=one or "",
        jobs=tuple(jobs),
        as_of=moment,
        level=level,
        total=image_quality(images, level=level).iloc[0],
        months=image_quality(images, ["month"], level=level),
        methods=image_quality(images, ["method"], level=level),
        technicians=image_quality(images, ["technician", "method"], level=level),
        again=images[images["verdict"] == "re-shoot"].sort_values(["date", "id"]),
        states=states_counted(asked),
        asked=asked,
        turnaround=_turnaround(asked, today, level),
        readers=None if readings is None else readers_agree(readings, level=level),
        files=corrections(register.batches(moment)),
        origin=origin_without_seeds(register, jobs, moment),
    )


def _turnaround(asked: pd.DataFrame, today: pd.Timestamp, level: float) -> Turnaround:
    waiting = waiting_days(asked, today)
    curve = answered_within(waiting["days"], waiting["answered"], level=level)
    answered = int(waiting["answered"].sum())
    before = asked["state"].isin(EXAMINED) & (asked["days"] < 0)
    return Turnaround(
        curve=curve,
        examined=answered,
        waiting=len(waiting) - answered,
        before=int(before.sum()),
        half=days_until(curve, 0.5),
        most=days_until(curve, 0.9),
        oldest_days=float(asked["waited"].max()),
    )
