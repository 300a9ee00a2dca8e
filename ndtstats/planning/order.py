"""By which day a weld can still be reached, and in which order one asks for its examination."""

from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.register import Register

#: By what a request is ordered; what has no due date comes last.
REQUEST_ORDER = ["due", "zone", "joint", "from_mm", "method"]


def due_dates(zones: pd.DataFrame) -> "pd.Series[Any]":
    """Return for each zone the last day on which its welds can be reached.

    That is its own due date, or that of a zone around it where that is earlier or the only one
    known: what stands in a block is out of reach once the block is closed.

    Parameters
    ----------
    zones : DataFrame
        Columns ``zone``, ``parent``, ``due`` of one job.

    Examples
    --------
    >>> zones = pd.DataFrame({"zone": ["BLOCK", "TANK"], "parent": [None, "BLOCK"],
    ...                       "due": pd.to_datetime(["2026-05-01", None])})
    >>> due_dates(zones).dt.strftime("%Y-%m-%d").to_dict()
    {'BLOCK': '2026-05-01', 'TANK': '2026-05-01'}
    """
    known = zones.set_index("zone")
    due, around = known["due"], known["parent"]
    earliest = due
    # As deep as zones nest; a circle of parents ends with the number of zones.
    for _ in range(len(zones)):
        if around.isna().all():
            break
        earliest = pd.concat([earliest, around.map(due)], axis="columns").min(axis="columns")
        around = around.map(known["parent"])
    return earliest


def with_due_dates(
    register: Register, job: str, spots: pd.DataFrame, as_of: datetime | None = None
) -> pd.DataFrame:
    """Return spots with the ``zone`` of their joint and the day on which they are ``due``.

    Parameters
    ----------
    spots : DataFrame
        Column ``joint``.
    """
    columns = ["joint", "zone"]
    joints = register.table("joints", job=job, as_of=as_of, columns=columns).set_index("joint")
    due = due_dates(register.table("zones", job=job, as_of=as_of))
    zone = spots["joint"].map(joints["zone"])
    return spots.assign(zone=zone, due=zone.map(due).astype("datetime64[s]"))
