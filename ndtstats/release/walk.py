"""What is to be looked at or finished in a zone, in the order in which one walks."""

from datetime import datetime
from typing import Any, Final

import numpy as np
import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.escalation import owed
from ndtstats.planning.order import in_walking_order, with_due_dates, zones_within
from ndtstats.register import Register
from ndtstats.release.tests import zone_tests
from ndtstats.rules import standing
from ndtstats.visual import intermittent, left_to_see

#: What is to be done at a place, in the order in which it is done there.
DEEDS: Final = ("weld", "look", "measure", "mend", "repair", "re-examine", "examine", "test")

#: Columns of the list, and their types.
COLUMNS: Final[dict[str, str]] = {
    "zone": "str",
    "joint": "str",
    "side": "str",
    "from_mm": "float64",
    "to_mm": "float64",
    "do": "str",
    "what": "str",
    "method": "str",
    "fault": "str",
    "round": "Int64",
    "beads": "Int64",
}


def zones_asked(
    register: Register, job: str, zone: str, as_of: datetime | None = None
) -> list[str]:
    """Return a zone of a job and all zones in it.

    Raises
    ------
    UseError
        If the job has no such zone.
    """
    zones = register.table("zones", job=job, as_of=as_of)
    names = zones["zone"].tolist()
    if zone not in names:
        close = nearest(zone, names)
        hint = f'did you mean "{close}"?' if close else f"known: {', '.join(names) or 'none'}"
        raise UseError(f'"{zone}" is not a zone of job {job}; {hint}')
    return zones_within(zones, zone)


def walk_list(
    register: Register, *, job: str, zone: str, as_of: datetime | None = None
) -> pd.DataFrame:
    """Return everything to look at or to finish in a zone and those in it, in walking order.

    Parameters
    ----------
    job, zone : str
        The job, and the zone to walk through.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        One row a thing to do, columns :data:`COLUMNS`: ``do`` is one of :data:`DEEDS`; ``what``
        says what and why; ``method`` and ``round`` of the examination that it is about; ``fault``
        of the beads (:data:`ndtstats.visual.KINDS`); ``beads``, how many are to be measured or are
        missing. Zone by zone, joint by joint as people count, along each joint.
        A joint that is not welded yet has that one row; if the job has no deposits at all, every
        joint is taken as welded.

    Raises
    ------
    UseError
        If the job has no such zone.
    """
    zones = zones_asked(register, job, zone, as_of)
    joints = standing(register.table("joints", job=job, as_of=as_of))
    joints = joints[joints["zone"].isin(zones)]
    deposits = register.table("deposits", job=job, as_of=as_of, columns=["joint"])
    bare = ~joints["joint"].isin(deposits["joint"]) & (not deposits.empty)
    there = joints.loc[~bare, "joint"]
    parts = [
        joints.loc[bare, ["joint"]].assign(do="weld", what="not welded, as far as is recorded"),
        _to_look_at(left_to_see(register, job=job, as_of=as_of), joints),
        *_of_beads(register, job, zones, as_of),
        _owed(owed(register, job=job, as_of=as_of)),
    ]
    rows = pd.concat([part.reindex(columns=list(COLUMNS)).astype(COLUMNS) for part in parts])
    rows = rows[rows["joint"].isin(there) | (rows["do"] == "weld")]
    rows = rows[rows["joint"].isin(joints["joint"])]
    return pd.concat(
        [_walked(register, job, rows, as_of), _to_test(register, job, zones, as_of)],
        ignore_index=True,
    )


def _walked(
    register: Register, job: str, rows: pd.DataFrame, as_of: datetime | None
) -> pd.DataFrame:
    """Return rows in walking order; one walk takes the zone as it lies, whatever is due first."""
    placed = with_due_dates(register, job, rows.drop(columns="zone"), as_of)
    turn = placed["do"].map({deed: number for number, deed in enumerate(DEEDS)}).astype("str")
    same_day = pd.Series(pd.NaT, placed.index, dtype="datetime64[s]")
    # What is done at one place is done in the order of the deeds.
    placed = placed.assign(due=same_day, by=placed["method"], method=turn)
    walked: pd.DataFrame = in_walking_order(placed).drop(columns="method")
    return walked.rename(columns={"by": "method"})[list(COLUMNS)].astype(COLUMNS)


def _to_look_at(left: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    length = joints.set_index("joint")["length_mm"].reindex(left["joint"]).to_numpy()
    whole = (left["from_mm"] <= 0) & (left["to_mm"] >= length)
    again = left["note"] != "not seen"
    what = np.select(
        [again, whole], ["look at it again: " + left["note"], "look at all of it"],
        "look at what was not seen",
    )  # fmt: skip
    return left.assign(do="look", method="VT", what=pd.Series(what, left.index, dtype="str"))


def _of_beads(
    register: Register, job: str, zones: list[str], as_of: datetime | None
) -> list[pd.DataFrame]:
    found = intermittent(register, job=job, zones=zones, as_of=as_of)
    faults = found.faults
    mend = faults.assign(do="mend", fault=faults["kind"], what="beads: " + faults["words"])
    sides = found.sides[found.sides["joint"].isin(found.not_measured)]
    number = sides["expected"].map("{:.0f} beads".format).astype("str")
    number = number.where(sides["expected"] != 1, "1 bead")
    measure = sides.assign(do="measure", what="measure " + number, beads=sides["expected"])
    return [mend, measure]


def _owed(items: pd.DataFrame) -> pd.DataFrame:
    """Return what is owed at places that the rules fix; what may be drawn anywhere is left out."""
    # What was rejected by eye is looked at again, which is told as such.
    by_eye = (items["what"] == "re-examine") & items["lot"].str.endswith("method VT")
    rows = items[~by_eye].explode("places", ignore_index=True)
    place: Any = pd.DataFrame(
        [one if isinstance(one, dict) else {} for one in rows["places"]],
        columns=["joint", "from_mm", "to_mm"],
    )
    deed = rows["what"].map({"repair": "repair", "re-examine": "re-examine"}).fillna("examine")
    said = deed.map(
        {
            "repair": "repair what was rejected: ", "re-examine": "examine the repair of ",
            "examine": "extra examination owed because of ",
        }
    )  # fmt: skip
    what = said.astype("str") + rows["because"].astype("str")
    method = rows["lot"].str.extract(r"method (\w+)$", expand=False)
    told: pd.DataFrame = place.assign(do=deed, what=what, method=method)
    return told[told["joint"].notna()]


def _to_test(
    register: Register, job: str, zones: list[str], as_of: datetime | None
) -> pd.DataFrame:
    tests = zone_tests(register, job=job, as_of=as_of)
    tests = tests[tests["zone"].isin(zones) & tests["required"] & (tests["state"] != "accepted")]
    note = (": " + tests["note"].where(tests["note"] != "")).fillna("")
    what = "leak or pressure test " + tests["state"] + note
    told: pd.DataFrame = tests[["zone"]].assign(do="test", what=what.astype("str"))
    return told.reindex(columns=list(COLUMNS)).astype(COLUMNS)


def walk_sentence(rows: pd.DataFrame, zone: str) -> str:
    """Return the conclusion: how much there is to do.

    Examples
    --------
    >>> rows = pd.DataFrame({"joint": ["F-1", "F-2", None], "do": ["look", "look", "test"]})
    >>> walk_sentence(rows, "TANK")
    'Zone TANK: 3 things to do on 2 joints: 2 look, 1 test.'
    """
    if rows.empty:
        return f"Zone {zone}: nothing to look at or to finish."
    number = rows["do"].value_counts()
    listed = ", ".join(f"{number[deed]:,} {deed}" for deed in DEEDS if deed in number)
    things = "1 thing" if len(rows) == 1 else f"{len(rows):,} things"
    joints = rows["joint"].nunique()
    on = f" on {joints:,} joint{'' if joints == 1 else 's'}" if joints else ""
    return f"Zone {zone}: {things} to do{on}: {listed}."
