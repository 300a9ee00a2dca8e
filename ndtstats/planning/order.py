"""By which day a weld can still be reached, and in which order one asks for its examination."""

from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.register import Register

#: Digits that a number within a name is written with to be compared; a weld number has fewer.
_DIGITS = 20


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


def zone_paths(zones: pd.DataFrame) -> "pd.Series[Any]":
    """Return for each zone the names of the zones around it and its own, the outermost first.

    Parameters
    ----------
    zones : DataFrame
        Columns ``zone``, ``parent`` of one job.

    Examples
    --------
    >>> zones = pd.DataFrame({"zone": ["HULL", "BLOCK", "TANK"], "parent": [None, "HULL", "BLOCK"]})
    >>> zone_paths(zones)["TANK"]
    'HULL > BLOCK > TANK'
    """
    known = zones.set_index("zone")["parent"].astype("str")
    path, around = known.index.to_series().astype("str"), known
    # As deep as zones nest; a circle of parents ends with the number of zones.
    for _ in range(len(zones)):
        if around.isna().all():
            break
        path = (around + " > " + path).where(around.notna(), path)
        around = known.reindex(around).set_axis(known.index)
    return path


def zones_within(zones: pd.DataFrame, *names: str) -> list[str]:
    """Return zones and all zones in them, however deep they nest.

    Parameters
    ----------
    zones : DataFrame
        Columns ``zone``, ``parent`` of one job.

    Examples
    --------
    >>> zones = pd.DataFrame({"zone": ["BLOCK", "TANK", "HULL"], "parent": ["HULL", "BLOCK", None]})
    >>> zones_within(zones, "BLOCK")
    ['BLOCK', 'TANK']
    """
    inside = zones["zone"].isin(names)
    # As deep as zones nest; a circle of parents adds nothing new.
    while True:
        more = inside | zones["parent"].isin(zones.loc[inside, "zone"])
        if more.equals(inside):
            return list(zones.loc[inside, "zone"])
        inside = more


def with_due_dates(
    register: Register, job: str, spots: pd.DataFrame, as_of: datetime | None = None
) -> pd.DataFrame:
    """Return spots with the ``zone`` of their joint and the day on which they are ``due``.

    Also with the ``zone_path``, as :func:`zone_paths` gives it.

    Parameters
    ----------
    spots : DataFrame
        Column ``joint``.
    """
    columns = ["joint", "zone"]
    joints = register.table("joints", job=job, as_of=as_of, columns=columns).set_index("joint")
    zones = register.table("zones", job=job, as_of=as_of)
    zone = spots["joint"].map(joints["zone"])
    return spots.assign(
        zone=zone,
        zone_path=zone_paths(zones).reindex(zone).set_axis(zone.index),
        due=due_dates(zones).reindex(zone).to_numpy(dtype="datetime64[s]"),
    )


def natural(names: "pd.Series[str]") -> "pd.Series[str]":
    """Return keys by which names sort as people count: J-2 before J-10.

    Examples
    --------
    >>> names = pd.Series(["J-10", "J-2", "J-2b", "I-30"])
    >>> names[natural(names).sort_values().index].tolist()
    ['I-30', 'J-2', 'J-2b', 'J-10']
    """
    distinct = pd.Series(names.unique(), dtype="str").dropna()
    keys = distinct.str.casefold().str.replace(r"\d+", _wide, regex=True)
    return names.map(keys.set_axis(distinct)).astype("str")


def _wide(digits: Any) -> str:
    text: str = digits[0]
    return text.zfill(_DIGITS)


def in_walking_order(spots: pd.DataFrame) -> pd.DataFrame:
    """Return spots in the order in which one asks for them: what is due first, then as one walks.

    Parameters
    ----------
    spots : DataFrame
        Columns ``due``, ``zone_path``, ``joint``, ``from_mm``, ``method``.

    Returns
    -------
    DataFrame
        The same rows, indexed from 0: nearest due date first, what has none last; within a due date
        zone by zone, those within one zone together; joint by joint as people count, and along
        each joint.

    Examples
    --------
    >>> spots = pd.DataFrame({"due": pd.to_datetime(["2026-05-01"] * 3 + ["2026-04-01"]),
    ...     "zone_path": ["T-10", "T-2", "T-2", "T-10"], "joint": ["J-1", "J-10", "J-9", "J-2"],
    ...     "from_mm": 0.0, "method": "RT"})
    >>> in_walking_order(spots)["joint"].tolist()
    ['J-2', 'J-9', 'J-10', 'J-1']
    """
    keys = pd.DataFrame(
        {
            "due": spots["due"],
            "zone": natural(spots["zone_path"]),
            # Two spellings of one key, such as J-1 and J-01, still stand apart.
            "spelt": spots["zone_path"],
            "walk": natural(spots["joint"]),
            "joint": spots["joint"],
            "from_mm": spots["from_mm"],
            "method": spots["method"],
        }
    ).reset_index(drop=True)
    order = keys.sort_values(list(keys.columns), na_position="last", kind="stable").index
    return spots.iloc[order].reset_index(drop=True)
