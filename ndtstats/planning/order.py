"""In which order people work: along the structure, and by the day a zone closes."""

from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.register import Register

#: Digits to which the numbers in names are filled up, so that B-10 comes after B-2.
_DIGITS = 9

#: By what a request is ordered; what has no due date comes last.
REQUEST_ORDER = ["due", "zone", "joint", "from_mm", "method"]


def walking_order(joints: pd.DataFrame) -> pd.DataFrame:
    """Return joints zone by zone and as people count them, so that a draw is spread along both.

    Parameters
    ----------
    joints : DataFrame
        Columns ``zone``, ``joint``.

    Examples
    --------
    >>> joints = pd.DataFrame({"zone": "HOLD", "joint": ["B-10", "B-2", "A-3"]})
    >>> walking_order(joints)["joint"].tolist()
    ['A-3', 'B-2', 'B-10']
    """
    counted = joints["joint"].str.replace(r"\d+", lambda m: m[0].zfill(_DIGITS), regex=True)
    ordered = joints.assign(_counted=counted)
    ordered = ordered.sort_values(["zone", "_counted", "joint"], kind="stable", ignore_index=True)
    return ordered.drop(columns="_counted")


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


def in_request_order(register: Register, job: str, spots: pd.DataFrame) -> pd.DataFrame:
    """Return spots in the order in which they are asked for: due date, zone, joint, place.

    Parameters
    ----------
    spots : DataFrame
        Columns ``joint``, ``from_mm``, ``method``.
    """
    placed = with_due_dates(register, job, spots)
    ordered = placed.sort_values(REQUEST_ORDER, na_position="last", kind="stable")
    return ordered.drop(columns=["zone", "due"]).reset_index(drop=True)
