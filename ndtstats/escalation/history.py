"""What was examined on a job, in order of time, as escalation and repairs read it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.rates.base import NEEDED, indications, read_examinations
from ndtstats.rates.charge import charge_welders
from ndtstats.register import Register, overturned_examinations
from ndtstats.request import match_examinations

#: What lots, charges and names are made of; a register has many rows and many columns.
_ATTRIBUTES = ("zone", "category", "process", "position", "procedure")
_COLUMNS = (*NEEDED, "report", "exposure")


@dataclass(frozen=True, slots=True)
class History:
    """What is known of the examinations of one job.

    Parameters
    ----------
    rows : DataFrame
        All that accepted or rejected, of every round, oldest first: ``id``, ``batch``, ``job``,
        ``joint``, ``method``, ``from_mm``, ``to_mm`` (filled in), ``round``, ``verdict``, ``date``,
        ``request``, ``report``, ``exposure``, what lots are made of, and ``ref`` (its name to
        people), ``order``, ``rejected`` (as it counts), ``overturned``.
    shown : DataFrame
        Rejectable indications of all that were rejected at first reading
        (:func:`ndtstats.rates.base.indications`).
    overturned : DataFrame
        Who overturned what: ``id``, ``decision``, ``person``, ``reason``, ``at``.
    joints, deposits, spots : DataFrame
        Tables of the register.
    """

    rows: pd.DataFrame
    shown: pd.DataFrame
    overturned: pd.DataFrame
    joints: pd.DataFrame
    deposits: pd.DataFrame
    spots: pd.DataFrame

    @property
    def rejected_ever(self) -> bool:
        """Whether anything was ever rejected, overturned or not."""
        return bool((self.rows["rejected"] | self.rows["overturned"]).any())

    @property
    def counting(self) -> pd.DataFrame:
        """The indications of what still counts as rejected, with ``ref``."""
        rejects = self.rows[self.rows["rejected"]]
        kept = self.shown[self.shown["id"].isin(rejects["id"])]
        return kept.assign(ref=kept["id"].map(rejects.set_index("id")["ref"]))

    def as_first_read(self) -> "History":
        """Return the history as if no verdict had been overturned."""
        rows = self.rows
        return replace(self, rows=rows.assign(rejected=rows["rejected"] | rows["overturned"]))


def history_of(register: Register, job: str, as_of: datetime | None) -> History:
    """Read the history of one job."""
    return register.once(("history", job, as_of), lambda: _read(register, job, as_of))


def _read(register: Register, job: str, as_of: datetime | None) -> History:
    rows = read_examinations(
        register, job=job, method=None, as_of=as_of, attributes=_ATTRIBUTES, columns=_COLUMNS
    )
    rows = rows[rows["verdict"].isin(["accept", "reject"])]
    rows = rows.assign(rejected=rows["verdict"] == "reject", ref=_named(rows))
    report, _ = pd.factorize(rows["report"], sort=True, use_na_sentinel=False)
    order = np.lexsort((rows["id"], report, rows["date"]))
    rows = rows.take(order).reset_index(drop=True)
    rows = rows.assign(order=rows.index)
    ever = rows.assign(rejected=rows["rejected"] | rows["overturned"])
    return History(
        rows=rows,
        shown=indications(register, ever, job=job, as_of=as_of),
        overturned=overturned_examinations(register, job=job, as_of=as_of),
        joints=register.table("joints", job=job, as_of=as_of),
        deposits=register.table("deposits", job=job, as_of=as_of),
        spots=register.table("spots", job=job, as_of=as_of),
    )


def first_by_welder(past: History) -> pd.DataFrame:
    """Return the first examinations once for each welder they are charged to.

    ``rows`` of the history with ``welder``, ``rejected`` as charged to that one, ``bad_from_mm``
    and ``bad_to_mm`` (between which the indications lie, if known), ``sequence``, ``role`` and
    ``answers`` (:func:`ndtstats.escalation.decide.decide`).
    """
    rows = past.rows
    first = rows[rows["round"] == 0].reset_index(drop=True)
    shown = past.counting
    first = _with_indications(first, shown).assign(
        sequence=first["id"], **_roles(first, past.spots)
    )
    return charge_welders(first, shown[shown["id"].isin(first["id"])], past.deposits)


def _named(rows: pd.DataFrame) -> Any:
    """Return how an examination is named to people: method, report, exposure, joint, place, day."""
    pieces = (
        rows["method"].to_numpy(object),
        rows["report"].to_numpy(object),
        (" no. " + rows["exposure"].astype("str")).fillna("").to_numpy(object),
        _written(rows["round"], lambda number: f" R{number}" if number > 0 else ""),
        rows["joint"].to_numpy(object),
        _written(rows["from_mm"], "{:g}".format),
        _written(rows["to_mm"], "{:g}".format),
        _written(rows["date"], "{:%Y-%m-%d}".format),
    )
    names = map("{} {}{}{}, {} {}-{} mm, {}".format, *pieces)
    ref = pd.Series(list(names), rows.index, dtype="str")
    # One examination, one name: two answers to two requests may agree in all of the above.
    asked = (", request " + rows["request"].astype("str")).fillna("")
    return ref + asked.where(ref.duplicated(keep=False), "")


def _written(values: "pd.Series[Any]", write: Callable[[Any], str]) -> npt.NDArray[Any]:
    """Return values as texts; each distinct one is written once, for few are and that is slow."""
    codes, distinct = pd.factorize(values, use_na_sentinel=False)
    return np.array([write(value) for value in distinct], dtype=object)[codes]


def _with_indications(rows: pd.DataFrame, shown: pd.DataFrame) -> pd.DataFrame:
    """Add between which places the rejectable indications of each examination lie, if known."""
    located = (
        shown[shown["located"]].groupby("id").agg(low=("start_mm", "min"), high=("end_mm", "max"))
    )
    # A reject with one indication that is not located can lie anywhere in its spot.
    vague = shown.loc[~shown["located"], "id"]
    located = located.drop(index=located.index.intersection(pd.Index(vague)))
    return rows.assign(
        bad_from_mm=rows["id"].map(located["low"]).astype("float64"),
        bad_to_mm=rows["id"].map(located["high"]).astype("float64"),
    )


def _roles(rows: pd.DataFrame, spots: pd.DataFrame) -> dict[str, Any]:
    """Return for what each examination was made, as far as a plan tells."""
    matched = match_examinations(rows, spots).merge(spots[["spot", "part", "because"]], on="spot")
    found = matched.drop_duplicates("examination").set_index("examination")
    part = rows["id"].map(found["part"]).astype("str")
    return {
        "role": np.select([part.isna(), part == "extra"], ["unknown", "extra"], default="initial"),
        "answers": rows["id"].map(found["because"]).astype("str").fillna(""),
    }
