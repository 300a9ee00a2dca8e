"""Whether a zone may be released: yes, or the list of what stands in the way."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.planning.order import zones_within
from ndtstats.register import (
    Register,
    record_decisions,
    require_job,
)
from ndtstats.release.gates import GATES, SAID, Milestone
from ndtstats.release.obstacles import Job, obstacles
from ndtstats.release.walk import zones_asked

#: What is decided when a zone is not said to have a milestone of its own.
USUAL: Milestone = "hand over"

#: Digits of the handle by which an obstacle is named.
_DIGITS = 8


@dataclass(frozen=True, slots=True)
class Release:
    """The answer for one zone.

    Attributes
    ----------
    job, zone, milestone : str
        What was asked for.
    zones : tuple of str
        The zone and all zones in it.
    joints, length_mm : int, float
        The joints in them that are not cut out, and their length together.
    obstacles : DataFrame
        What stands in the way: ``handle``, ``check``, ``zone``, ``joint``, ``what``, ``clears``,
        in the order of the checks, then zone and joint.
    overridden : DataFrame
        What stood in the way and was overridden: the same, and ``decision``, ``person``,
        ``reason``.
    signed : DataFrame
        Who released the zone for this milestone before: ``decision``, ``person``, ``reason``,
        ``at``.
    later : DataFrame
        What stands in the way of a later milestone only, such as the leak test of a tank that is to
        be closed first; the same columns as ``obstacles``.
    """

    job: str
    zone: str
    milestone: Milestone
    zones: tuple[str, ...]
    joints: int
    length_mm: float
    obstacles: pd.DataFrame
    overridden: pd.DataFrame
    signed: pd.DataFrame
    later: pd.DataFrame

    @property
    def free(self) -> bool:
        """Whether nothing stands in the way."""
        return self.obstacles.empty


def release(
    register: Register,
    zone: str,
    *,
    job: str | None = None,
    milestone: Milestone | None = None,
    as_of: datetime | None = None,
) -> Release:
    """Return whether a zone may be released, and what stands in the way.

    Parameters
    ----------
    zone : str
        The zone; all zones in it are looked at as well.
    job : str, optional
        The job; the only one if left out.
    milestone : str, optional
        What it is to be released for; by default the zone's own milestone, else "hand over".
    as_of : datetime, optional
        The answer that was known then.

    Raises
    ------
    UseError
        If the job has no such zone.
    """
    job = require_job(register, job, as_of)
    known = Job(register.snapshot(as_of), job, as_of)
    inside = zones_asked(known.register, job, zone, as_of)
    return _answer(known, _in_order(known), zone, inside, milestone)


def releases(
    register: Register, *, job: str | None = None, as_of: datetime | None = None
) -> list[Release]:
    """Return the answer for every zone of a job, for its own milestone, in the order of the zones.

    Parameters as for :func:`release`.
    """
    job = require_job(register, job, as_of)
    known = Job(register.snapshot(as_of), job, as_of)
    found = _in_order(known)
    names = known.zones["zone"].astype(object)
    return [_answer(known, found, one, zones_within(known.zones, one), None) for one in names]


def releases_table(answers: list[Release]) -> pd.DataFrame:
    """Return one row a zone: ``zone``, ``milestone``, ``joints``, ``length_mm``, ``hindered``
    (how many things stand in the way), ``overridden``, ``state`` and ``checks`` (which).

    ``state`` is "released" (somebody signed, and nothing stands in the way now), "signed, but"
    (somebody signed, and something has come in since), "free" or "hindered".
    """  # noqa: D205  (a list of columns)
    rows = [
        {
            "job": one.job,
            "zone": one.zone,
            "milestone": one.milestone,
            "joints": one.joints,
            "length_mm": one.length_mm,
            "hindered": len(one.obstacles),
            "overridden": len(one.overridden),
            "state": _state(one),
            "checks": _counted(one.obstacles),
        }
        for one in answers
    ]
    names = [
        "job", "zone", "milestone", "joints", "length_mm", "hindered", "overridden", "state",
        "checks",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=names)


def _state(one: Release) -> str:
    if one.signed.empty:
        return "free" if one.free else "hindered"
    return "released" if one.free else "signed, but"


class _Listed(NamedTuple):
    """What stands in the way in a job, and at which rows it is told: of each zone, and of all.

    ``number`` is that of the handle of each row; ``asked`` says by milestone which rows it asks
    for.
    """

    rows: pd.DataFrame
    number: npt.NDArray[np.intp]
    asked: Mapping[str, npt.NDArray[np.bool_]]
    of_zone: Mapping[Any, Any]
    of_all: npt.NDArray[np.intp]

    def within(self, zones: list[str]) -> npt.NDArray[np.intp]:
        """Return at which rows it is told what stands in the way of some zones, each once."""
        rows = [self.of_zone[zone] for zone in zones if zone in self.of_zone]
        at = np.sort(np.concatenate([self.of_all, *rows]))
        _, first = np.unique(self.number[at], return_index=True)
        return at[np.sort(first)]


def _in_order(known: Job) -> _Listed:
    """Return everything that stands in the way in a job with its handle, in the order of a list."""
    found = obstacles(known)
    order = {check: place for place, check in enumerate(GATES["hand over"])}
    handles = [_handle(known.job, name) for name in found["name"]]
    listed = found.assign(
        handle=pd.Series(handles, found.index, dtype="str"), place=found["check"].map(order)
    ).sort_values(["place", "zone", "joint", "name"], ignore_index=True)
    rows = listed[["handle", "check", "zone", "joint", "what", "clears"]]
    return _Listed(
        rows,
        number=pd.factorize(rows["handle"])[0],
        asked={stone: rows["check"].isin(checks).to_numpy() for stone, checks in GATES.items()},
        of_zone=rows.groupby("zone").indices,
        of_all=np.flatnonzero(rows["zone"].isna()),
    )


def _answer(
    known: Job, found: _Listed, zone: str, inside: list[str], milestone: Milestone | None
) -> Release:
    own = known.milestone_of.get(zone)
    wanted: Milestone = milestone or (USUAL if pd.isna(own) else own)
    at = found.within(inside)
    asked = found.asked[wanted][at]
    stands = found.rows.take(at[asked])
    excused = _overrides(known, zone, wanted)
    passed = stands["handle"].isin(excused["handle"])
    lengths = known.lengths.reindex(inside).sum()
    return Release(
        job=known.job,
        zone=zone,
        milestone=wanted,
        zones=tuple(inside),
        joints=int(lengths["joints"]),
        length_mm=float(lengths["length_mm"]),
        obstacles=stands[~passed].reset_index(drop=True),
        overridden=stands[passed].merge(excused, on="handle"),
        signed=_signed(known, zone, wanted),
        later=found.rows.take(at[~asked]).reset_index(drop=True),
    )


def _handle(job: str, name: str) -> str:
    return hashlib.sha256(f"{job}\x1f{name}".encode()).hexdigest()[:_DIGITS]


def _subject(zone: str, milestone: Milestone) -> str:
    return f"zone {zone} for {milestone}"


def _decided(known: Job, kind: str, zone: str, milestone: Milestone) -> pd.DataFrame:
    none = np.empty(0, dtype=np.intp)
    return known.decisions.take(known.decided.get((kind, _subject(zone, milestone)), none))


def _overrides(known: Job, zone: str, milestone: Milestone) -> pd.DataFrame:
    found = _decided(known, "override", zone, milestone).drop_duplicates("detail", keep="last")
    return found.rename(columns={"detail": "handle"})[["handle", "decision", "person", "reason"]]


def _signed(known: Job, zone: str, milestone: Milestone) -> pd.DataFrame:
    found = _decided(known, "release", zone, milestone)
    return found[["decision", "person", "reason", "at"]].reset_index(drop=True)


def override(
    register: Register, answer: Release, *, person: str, reason: str, now: datetime
) -> list[str]:
    """Override what stands in the way, by name and with a reason, and return the decisions.

    Only what is in ``answer`` is overridden: what comes in later stands in the way again.

    Raises
    ------
    UseError
        If nothing stands in the way, or name or reason is blank.
    """
    if answer.free:
        raise UseError(f"nothing stands in the way of zone {answer.zone}; there is no override")
    handles = answer.obstacles["handle"].tolist()
    subject = _subject(answer.zone, answer.milestone)
    return record_decisions(
        register, kind="override", subjects=[subject] * len(handles), details=handles,
        job=answer.job, person=person, reason=reason, now=now,
    )  # fmt: skip


def sign(register: Register, answer: Release, *, person: str, reason: str, now: datetime) -> str:
    """Keep that a named person released the zone, and return the decision.

    Raises
    ------
    UseError
        If something stands in the way, or name or reason is blank.
    """
    if not answer.free:
        raise UseError(
            f"{sentence(answer)} It is released when nothing does, or by an override with a reason."
        )
    return record_decisions(
        register, kind="release", subjects=[_subject(answer.zone, answer.milestone)],
        job=answer.job, person=person, reason=reason, now=now,
    )[0]  # fmt: skip


def sentence(answer: Release) -> str:
    """Return the answer in a sentence."""
    done = SAID[answer.milestone]
    joints = "1 joint" if answer.joints == 1 else f"{answer.joints:,} joints"
    what = f"Zone {answer.zone} of job {answer.job} ({joints}, {answer.length_mm / 1000:,.1f} m)"
    if answer.free:
        excused = len(answer.overridden)
        if not excused:
            return f"{what} can be {done}: nothing stands in the way."
        things = "1 thing was" if excused == 1 else f"{excused:,} things were"
        return f"{what} can be {done}: {things} overridden by name, nothing else stands in the way."
    number = len(answer.obstacles)
    things = "1 thing stands" if number == 1 else f"{number:,} things stand"
    return f"{what} cannot be {done}: {things} in the way ({_counted(answer.obstacles)})."


def _counted(found: pd.DataFrame) -> str:
    kinds = found["check"].value_counts(sort=False)
    return ", ".join(f"{check} {number:,}" for check, number in kinds.items())
