"""Which joints get a strip picture, and all that stands on it."""

from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from ndtstats.rates.base import all_examinations, indications
from ndtstats.register import Register
from ndtstats.request import match_examinations
from ndtstats.words import imperfection_name

#: Joints that get a strip picture: what is owed first, then rejects, then those most examined.
MOST_STRIPS = 40

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
        Rejectable indications: ``method``, ``round``, ``start_mm``, ``end_mm``.
    planned : DataFrame
        Spots asked for and not examined: ``spot``, ``method``, ``from_mm``, ``to_mm``.
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


@dataclass(frozen=True, slots=True)
class Strips:
    """The joints drawn, how many more were examined (``left``), and how many spots are open."""

    joints: tuple[Joint, ...]
    left: int
    planned: int


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
    rows = all_examinations(register, job=job, method=None, as_of=as_of)
    rows = rows[rows["method"] != _BY_EYE]
    spots = register.table("spots", job=job, as_of=as_of)
    answered = match_examinations(rows, spots)["spot"]
    planned = spots[~spots["spot"].isin(answered) & (spots["part"] != "reserve")]
    owed = _places(items)
    order = _order(rows, planned, owed)
    picked = order.index[:MOST_STRIPS]
    rows = rows[rows["joint"].isin(picked)].sort_values(["date", "from_mm", "id"])
    found = _found(register, rows, job, as_of)
    names = found.groupby("id")["imperfection"].agg(_names)
    rows = rows.assign(found=rows["id"].map(names).astype("str").fillna(""))
    known = register.table("joints", job=job, as_of=as_of).set_index("joint")
    joints = tuple(
        Joint(
            name=str(name),
            zone=str(known.loc[name, "zone"]),
            category=str(known.loc[name, "category"]),
            length_mm=float(known.loc[name, "length_mm"]),
            examined=rows[rows["joint"] == name],
            found=found[found["joint"] == name],
            planned=planned[planned["joint"] == name],
            owed=owed[owed["joint"] == name],
        )
        for name in picked
    )
    return Strips(joints, len(order) - len(picked), len(planned))


def _places(items: pd.DataFrame) -> pd.DataFrame:
    """Return the places of owed items, one row each and none twice, where they are known."""
    places = [place for item in items["places"] for place in item]
    frame = pd.DataFrame(places, columns=["joint", "from_mm", "to_mm"])
    return frame.dropna().drop_duplicates(ignore_index=True)


def _order(rows: pd.DataFrame, planned: pd.DataFrame, owed: pd.DataFrame) -> pd.DataFrame:
    """Return the joints that have anything to show, those most worth a look first."""
    counts = {
        "owed": owed.groupby("joint").size(),
        "rejects": rows[rows["verdict"] == "reject"].groupby("joint").size(),
        "looked": rows.groupby("joint").size(),
        "planned": planned.groupby("joint").size(),
    }
    table = pd.DataFrame(counts).fillna(0).sort_index()
    return table.sort_values(list(counts), ascending=False, kind="stable")


def _found(register: Register, rows: pd.DataFrame, job: str, as_of: datetime) -> pd.DataFrame:
    judged = rows.assign(rejected=rows["verdict"] == "reject")
    shown = indications(register, judged, job=job, as_of=as_of)
    return shown.merge(rows[["id", "joint", "method", "round"]], on="id")


def _names(numbers: pd.Series) -> str:
    known = sorted(set(numbers.dropna().astype(str)))
    return ", ".join(imperfection_name(number) for number in known)
