"""Which examinations were chosen by rule or by chance, and with what weight.

Only these support an unbiased rate. What was aimed at, what escalation asked for, and what nobody
planned describe what was examined and nothing more; they carry no weight.
"""

from typing import Any

import numpy as np
import pandas as pd

#: An examination stands for its spot if at least this share of the shorter of the two is common to
#: both; from this share on, two of one spot are the same look twice. Common practice, no source.
COMMON_SHARE = 0.5


#: What is said of examinations of which no plan knows.
_UNPLANNED: dict[str, Any] = {
    "spot": None, "part": "unplanned", "pi": np.nan, "stratum": None, "weight": np.nan,
}  # fmt: skip


def with_parts(
    rows: pd.DataFrame, spots: pd.DataFrame, plans: pd.DataFrame, not_done: "pd.Series[str]"
) -> pd.DataFrame:
    """Return first examinations with the part of a plan that each belongs to.

    Parameters
    ----------
    rows : DataFrame
        First examinations that say something of the weld, indexed from 0.
    spots, plans : DataFrame
        Tables of the register.
    not_done : Series
        Ids of the spots that were reported as not done.

    Returns
    -------
    DataFrame
        ``rows`` with ``spot`` (missing if none); ``part`` (required, random, reserve, targeted,
        extra, or unplanned); ``pi``; ``stratum`` (plan, rule and stratum of the draw); ``weight``:
        1 for required spots, 1 / pi for random ones and for reserves that stand in for one, and
        missing for the rest. How reserves are drawn makes their own weight the right one
        (:func:`ndtstats.planning.draw.draw_reserves`).

    Notes
    -----
    Without a weight, whatever their part, are: an examination that is mostly elsewhere than the
    spot it was asked for, since somebody chose the place; a second look at what another examination
    of the spot has shown; and a reserve that stands in for nothing.

    An examination answers no plan that was drawn after its day: it was chosen in another way.
    """
    # Plans reach few of the joints; that a number may come again in another job does no harm here.
    near = np.flatnonzero(rows["joint"].isin(spots["joint"]))
    if not len(near):
        return rows.assign(**_UNPLANNED)
    known = _near_spots(rows.take(near), spots.assign(stratum=_stratum(spots)), plans, not_done)
    told = known[["spot", "part", "pi", "stratum", "weight"]].reindex(rows.index)
    return rows.assign(**told.fillna({"part": "unplanned"}))


def _near_spots(
    rows: pd.DataFrame, spots: pd.DataFrame, plans: pd.DataFrame, not_done: "pd.Series[str]"
) -> pd.DataFrame:
    """Return what :func:`with_parts` does of the examinations on joints that have a spot."""
    answers = _answers(rows, spots, plans).reindex(rows["id"])
    asked = spots.set_index("spot").reindex(answers).set_axis(rows.index)
    result = rows.assign(
        spot=answers.set_axis(rows.index),
        part=asked["part"].fillna("unplanned"),
        pi=asked["pi"],
        stratum=asked["stratum"],
    )
    stands = _stands_for_its_spot(result, asked) & ~_seen_before(result)
    weight = np.select(
        [result["part"] == "required", result["part"] == "random", result["part"] == "reserve"],
        [1.0, 1 / result["pi"], result["spot"].map(_of_reserves(result[stands], spots, not_done))],
        default=np.nan,
    )
    return result.assign(weight=np.where(stands, weight, np.nan))


def _stratum(spots: pd.DataFrame) -> Any:
    plan, rule, stratum = (spots[name].fillna("") for name in ("plan", "rule", "stratum"))
    return plan + "|" + rule + "|" + stratum


def _answers(rows: pd.DataFrame, spots: pd.DataFrame, plans: pd.DataFrame) -> "pd.Series[str]":
    """Return the spot of each examination that answers one, indexed by the examination's id."""
    # Slow to import, with all of planning behind it, and only where there is a plan.
    from ndtstats.request import match_examinations  # noqa: PLC0415

    drawn = pd.to_datetime(plans["drawn_at"], utc=True, format="ISO8601").dt.tz_localize(None)
    day_of_plan = drawn.dt.floor("D").set_axis(plans["plan"])
    day = day_of_plan.reindex(spots["plan"]).to_numpy("datetime64[s]")
    spots = spots.assign(day=day).sort_values("day", kind="stable")
    by_id = rows["request"].isin(spots["spot"])
    parts = [match_examinations(rows[by_id], spots)]
    # Examinations between the same two plans have the same spots to choose from.
    days = np.unique(spots["day"].dropna().to_numpy())
    earlier = np.searchsorted(days, rows["date"].to_numpy(days.dtype), side="right")
    for number in np.unique(earlier[~by_id]):
        mine = rows[(earlier == number) & ~by_id]
        parts.append(_by_place(mine, spots[~spots["day"].isin(days[number:])]))
    answers = pd.concat(parts, ignore_index=True).drop_duplicates("examination")
    return answers.set_index("examination")["spot"]


def _by_place(rows: pd.DataFrame, spots: pd.DataFrame) -> pd.DataFrame:
    """Return matches by place; what the register knew before the draw was not drawn by it."""
    from ndtstats.request import match_examinations  # noqa: PLC0415  (as above)

    place = ["job", "joint", "method", "round", "from_mm", "to_mm"]
    # A place drawn again belongs to the latest plan: that was the one being worked through.
    found = match_examinations(rows, spots.drop_duplicates(place, keep="last"))
    known = rows.set_index("id")["batch"].reindex(found["examination"]).to_numpy()
    asked = spots.set_index("spot")["batch"].reindex(found["spot"]).to_numpy()
    return found[known >= asked]


def _stands_for_its_spot(rows: pd.DataFrame, asked: pd.DataFrame) -> Any:
    """Return which examinations show enough of the spot that they were asked for."""
    low = np.maximum(rows["from_mm"], asked["from_mm"])
    high = np.minimum(rows["to_mm"], asked["to_mm"])
    examined = rows["to_mm"] - rows["from_mm"]
    shorter = np.minimum(examined, asked["to_mm"] - asked["from_mm"])
    return high - low >= COMMON_SHARE * shorter


def _seen_before(rows: pd.DataFrame) -> Any:
    """Return which examinations show mostly what an earlier one of the same spot has shown."""
    several = rows[rows["spot"].notna() & rows["spot"].duplicated(keep=False)]
    several = several.sort_values(["date", "id"]).assign(turn=range(len(several)))
    columns = ["id", "spot", "from_mm", "to_mm", "turn"]
    pairs = several[columns].merge(several[columns], on="spot", suffixes=("", "_before"))
    low = np.maximum(pairs["from_mm"], pairs["from_mm_before"])
    high = np.minimum(pairs["to_mm"], pairs["to_mm_before"])
    mostly = high - low >= COMMON_SHARE * (pairs["to_mm"] - pairs["from_mm"])
    again = mostly & (pairs["turn_before"] < pairs["turn"])
    return rows["id"].isin(pairs.loc[again, "id"])


def _of_reserves(rows: pd.DataFrame, spots: pd.DataFrame, not_done: "pd.Series[str]") -> Any:
    """Return the weight of each reserve that stands in for a spot, by its own spot.

    In each stratum the reserves stand in, in the order of the draw, for the random spots that have
    no result: first for those reported as not done.
    """
    lacking = spots[(spots["part"] == "random") & ~spots["spot"].isin(rows["spot"])]
    lacking = lacking.assign(open=~lacking["spot"].isin(not_done))
    lacking = lacking.sort_values(["open", "draw_order"], kind="stable")
    used = spots[(spots["part"] == "reserve") & spots["spot"].isin(rows["spot"])]
    used = used.sort_values("draw_order", kind="stable")
    pairs = used.assign(turn=used.groupby("stratum").cumcount()).merge(
        lacking.assign(turn=lacking.groupby("stratum").cumcount())[["stratum", "turn"]],
        on=["stratum", "turn"],
    )
    return 1 / pairs.set_index("spot")["pi"]
