"""How the contractor answers: how long it takes, which images are no good, what is corrected.

Nothing here tells why a place was chosen, or what was found in a weld.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.planning import plan_spots
from ndtstats.register import Register
from ndtstats.request.reconcile import STATES, reconcile
from ndtstats.statistics import proportion_interval

#: Columns of what was asked and what came back, and their types.
ASKED: dict[str, str] = {
    "job": "str", "plan": "str", "spot": "str", "joint": "str", "method": "str", "round": "Int64",
    "asked_from_mm": "float64", "asked_to_mm": "float64", "examined_from_mm": "float64",
    "examined_to_mm": "float64", "state": "str", "date": "datetime64[s]", "report": "str",
    "reason": "str", "asked_on": "datetime64[s]", "days": "float64",
}  # fmt: skip

#: States of a spot that was examined, well or not quite as asked.
EXAMINED = ("done", "short", "shifted")


def asked_and_answered(
    register: Register, *, job: str | None = None, as_of: datetime | None = None
) -> pd.DataFrame:
    """Return each spot that was asked for with what became of it, and what nobody asked for.

    Parameters
    ----------
    job : str, optional
        Only the plans of this job; else of all.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        Columns :data:`ASKED`. ``state`` is one of :data:`ndtstats.request.STATES`, or "not welded"
        where the joint waits to be welded, so that nobody was asked yet. ``reason`` is the remark
        of what was not done. ``asked_on`` is the first day on which the spot could be examined: the
        latest of the draw, the welding of its joint and, for a substitute, the day on which the
        place before it was not done. ``days`` from then to its examination, for first examinations
        only: when a repair was ready to be examined again is not recorded. Negative days mean that
        an image answers that was taken before. Reserves that nobody needed are left out.

    Notes
    -----
    Days are calendar days, the day of the draw in UTC. A spot examined in several exposures is
    answered with the last of them.
    """
    plans = register.table("plans", job=job, as_of=as_of, columns=_HEAD)
    parts = [
        _of_plan(register, plan, name, drawn_at, as_of)
        for plan, name, drawn_at in plans[_HEAD].itertuples(index=False)
    ]
    if not parts:
        return pd.DataFrame(columns=list(ASKED)).astype(ASKED)
    rows = _each_once(pd.concat(parts, ignore_index=True))
    welded = _welded(register, rows, job, as_of)
    begun = rows[["drawn", "called"]].assign(welded=welded["last"]).max(axis=1)
    waits = (rows["state"] == "open") & welded["last"].isna() & welded["recorded"]
    rows = rows.assign(
        reason=_reasons(register, rows, job, as_of),
        asked_on=begun.where(rows["state"] != "unasked"),
        state=rows["state"].mask(waits, "not welded"),
    )
    days = (rows["date"] - rows["asked_on"]).dt.days
    timed = rows["state"].isin(EXAMINED) & (rows["round"] == 0)
    return rows.assign(days=days.where(timed))[list(ASKED)].astype(ASKED)


_HEAD = ["plan", "job", "drawn_at"]


def _of_plan(
    register: Register, plan: str, job: str, drawn_at: str, as_of: datetime | None
) -> pd.DataFrame:
    """Return the spots of one plan that were asked for, and since when they could be."""
    states = reconcile(register, plan, as_of=as_of)
    part = plan_spots(register, plan, as_of).set_index("spot")["part"]
    # A substitute was called for when the place before it turned out to be out of reach.
    replaced = states.dropna(subset="substitute").set_index("substitute")["date"]
    called = replaced.reindex(states["spot"]).set_axis(states.index)
    idle = (states["spot"].map(part) == "reserve") & ~states["spot"].isin(replaced.index)
    drawn = pd.Timestamp(drawn_at).tz_convert("UTC").tz_localize(None).normalize().as_unit("s")
    rows = states.assign(job=job, plan=plan, drawn=drawn, called=called)
    return rows[~idle]


def _each_once(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows without the doubles of what nobody asked for: every earlier plan tells of it."""
    place = ["job", "joint", "method", "examined_from_mm", "examined_to_mm", "date", "report"]
    twice = (rows["state"] == "unasked") & rows.duplicated([*place, "state"], keep="last")
    return rows[~twice].reset_index(drop=True)


def _reasons(
    register: Register, rows: pd.DataFrame, job: str | None, as_of: datetime | None
) -> "pd.Series[str]":
    """Return why places were not done: by request id, else by what the report says of the joint."""
    where = ["job", "joint", "method", "date", "report"]
    told = register.table(
        "examinations", job=job, as_of=as_of, columns=["request", *where, "verdict", "remark"]
    )
    told = told[(told["verdict"] == "not done") & told["remark"].notna()]
    named = told.dropna(subset="request").drop_duplicates("request", keep="last")
    by_place = told.drop_duplicates(where, keep="last").set_index(where)["remark"]
    asked = named.set_index("request")["remark"].reindex(rows["spot"]).to_numpy()
    placed = by_place.reindex(pd.MultiIndex.from_frame(rows[where])).to_numpy()
    said = pd.Series(asked, rows.index, dtype="str").fillna(pd.Series(placed, rows.index))
    return said.where(rows["state"] == "not done").astype("str")


def _welded(
    register: Register, rows: pd.DataFrame, job: str | None, as_of: datetime | None
) -> pd.DataFrame:
    """Return when the joint of each row was welded, as far as is recorded.

    ``last`` is the last day of welding that is not after the examination: what was welded later is
    a repair. ``recorded`` says whether the job records its welding at all.
    """
    deposits = register.table("deposits", job=job, as_of=as_of, columns=["job", "joint", "date"])
    days = deposits[["job", "joint", "date"]].drop_duplicates()
    pairs = rows[["job", "joint", "date"]].reset_index().merge(
        days, on=["job", "joint"], suffixes=("", "_welded")
    )  # fmt: skip
    pairs = pairs[~(pairs["date_welded"] > pairs["date"])]
    last = pairs.groupby("index")["date_welded"].max().reindex(rows.index)
    return pd.DataFrame({"last": last, "recorded": rows["job"].isin(deposits["job"])})


def waiting_days(rows: pd.DataFrame, today: pd.Timestamp) -> pd.DataFrame:
    """Return what the time to an answer is estimated from, open requests included.

    Parameters
    ----------
    rows : DataFrame
        Of :func:`asked_and_answered`.
    today : Timestamp
        The day up to which the open ones have waited.

    Returns
    -------
    DataFrame
        ``days`` and ``answered``, for :func:`ndtstats.statistics.waiting.answered_within`. Left out
        are places examined before they were asked for, and places that were not done.

    Examples
    --------
    >>> rows = pd.DataFrame({"state": ["done", "open"], "round": [0, 0], "days": [4.0, None],
    ...     "asked_on": pd.to_datetime(["2026-03-01", "2026-03-01"])})
    >>> waiting_days(rows, pd.Timestamp("2026-03-11")).to_numpy().tolist()
    [[4.0, True], [10.0, False]]
    """
    answered = rows["days"] >= 0
    open_now = (rows["state"] == "open") & (rows["round"] == 0)
    so_far = (today - rows["asked_on"]).dt.days.clip(lower=0)
    days = rows["days"].where(answered, so_far)
    found = pd.DataFrame({"days": days.astype("float64"), "answered": answered})
    return found[answered | open_now].reset_index(drop=True)


def image_quality(
    examinations: pd.DataFrame, by: Sequence[str] = (), *, level: float = 0.95
) -> pd.DataFrame:
    """Return how many exposures had to be taken again, with exact bounds.

    Parameters
    ----------
    examinations : DataFrame
        ``verdict``, and for the columns of ``by``: ``date`` for "month", else the column itself.
    by : sequence of str
        "month", "method", "technician" and the like; none: all together.
    level : float
        Confidence level of the bounds.

    Returns
    -------
    DataFrame
        The columns of ``by``, then ``reshoots``, ``taken``, ``rate``, ``lower``, ``upper``. What
        was not done was not taken. A blank technician stands as "not named".

    Notes
    -----
    Clopper & Pearson 1934. Images of one visit fail together; the bounds take each for itself.

    Examples
    --------
    >>> seen = pd.DataFrame({"verdict": ["accept", "re-shoot", "reject", "not done"]})
    >>> image_quality(seen)[["reshoots", "taken"]].values.tolist()
    [[1, 3]]
    """
    taken = examinations[examinations["verdict"] != "not done"]
    flags = pd.DataFrame({name: _named(taken, name) for name in by}, index=taken.index)
    flags = flags.assign(again=taken["verdict"] == "re-shoot")
    if by:
        table = flags.groupby(list(by), sort=True)["again"].agg(["sum", "size"]).reset_index()
    else:
        table = pd.DataFrame({"sum": [int(flags["again"].sum())], "size": [len(flags)]})
    table = table.rename(columns={"sum": "reshoots", "size": "taken"})
    bounds = proportion_interval(table["reshoots"], table["taken"], level=level)
    with np.errstate(invalid="ignore"):
        rate = table["reshoots"].to_numpy(float) / table["taken"].to_numpy(float)
    return table.assign(rate=rate, lower=bounds.lower, upper=bounds.upper)


def _named(rows: pd.DataFrame, name: str) -> Any:
    if name == "month":
        return np.datetime_as_string(rows["date"].to_numpy(), unit="M").astype(object)
    return rows[name].fillna("not named")


def corrections(log: pd.DataFrame) -> pd.DataFrame:
    """Return the files of examinations that were loaded, with what each corrected and left out.

    Parameters
    ----------
    log : DataFrame
        The log of the register: ``number``, ``at``, ``kind``, ``subject``, ``source``, ``new``,
        ``unchanged``, ``corrected``, ``left_out``.

    Returns
    -------
    DataFrame
        ``number``, ``at``, ``month`` of the load, ``source``, ``new``, ``unchanged``,
        ``corrected`` (rows that replaced an earlier one with the same key and other content) and
        ``left_out`` (rows that could not be taken as they were).
    """
    loads = log[(log["kind"] == "load") & (log["subject"] == "examinations")]
    columns = ["number", "at", "month", "source", "new", "unchanged", "corrected", "left_out"]
    month = loads["at"].dt.strftime("%Y-%m").astype("str") if len(loads) else pd.Series(dtype="str")
    return loads.assign(month=month)[columns].reset_index(drop=True)


def states_counted(rows: pd.DataFrame) -> "pd.Series[int]":
    """Return how many spots stand in each state, in the order in which states are told."""
    order = [*(state for state in STATES if state != "reserve"), "not welded"]
    return rows["state"].value_counts().reindex(order, fill_value=0)
