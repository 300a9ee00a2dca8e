"""What examiners write down: rows of examinations from what a look at the welds shows.

A place with several imperfections has a row for each, as the table of examinations wants it.
"""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.demo.frames import later, shaped
from ndtstats.demo.truth import INDICATION, seen

#: Share of images that are no good and taken again, and of places that cannot be reached.
_RESHOT, _UNREACHED = 0.04, 0.03

_TECHNICIAN = {
    "VT": "Inspector Lea", "PT": "Technician Mia", "RT": "Technician Nils", "UT": "Technician Ole",
}  # fmt: skip


def written(places: pd.DataFrame, truth: pd.DataFrame) -> pd.DataFrame:
    """Return places as examined: verdict, and a row for each indication.

    Parameters
    ----------
    places : DataFrame
        ``job``, ``joint``, ``method``, ``from_mm``, ``to_mm`` and whatever else stands in the row.
    truth : DataFrame
        See :func:`ndtstats.demo.truth.truth_table`.
    """
    shown = seen(truth, places)
    rejected = shown.loc[shown["imp_rejectable"], "place"].unique()
    verdict = np.where(places.index.isin(rejected), "reject", "accept")
    told = shown.set_index("place")
    return places.assign(verdict=verdict).join(told).reset_index(drop=True)


def examined(places: pd.DataFrame, truth: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return places as written, with images taken again and places that nobody could reach.

    ``places`` has columns ``report`` and ``date`` too; exposures are numbered within each report.
    """
    places = numbered(places)
    chance = pd.Series(rng.random(len(places)), index=places.index)
    image = places["method"].isin(["RT"])
    unreached = image & (chance < _UNREACHED)
    reshot = image & ~unreached & (chance < _UNREACHED + _RESHOT)
    done = places[~unreached].assign(
        exposure=places["exposure"].where(~reshot, places["exposure"] + "A")
    )
    missed = places[unreached].assign(
        verdict="not done", remark="no access: pipe in the way", exposure=None
    )
    spoilt = places[reshot].assign(verdict="re-shoot", remark="density too low")
    # An image that was no good stands before the one that replaced it.
    rows = pd.concat([spoilt, written(done, truth), missed], ignore_index=True)
    order = ["date", "report", "joint", "from_mm"]
    return rows.sort_values(order, kind="stable", ignore_index=True)


def numbered(places: pd.DataFrame, letter: str = "") -> pd.DataFrame:
    """Return places with exposure numbers, counted within each report."""
    numbers = places.groupby("report").cumcount() + 1
    return places.assign(exposure=letter + numbers.astype(str))


def signed(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows as an examinations table, with who examined."""
    technician = rows["method"].map(_TECHNICIAN)
    rows = rows.assign(technician=technician, technician_level=2)
    return shaped("examinations", rows)


def weekly_report(prefix: Any, date: Any) -> Any:
    """Return report numbers: one report a week, under a prefix or one for each row.

    Examples
    --------
    >>> weekly_report("R", pd.Series(pd.to_datetime(["2026-03-10"]))).tolist()
    ['R-26-11']
    """
    week = date.dt.isocalendar().week.astype(str).str.zfill(2)
    return prefix + "-" + date.dt.strftime("%y") + "-" + week


def visual_results(
    joints: pd.DataFrame, truth: pd.DataFrame, rng: np.random.Generator, *, left_out: int = 0
) -> pd.DataFrame:
    """Return the visual examination of every welded joint, mended and seen again where rejected.

    Parameters
    ----------
    left_out : int
        Joints, among those welded first, whose visual examination nobody wrote down.
    """
    made = joints[joints["welded"].notna()].reset_index(drop=True)
    long_butts = (made["joint_type"] == "butt") & made["whole"].isna()
    first = made[long_butts].sort_values("welded", kind="stable").index
    made = made.drop(first[:left_out]).reset_index(drop=True)
    date = later(made["welded"], rng.integers(0, 2, len(made)))
    places = made[["job", "joint"]].assign(
        method="VT", from_mm=0.0, to_mm=made["length_mm"], date=date, round=0
    )
    rows = written(places, truth)
    mended = rows[rows["verdict"] == "reject"].drop_duplicates(["joint"])
    mended = mended.drop(columns=list(INDICATION)).assign(
        verdict="accept", round=1, date=later(mended["date"], 2)
    )
    rows = pd.concat([rows, mended], ignore_index=True)
    # All of the joint was looked at: the table leaves the bounds blank then.
    rows = rows.assign(report=weekly_report("VT", rows["date"]), from_mm=np.nan, to_mm=np.nan)
    return signed(rows.sort_values(["date", "joint", "round"], kind="stable"))
