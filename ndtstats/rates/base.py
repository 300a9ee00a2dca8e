"""The rows that rates are made of: first examinations, with what is known of weld and plan."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.register import Register
from ndtstats.request import filled_places, match_examinations

#: Bounds of the thickness bands in mm: common practice, no source.
THICKNESS_BOUNDS_MM = (0.0, 3.0, 6.0, 12.0, 25.0, np.inf)
THICKNESS_NAMES = ("to 3 mm", "3 to 6 mm", "6 to 12 mm", "12 to 25 mm", "over 25 mm")

_OF_JOINT = (
    "zone", "category", "joint_type", "material", "thickness_mm", "process", "position",
    "procedure",
)  # fmt: skip


def all_examinations(
    register: Register, *, job: str | None, method: str | None, as_of: datetime | None
) -> pd.DataFrame:
    """Return all examinations with their places filled in and what is known of their joint.

    Columns of the examinations table, and ``zone``, ``category``, ``joint_type``, ``material``,
    ``process``, ``position``, ``procedure``, ``thickness`` (band), ``month``.
    """
    rows = register.table("examinations", job=job, as_of=as_of)
    if method is not None:
        rows = rows[rows["method"] == method]
    joints = register.table("joints", job=job, as_of=as_of)
    rows = filled_places(rows, joints)
    known = joints[["job", "joint", *_OF_JOINT]]
    rows = rows.merge(known, on=["job", "joint"], how="left")
    band = pd.cut(rows["thickness_mm"], THICKNESS_BOUNDS_MM, labels=THICKNESS_NAMES)
    return rows.assign(
        thickness=band.astype("str"),
        # Text of the date itself is several times slower at a hundred thousand rows.
        month=pd.Series(
            np.datetime_as_string(rows["date"].to_numpy(), unit="M"), rows.index, dtype="str"
        ),
    )


def first_examinations(
    register: Register,
    *,
    job: str | None = None,
    method: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return the first examinations that say something of the weld, one row each.

    Repairs (round 1 and more), re-shoots and examinations not done are left out; they are counted
    by :func:`ndtstats.rates.set_aside`.

    Returns
    -------
    DataFrame
        Columns of :func:`all_examinations`, and: ``rejected`` (bool); ``length_mm`` examined;
        ``part`` (required, random, reserve, targeted, extra, or unplanned); ``pi``; ``weight``
        (1 / pi for random spots and for reserves, which stand in for one; 1 for required ones;
        missing for the others, which were not chosen by chance); ``planned_stratum``.
    """
    rows = all_examinations(register, job=job, method=method, as_of=as_of)
    rows = rows[(rows["round"] == 0) & rows["verdict"].isin(["accept", "reject"])]
    rows = rows.reset_index(drop=True)
    spots = register.table("spots", job=job, as_of=as_of)
    matched = match_examinations(rows, spots).merge(
        spots[["spot", "part", "pi", "rule", "stratum", "because"]], on="spot"
    )
    found = matched.drop_duplicates("examination").set_index("examination")
    part = rows["id"].map(found["part"]).astype("str").fillna("unplanned")
    pi = rows["id"].map(found["pi"]).astype("float64")
    by_chance = part.isin(["required", "random", "reserve"])
    # A re-shoot's successor, or a second report, must not count a spot twice.
    again = rows["id"].map(found["spot"]).duplicated() & by_chance
    return rows.assign(
        rejected=rows["verdict"] == "reject",
        length_mm=rows["to_mm"] - rows["from_mm"],
        part=part,
        pi=pi,
        weight=np.where(by_chance & ~again, 1.0 / pi, np.nan),
        planned_stratum=_stratum(rows, found),
    )


def _stratum(rows: pd.DataFrame, found: pd.DataFrame) -> Any:
    both = found["rule"].astype("str") + "|" + found["stratum"].astype("str")
    return rows["id"].map(both).astype("str")


def indications(
    register: Register, rows: pd.DataFrame, *, job: str | None, as_of: datetime | None
) -> pd.DataFrame:
    """Return the rejectable indications of some examinations, one row each.

    Parameters
    ----------
    rows : DataFrame
        Examinations, as :func:`first_examinations` gives them.

    Returns
    -------
    DataFrame
        Columns ``id`` (of the examination), ``imperfection``, ``start_mm``, ``end_mm``,
        ``located`` (whether place and length are known), ``imp_pass``, ``imp_side``. A rejected
        spot with no indication recorded has one row that spans all of it: nothing shorter is known.
    """
    shown = register.table("imperfections", job=job, as_of=as_of)
    shown = shown[shown["imp_rejectable"].fillna(value=False).astype(bool)]
    rejected = rows.loc[rows["rejected"], ["id", "from_mm", "to_mm"]]
    joined = rejected.merge(
        shown, left_on="id", right_on="examination", suffixes=("", "_row"), how="left"
    )
    located = joined["imp_from_mm"].notna() & (joined["imp_length_mm"] > 0)
    end = joined["imp_from_mm"] + joined["imp_length_mm"]
    return pd.DataFrame(
        {
            "id": joined["id"],
            "imperfection": joined["imperfection"],
            "start_mm": joined["imp_from_mm"].where(located, joined["from_mm"]),
            "end_mm": end.where(located, joined["to_mm"]),
            "located": located,
            "imp_pass": joined["imp_pass"],
            "imp_side": joined["imp_side"],
        }
    )
