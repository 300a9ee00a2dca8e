"""The intermittent welds of a job: what is wrong with their beads, and what was not measured."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.register import Register
from ndtstats.rules import standing
from ndtstats.visual.faults import KINDS, bead_sides, check_beads


@dataclass(frozen=True, slots=True)
class Intermittent:
    """What the measured beads of some joints amount to.

    Attributes
    ----------
    faults : DataFrame
        One row a fault: ``zone``, and the columns of :data:`ndtstats.visual.faults.COLUMNS`.
    sides : DataFrame
        One row a joint and side: ``zone``, and the columns of
        :func:`ndtstats.visual.pattern.shares`.
    not_measured : tuple of str
        Joints with beads specified of which none was measured.
    """

    faults: pd.DataFrame
    sides: pd.DataFrame
    not_measured: tuple[str, ...]


def intermittent(
    register: Register,
    *,
    job: str,
    joint: str | None = None,
    zones: Sequence[str] | None = None,
    as_of: datetime | None = None,
) -> Intermittent:
    """Return what is wrong with the beads of a job, and how much of the weld is effective.

    Parameters
    ----------
    job : str
        The job.
    joint : str, optional
        Only this joint.
    zones : sequence of str, optional
        Only joints of these zones.
    as_of : datetime, optional
        What was known then.

    Raises
    ------
    UseError
        If there is no such joint.
    """
    joints = standing(register.table("joints", job=job, as_of=as_of))
    if joint is not None:
        _require(joint, joints["joint"].tolist(), job)
        joints = joints[joints["joint"] == joint]
    if zones is not None:
        joints = joints[joints["zone"].isin(zones)]
    beads = register.table("beads", job=job, as_of=as_of)
    zone = joints.set_index("joint")["zone"]
    faults, sides = check_beads(joints, beads), bead_sides(joints, beads)
    none = sides.groupby("joint", sort=False)["measured"].sum() == 0
    return Intermittent(_with_zone(faults, zone), _with_zone(sides, zone), tuple(none.index[none]))


def _require(joint: str, known: list[str], job: str) -> None:
    if joint not in known:
        close = nearest(joint, known)
        hint = f'did you mean "{close}"?' if close else "see the table joints"
        raise UseError(f'"{joint}" is not a joint of job {job}; {hint}')


def _with_zone(table: pd.DataFrame, zone: "pd.Series[str]") -> pd.DataFrame:
    of = zone.reindex(table["joint"]).set_axis(table.index)
    made: pd.DataFrame = table.assign(zone=of)[["zone", *table.columns]]
    return made


def faults_sentence(result: Intermittent) -> str:
    """Return the conclusion: how many faults on how many joints, and how much weld is effective.

    Examples
    --------
    >>> sides = pd.DataFrame({"joint": ["F-1"], "measured": [10], "effective_mm": [750.0],
    ...                       "specified_mm": [825.0]})
    >>> faults = pd.DataFrame({"joint": ["F-1"], "kind": ["missing"]})
    >>> print(faults_sentence(Intermittent(faults, sides, ("F-2",))))
    1 fault on 1 of 1 joint measured: 1 missing. Effective is 90.9 % of the weld specified there.
    1 joint with beads specified was not measured.
    """
    sides, faults = result.sides, result.faults
    if sides.empty:
        return "No joint states the length and pitch of beads."
    seen = sides[~sides["joint"].isin(result.not_measured)]
    parts = []
    if len(seen):
        joints = _counted(seen["joint"].nunique(), "joint")
        share = seen["effective_mm"].sum() / seen["specified_mm"].sum()
        parts.append(_faults(faults, joints))
        parts.append(f"Effective is {100 * share:.1f} % of the weld specified there.")
    if result.not_measured:
        were = "was" if len(result.not_measured) == 1 else "were"
        number = _counted(len(result.not_measured), "joint")
        parts.append(f"{number} with beads specified {were} not measured.")
    return " ".join(parts)


def _faults(faults: pd.DataFrame, joints: str) -> str:
    if faults.empty:
        return f"No fault on {joints} measured."
    number = faults["kind"].value_counts()
    listed = ", ".join(f"{number[kind]:,} {kind}" for kind in KINDS if kind in number)
    on = f"{faults['joint'].nunique():,} of {joints}"
    return f"{_counted(len(faults), 'fault')} on {on} measured: {listed}."


def _counted(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"
