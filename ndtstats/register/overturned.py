"""Rejects that a second reading judged acceptable: they stay, and stop counting as rejects."""

from collections.abc import Collection
from datetime import datetime

import pandas as pd

from ndtstats.columns import TABLES
from ndtstats.register.decisions import decisions_in_force
from ndtstats.register.frames import natural_key
from ndtstats.register.store import Register


def examination_subjects(rows: pd.DataFrame) -> "pd.Series[str]":
    """Return how decisions name examinations: by their natural key, as one readable text.

    Unlike the number of a row it survives that the row is corrected.

    Parameters
    ----------
    rows : DataFrame
        Examinations as the register has them, blank places and all.

    Examples
    --------
    >>> row = {"job": "H1", "joint": "B-1", "method": "RT", "request": None, "from_mm": 0.0,
    ...     "to_mm": 300.0, "round": 0, "report": "R-7", "exposure": None}
    >>> examination_subjects(pd.DataFrame([row])).tolist()
    ['H1 | B-1 | RT |  | 0.0 | 300.0 | 0 | R-7 | ']
    """
    return subjects_of(natural_key("examinations", rows))


def subjects_of(keys: "pd.Series[str]") -> "pd.Series[str]":
    """Return how decisions name the rows with these natural keys."""
    return keys.str.replace("\x1f", " | ", regex=False).astype("str")


def overturned_examinations(
    register: Register, *, job: str | None = None, as_of: datetime | None = None
) -> pd.DataFrame:
    """Return the rejects that a second reading does not share, and who decided so.

    Returns
    -------
    DataFrame
        ``id`` (of the examination, as it is now), ``decision``, ``person``, ``reason``, ``at``. A
        verdict that was corrected to something else than a reject has nothing left to overturn.
    """
    decided = decisions_in_force(register, kind="overturned", job=job, as_of=as_of)
    columns = ["decision", "person", "reason", "at"]
    if decided.empty:
        return pd.DataFrame({"id": pd.Series(dtype="int64")}).join(decided[columns])
    needed = [*TABLES["examinations"].key, "verdict"]
    rows = register.table("examinations", job=job, as_of=as_of, columns=needed)
    rejects = rows[rows["verdict"] == "reject"]
    named = rejects[["id"]].assign(subject=examination_subjects(rejects))
    latest = decided.drop_duplicates("subject", keep="last")
    found: pd.DataFrame = named.merge(latest[["subject", *columns]], on="subject")
    return found[["id", *columns]]


def second_reading(rows: pd.DataFrame, overturned: Collection[int]) -> pd.DataFrame:
    """Return examinations with the verdict that counts, and ``overturned`` where it was another.

    An overturned reject was examined and found acceptable: it counts as an accept.

    Examples
    --------
    >>> rows = pd.DataFrame({"id": [1, 2], "verdict": ["reject", "reject"]})
    >>> second_reading(rows, [2])
       id verdict  overturned
    0   1  reject       False
    1   2  accept        True
    """
    which = rows["id"].isin(list(overturned))
    return rows.assign(verdict=rows["verdict"].mask(which, "accept"), overturned=which)
