"""What was seen of each joint by eye, and what was examined before anybody had looked."""

from datetime import datetime
from typing import Any, Final

import numpy as np
import pandas as pd

from ndtstats.register import Register
from ndtstats.rules import standing
from ndtstats.visual.said import place
from ndtstats.visual.stretches import Cut, cut_at

#: What a joint can be to the eye, and what each means.
STATES: Final[dict[str, str]] = {
    "accepted": "all of it is accepted",
    "rejected": "some of it is rejected and not accepted again",
    "partly": "what was seen is accepted, and some was not seen",
    "not seen": "nothing was seen since it was welded",
}

#: Places are measured with a tape: half a millimetre that nobody saw is nothing.
TOLERANCE_MM = 0.5

#: Columns of :func:`visual_state`.
COLUMNS = ("job", "zone", "joint", "state", "accepted_on", "seen_mm", "length_mm", "note")

#: Examinations that come after the eye, as a weld must be sound outside before one looks inside or
#: for what is open to the surface.
AFTER_VISUAL = ("RT", "UT", "PT", "MT")


def visual_state(register: Register, *, job: str, as_of: datetime | None = None) -> pd.DataFrame:
    """Return how each joint of a job stands to the eye.

    Parameters
    ----------
    job : str
        The job.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        One row a joint that was not cut out, columns :data:`COLUMNS`: ``state`` (one of
        :data:`STATES`); ``accepted_on``, the day by which accepted examinations had covered all
        of it; ``seen_mm``, how much of ``length_mm`` has a verdict; ``note``, the reason.

    Notes
    -----
    Of several verdicts on one place the latest counts. An examination dated before some of its
    place was welded says nothing of that part: a weld is looked at when it is complete (common
    practice, no source). Every weld is looked at whole: EN 1090-2, 12.4.2.1 (from memory).

    See Also
    --------
    state_of_joints : The same of plain frames.
    """
    joints = standing(register.table("joints", job=job, as_of=as_of))
    examinations = register.table("examinations", job=job, as_of=as_of)
    deposits = register.table("deposits", job=job, as_of=as_of)
    state = state_of_joints(joints, examinations[examinations["method"] == "VT"], deposits)
    early = examined_before_seen(joints, examinations)
    first = early.drop_duplicates("joint").set_index("joint")["words"]
    told = _of(first, state["joint"])
    note = (state["note"] + "; " + told).str.removeprefix("; ").fillna(state["note"])
    return state.assign(note=note)


def state_of_joints(
    joints: pd.DataFrame, visuals: pd.DataFrame, deposits: pd.DataFrame
) -> pd.DataFrame:
    """Return how joints stand to the eye, as :func:`visual_state` does.

    Parameters
    ----------
    joints : DataFrame
        Columns ``job``, ``zone``, ``joint``, ``length_mm``.
    visuals : DataFrame
        Visual examinations: ``joint``, ``from_mm``, ``to_mm``, ``round``, ``verdict``, ``date``,
        ``report``, ``remark``, and ``id``, which settles which of two on one day came later.
    deposits : DataFrame
        ``joint``, ``from_mm``, ``to_mm``, ``date``.

    Examples
    --------
    >>> joints = pd.DataFrame({"job": "H1", "zone": "T", "joint": ["F-1"], "length_mm": [900.0]})
    >>> seen = pd.DataFrame({"joint": ["F-1"], "from_mm": [None], "to_mm": [600.0], "round": [0],
    ...     "verdict": ["accept"], "date": pd.to_datetime(["2026-03-01"]), "report": ["V-1"],
    ...     "remark": [None], "id": [1]})
    >>> welded = pd.DataFrame({"joint": [], "from_mm": [], "to_mm": [], "date": []})
    >>> state_of_joints(joints, seen, welded)[["state", "note"]].iloc[0].tolist()
    ['partly', '600 to 900 mm not seen']
    """
    judged = visuals[visuals["verdict"].isin(["accept", "reject"])]
    stretches = _with_verdicts(joints, judged, deposits)
    by = stretches.groupby("joint", sort=False)
    mm = {
        name: stretches["mm"].where(stretches["verdict"] == name, 0.0).groupby(stretches["joint"])
        for name in ("accept", "reject")
    }
    table = joints[["job", "zone", "joint", "length_mm"]].reset_index(drop=True)
    accepted, rejected = (
        _of(mm[name].sum(), table["joint"]).fillna(0.0) for name in ("accept", "reject")
    )
    whole = accepted >= table["length_mm"] - TOLERANCE_MM
    state = np.select(
        [rejected > 0, whole, accepted > 0], ["rejected", "accepted", "partly"], "not seen"
    )
    table = table.assign(state=pd.Series(state, table.index, "str"), seen_mm=accepted + rejected)
    day = _of(by["accepted_on"].max(), table["joint"]).where(table["state"] == "accepted")
    table = table.assign(accepted_on=day.astype("datetime64[s]"))
    return table.assign(note=_notes(table, stretches, visuals))[list(COLUMNS)]


def _with_verdicts(
    joints: pd.DataFrame, judged: pd.DataFrame, deposits: pd.DataFrame
) -> pd.DataFrame:
    """Return stretches with the verdict in force, its report and day, and when first accepted."""
    of = ["joint", "from_mm", "to_mm", "date", "verdict", "round", "report", "id"]
    marks = pd.concat([judged[of], deposits[of[:4]].dropna(subset="date")], ignore_index=True)
    cut = cut_at(joints[["joint", "length_mm"]], marks)
    pairs = cut.pairs.join(marks.drop(columns=["joint", "from_mm", "to_mm"]), on="mark")
    welding = pairs["verdict"].isna()
    welded = pairs[welding].groupby("stretch")["date"].max()
    seen = pairs[~welding]
    # Only days are known: what was seen on the day of welding counts.
    seen = seen[~(seen["date"] < _of(welded, seen["stretch"]))]
    last = seen.sort_values(["date", "round", "id"]).drop_duplicates("stretch", keep="last")
    rows = cut.stretches.join(last.set_index("stretch")[["verdict", "report", "date", "round"]])
    first = seen[seen["verdict"] == "accept"].groupby("stretch")["date"].min()
    known = pd.Series(rows.index, rows.index)
    return rows.assign(
        mm=rows["to_mm"] - rows["from_mm"],
        accepted_on=_of(first, known),
    )


def _notes(table: pd.DataFrame, stretches: pd.DataFrame, visuals: pd.DataFrame) -> Any:
    """Return why a joint is not accepted: where, by which report, or why nobody could look."""
    lacking = stretches[stretches["verdict"].isna() & (stretches["mm"] > TOLERANCE_MM)]
    bad = stretches[stretches["verdict"] == "reject"]
    unseen = place(lacking) + " not seen"
    report = bad["report"].astype("str")
    where = place(bad) + " rejected on " + _day(bad["date"]) + ", report " + report
    hindered = visuals[visuals["verdict"] == "not done"].sort_values(["date", "id"])
    why = "not done: " + hindered["remark"].astype("str").fillna("no reason given")
    of_bad, of_lacking, of_hindered = (
        words.groupby(rows["joint"]).agg(pick)
        for words, rows, pick in (
            (where, bad, "first"),
            (unseen, lacking, "first"),
            (why, hindered, "last"),
        )
    )
    joint = table["joint"]
    cases = {
        "rejected": _of(of_bad, joint),
        "partly": _of(of_lacking, joint),
        "not seen": _of(of_hindered, joint),
    }
    note = np.select([table["state"] == name for name in cases], list(cases.values()), "")
    return pd.Series(note, table.index, dtype="str").fillna("")


def _of(known: Any, keys: "pd.Series[Any]") -> Any:
    """Return what is known of each key; unlike a map it keeps its type where nothing is known."""
    return known.reindex(keys).set_axis(keys.index)


def _day(dates: Any) -> "pd.Series[str]":
    days = np.datetime_as_string(dates.to_numpy("datetime64[s]"), unit="D")
    return pd.Series(days, dates.index, dtype="str")


def examined_before_seen(joints: pd.DataFrame, examinations: pd.DataFrame) -> pd.DataFrame:
    """Return the examinations of places that nobody had accepted by eye on that day.

    Parameters
    ----------
    joints : DataFrame
        Columns ``joint``, ``length_mm``.
    examinations : DataFrame
        All examinations of the job.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``method``, ``date``, ``report``, ``words``, in the order of the days.
        Later repairs change nothing: what had been accepted when it was examined was in order.

    Notes
    -----
    The eye comes first, as the weld must be sound outside before one looks inside (ASME B31.1,
    EN 13445-5; seen).
    """
    of = ["joint", "from_mm", "to_mm", "method", "verdict", "date", "report"]
    kinds = examinations["method"].isin(AFTER_VISUAL) & examinations["verdict"].isin(
        ["accept", "reject"]
    )
    accepted = (examinations["method"] == "VT") & (examinations["verdict"] == "accept")
    marks = examinations.loc[kinds | accepted, of].reset_index(drop=True)
    cut: Cut = cut_at(joints[["joint", "length_mm"]], marks)
    pairs = cut.pairs.join(marks[["method", "date"]], on="mark")
    seen = pairs[pairs["method"] == "VT"].groupby("stretch")["date"].min()
    later = pairs[pairs["method"] != "VT"]
    unseen = ~(_of(seen, later["stretch"]) <= later["date"])
    size = (cut.stretches["to_mm"] - cut.stretches["from_mm"]).reindex(later["stretch"])
    unseen &= (size > TOLERANCE_MM).to_numpy()
    early = marks.loc[marks.index.isin(later.loc[unseen, "mark"])]
    early = early.sort_values(["date", "joint"], kind="stable", ignore_index=True)
    words = early["method"] + " " + early["report"] + " of " + _day(early["date"])
    words += " came before it was accepted by eye"
    return early.assign(words=words.astype("str"))[["joint", "method", "date", "report", "words"]]


def left_to_see(register: Register, *, job: str, as_of: datetime | None = None) -> pd.DataFrame:
    """Return each place of a job that is still to be looked at, or to be looked at again.

    Parameters
    ----------
    job : str
        The job.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, ``round`` (0; after a reject the next one) and
        ``note``, joint by joint along each. Neighbouring places of the same state are one.

    Notes
    -----
    What counts as seen: :func:`visual_state`.
    """
    joints = standing(register.table("joints", job=job, as_of=as_of))
    examinations = register.table("examinations", job=job, as_of=as_of)
    visuals = examinations[examinations["method"] == "VT"]
    deposits = register.table("deposits", job=job, as_of=as_of)
    judged = visuals[visuals["verdict"].isin(["accept", "reject"])]
    rows = _with_verdicts(joints, judged, deposits)
    rows = rows[
        (rows["verdict"].isna() & (rows["mm"] > TOLERANCE_MM)) | (rows["verdict"] == "reject")
    ]
    report = rows["report"].astype("str")
    note = "rejected on " + _day(rows["date"]) + ", report " + report
    rows = rows.assign(
        note=note.where(rows["verdict"] == "reject", "not seen").astype("str"),
        round=rows["round"].fillna(-1).astype("int64") + 1,
    )
    before = rows.shift()
    apart = (rows["joint"] != before["joint"]) | (rows["from_mm"] != before["to_mm"])
    group = (apart | (rows["note"] != before["note"])).cumsum()
    return rows.groupby(group, as_index=False).agg(
        joint=("joint", "first"), from_mm=("from_mm", "first"), to_mm=("to_mm", "last"),
        round=("round", "max"), note=("note", "first"),
    )[["joint", "from_mm", "to_mm", "round", "note"]]  # fmt: skip
