"""Which joints and zones get a strip picture, and all that stands on it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.planning.order import due_dates, natural, zones_within
from ndtstats.rates.base import NEEDED, indications, read_examinations
from ndtstats.register import Register
from ndtstats.report.marks import marks_of
from ndtstats.request import match_examinations
from ndtstats.words import imperfection_name

#: Joints that get a strip picture: what is owed first, then rejects, then those most examined.
MOST_STRIPS = 40
#: Zones that get one: those that are due first.
MOST_ZONES = 40
#: Marks in all of them together, so that the page stays small enough for an e-mail.
MOST_MARKS = 3_000
#: Joints in the picture of a zone, so that it fits on a sheet: those with anything to show first.
MOST_IN_ZONE = 60

#: Methods that the strips show; what is seen by eye is not part of a spot.
_BY_EYE = "VT"


@dataclass(frozen=True, slots=True)
class Joint:
    """One joint with its strip picture.

    Attributes
    ----------
    name, zone, category : str
        As in the register.
    length_mm : float
        Length of the joint.
    examined : DataFrame
        Examinations in order of time: ``method``, ``round``, ``from_mm``, ``to_mm``, ``date``,
        ``report``, ``verdict`` and ``found`` (names of the rejectable imperfections).
    found : DataFrame
        Rejectable indications: ``method``, ``round``, ``start_mm``, ``end_mm``, ``located``.
    planned : DataFrame
        Spots asked for and not examined: ``spot``, ``method``, ``round``, ``from_mm``, ``to_mm``.
    owed : DataFrame
        Places owed by a procedure: ``from_mm``, ``to_mm``.
    """

    name: str
    zone: str
    category: str
    length_mm: float
    examined: pd.DataFrame
    found: pd.DataFrame
    planned: pd.DataFrame
    owed: pd.DataFrame

    @property
    def marks(self) -> pd.DataFrame:
        """All of that as :func:`ndtstats.report.marks.marks_of` gives it."""
        return marks_of(self.examined, self.found, self.planned, self.owed)


@dataclass(frozen=True, slots=True)
class Zone:
    """One zone with its strip picture, all joints to one scale.

    Attributes
    ----------
    name : str
        As in the register.
    lengths_mm : Series
        Length of each joint by its name, in walking order.
    marks : DataFrame
        As :func:`ndtstats.report.marks.marks_of` gives them.
    left : int
        How many more joints of the zone are not drawn.
    """

    name: str
    lengths_mm: "pd.Series[float]"
    marks: pd.DataFrame
    left: int


@dataclass(frozen=True, slots=True)
class Strips:
    """The joints drawn, how many more were examined (``left``), and how many spots are open.

    ``zones`` are those with anything to show, what is due first before the rest; ``zones_left``
    more are not drawn.
    """

    joints: tuple[Joint, ...]
    left: int
    planned: int
    zones: tuple[Zone, ...]
    zones_left: int


class _Shown(NamedTuple):
    """All that the pictures of a job show."""

    examined: pd.DataFrame
    found: pd.DataFrame
    planned: pd.DataFrame
    owed: pd.DataFrame


def strips_of(register: Register, job: str, items: pd.DataFrame, as_of: datetime) -> Strips:
    """Return the joints most worth a look with all that their pictures show.

    Parameters
    ----------
    register : Register
        The register, best a snapshot of it.
    job : str
        The job.
    items : DataFrame
        What is owed: ``places``, a list of joint, from_mm, to_mm.
    as_of : datetime
        What was known then.
    """
    shown = _shown(register, job, items, as_of)
    order = _order(shown)
    picked = order.index[:MOST_STRIPS]
    joints = _joints(register, job, list(picked), shown, as_of)
    zones, zones_left = _zones(register, job, shown, as_of)
    return Strips(joints, len(order) - len(picked), len(shown.planned), zones, zones_left)


def joint_of(
    register: Register, job: str, name: str, items: pd.DataFrame, as_of: datetime | None
) -> Joint:
    """Return one joint with all that its picture shows.

    Other parameters as in :func:`strips_of`.

    Raises
    ------
    UseError
        If the job has no such joint.
    """
    known = register.table("joints", job=job, as_of=as_of, columns=["joint"])["joint"]
    _require(name, known, f"a joint of job {job}")
    return _joints(register, job, [name], _shown(register, job, items, as_of), as_of)[0]


def zone_of(
    register: Register, job: str, name: str, items: pd.DataFrame, as_of: datetime | None
) -> Zone:
    """Return all joints of a zone, and of the zones in it, with all that its picture shows.

    Other parameters as in :func:`strips_of`.

    Raises
    ------
    UseError
        If the job has no such zone, or the zone no joints.
    """
    zones = register.table("zones", job=job, as_of=as_of)
    _require(name, zones["zone"], f"a zone of job {job}")
    known = register.table("joints", job=job, as_of=as_of)
    mine = known[known["zone"].isin(zones_within(zones, name))]
    if mine.empty:
        raise UseError(f'zone "{name}" of job {job} has no joints yet; load them first')
    shown = _shown(register, job, items, as_of)
    return _zone(name, _walked(mine), _all_marks(shown))


def _require(name: str, known: "pd.Series[str]", what: str) -> None:
    if (known == name).any():
        return
    close = nearest(name, list(known))
    hint = f'did you mean "{close}"?' if close else f"it has {len(known):,}, none like it"
    raise UseError(f'"{name}" is not {what}; {hint}')


def _shown(register: Register, job: str, items: pd.DataFrame, as_of: datetime | None) -> _Shown:
    rows = read_examinations(
        register, job=job, method=None, as_of=as_of, attributes=(), columns=[*NEEDED, "report"]
    )
    rows = rows[rows["method"] != _BY_EYE].sort_values(["date", "from_mm", "id"])
    spots = register.table("spots", job=job, as_of=as_of)
    answered = match_examinations(rows, spots)["spot"]
    planned = spots[~spots["spot"].isin(answered) & (spots["part"] != "reserve")]
    found = _found(register, rows, job, as_of)
    names = _names(found)
    rows = rows.assign(found=rows["id"].map(names).astype("str").fillna(""))
    return _Shown(rows, found, planned, _places(items))


def _joints(
    register: Register, job: str, names: list[str], shown: _Shown, as_of: datetime | None
) -> tuple[Joint, ...]:
    known = register.table("joints", job=job, as_of=as_of).set_index("joint")
    length = known["length_mm"].astype(float)
    # Joints without a mark have no group of their own.
    of = [dict(list(part[part["joint"].isin(names)].groupby("joint"))) for part in shown]
    empty = [part.iloc[:0] for part in shown]
    return tuple(
        Joint(
            name,
            str(known.loc[name, "zone"]),
            str(known.loc[name, "category"]),
            float(length[name]),
            *(part.get(name, none) for part, none in zip(of, empty, strict=True)),
        )
        for name in names
    )


def _zones(
    register: Register, job: str, shown: _Shown, as_of: datetime | None
) -> tuple[tuple[Zone, ...], int]:
    """Return the zones with anything to show, in the order of what is due, and how many more."""
    known = register.table("joints", job=job, as_of=as_of)
    marks = _all_marks(shown)
    due = due_dates(register.table("zones", job=job, as_of=as_of))
    has = known.loc[known["joint"].isin(marks["joint"]), "zone"].drop_duplicates()
    order = pd.DataFrame({"due": due.reindex(has).to_numpy(), "walk": natural(has), "zone": has})
    names = order.sort_values(["due", "walk"], kind="stable")["zone"].tolist()
    first = _walked(known[known["zone"].isin(names[:MOST_ZONES])])
    by = dict(list(first.groupby("zone")))
    of = dict(list(marks.groupby(marks["joint"].map(first.set_index("joint")["zone"]))))
    drawn = within(_zone(name, by[name], of[name], MOST_IN_ZONE) for name in names[:MOST_ZONES])
    return drawn, len(names) - len(drawn)


def within(zones: Iterable[Zone], most: int = MOST_MARKS) -> tuple[Zone, ...]:
    """Return the first zones that have no more marks together than ``most``; one at the least."""
    kept: list[Zone] = []
    number = 0
    for zone in zones:
        number += len(zone.marks)
        if kept and number > most:
            break
        kept.append(zone)
    return tuple(kept)


def _walked(joints: pd.DataFrame) -> pd.DataFrame:
    """Return joints in the order in which one walks along them."""
    return joints.loc[natural(joints["joint"]).sort_values(kind="stable").index]


def _zone(name: str, walked: pd.DataFrame, marks: pd.DataFrame, most: int | None = None) -> Zone:
    bare = ~walked["joint"].isin(marks["joint"])
    # A stable sort keeps the walk among those that are drawn.
    drawn = walked.loc[bare.sort_values(kind="stable").index[:most]]
    lengths = walked[walked["joint"].isin(drawn["joint"])].set_index("joint")["length_mm"]
    mine = marks[marks["joint"].isin(lengths.index)]
    return Zone(name, lengths, mine, len(walked) - len(drawn))


def _all_marks(shown: _Shown) -> pd.DataFrame:
    return marks_of(shown.examined, shown.found, shown.planned, shown.owed)


def _places(items: pd.DataFrame) -> pd.DataFrame:
    """Return the places of owed items, one row each and none twice, where they are known."""
    places = [place for item in items["places"] for place in item]
    frame = pd.DataFrame(places, columns=["joint", "from_mm", "to_mm"])
    return frame.dropna().drop_duplicates(ignore_index=True)


def _order(shown: _Shown) -> pd.DataFrame:
    """Return the joints that have anything to show, those most worth a look first."""
    rows = shown.examined
    counts = {
        "owed": shown.owed.groupby("joint").size(),
        "rejects": rows[rows["verdict"] == "reject"].groupby("joint").size(),
        "looked": rows.groupby("joint").size(),
        "planned": shown.planned.groupby("joint").size(),
    }
    table = pd.DataFrame(counts).fillna(0).sort_index()
    return table.sort_values(list(counts), ascending=False, kind="stable")


def _found(
    register: Register, rows: pd.DataFrame, job: str, as_of: datetime | None
) -> pd.DataFrame:
    judged = rows.assign(rejected=rows["verdict"] == "reject")
    shown = indications(register, judged, job=job, as_of=as_of)
    return shown.merge(rows[["id", "joint", "method", "round"]], on="id")


def _names(found: pd.DataFrame) -> "pd.Series[str]":
    """Return the names of the imperfections of each examination, by its id."""
    each = found[["id", "imperfection"]].dropna().astype({"imperfection": "str"})
    each = each.drop_duplicates().sort_values(["id", "imperfection"])
    known = {number: imperfection_name(number) for number in each["imperfection"].unique()}
    named: pd.Series[str] = each["imperfection"].map(known).groupby(each["id"]).agg(", ".join)
    return named
