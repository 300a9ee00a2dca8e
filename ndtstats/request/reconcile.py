"""What was asked against what came back: done, short, shifted, not done, open, unasked."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.places import filled_places
from ndtstats.planning import plan_head, plan_spots
from ndtstats.register import Register
from ndtstats.request.matching import (
    match_examinations,
    shared_places,
)
from ndtstats.statistics import union_length
from ndtstats.units import SLACK_MM

#: A place is shifted if either end is off by more than this: common practice, no source.
TOLERANCE_MM = 50.0

#: What can have become of a spot, in the order in which it is told.
STATES = ("done", "short", "shifted", "not done", "open", "reserve", "unasked")

#: Columns of the result, in order, and their types.
COLUMNS: dict[str, str] = {
    "spot": "str",
    "joint": "str",
    "method": "str",
    "round": "Int64",
    "asked_from_mm": "float64",
    "asked_to_mm": "float64",
    "examined_from_mm": "float64",
    "examined_to_mm": "float64",
    "state": "str",
    "verdict": "str",
    "date": "datetime64[s]",
    "report": "str",
    "substitute": "str",
    "note": "str",
}

#: Verdicts that say something about the weld.
_JUDGED = ("accept", "reject")


def reconcile(
    register: Register,
    plan: str,
    *,
    tolerance_mm: float = TOLERANCE_MM,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return each spot of a plan with what became of it, and the examinations nobody asked for.

    Parameters
    ----------
    plan : str
        Number of the plan.
    tolerance_mm : float
        How far an end may be off before a place counts as shifted.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`, spots in the order of the request, then what was not asked for.
        ``state`` is ``done``; ``short`` (less length examined than asked); ``shifted`` (as long,
        but off by more than the tolerance); ``not done`` (``substitute`` names the reserve that
        takes its place, if one is left); ``open`` (no answer, or an image that is no good);
        ``reserve`` (not needed so far); or ``unasked`` (a first examination by a method of the
        plan, recorded since, that answers no spot of any plan). ``note`` says what is to be known.

    Notes
    -----
    Several exposures that answer one spot count together: their union, and reject if one of them
    is. A longer examination that shows all of a spot answers it as well, extras excepted.
    """
    head = plan_head(register, plan, as_of)
    job = str(head["job"])
    states = spot_states(register, plan, tolerance_mm=tolerance_mm, as_of=as_of)
    planned = register.table("spots", job=job, as_of=as_of)
    strange = _unasked(_examined_on(register, job, as_of), planned, head)
    return pd.concat([_shown(states), _shown(strange)], ignore_index=True)


def spot_states(
    register: Register,
    plan: str,
    *,
    tolerance_mm: float = TOLERANCE_MM,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return the stored spots of a plan with what became of each.

    Parameters, ``state``, ``substitute`` and ``note`` as for :func:`reconcile`, which tells of what
    nobody asked for as well.
    """
    spots = plan_spots(register, plan, as_of)
    job = str(plan_head(register, plan, as_of)["job"])
    examined = _examined_on(register, job, as_of)
    answers = _answers(examined[examined["joint"].isin(spots["joint"])], spots, tolerance_mm)
    return _with_substitutes(_with_states(spots, answers, tolerance_mm))


def _examined_on(register: Register, job: str, as_of: datetime | None) -> pd.DataFrame:
    """Return all examinations of a job with their places filled in."""
    rows = register.table("examinations", job=job, as_of=as_of)
    joints = register.table("joints", job=job, as_of=as_of, columns=["job", "joint", "length_mm"])
    return register.once(("examined places", job, as_of), lambda: filled_places(rows, joints))


def _answers(examined: pd.DataFrame, spots: pd.DataFrame, tolerance_mm: float) -> pd.DataFrame:
    """Return the examinations of each spot: those that answer it, and those that show all of it."""
    matched = match_examinations(examined, spots)[["examination", "spot"]]
    judged = examined[examined["verdict"].isin(_JUDGED)]
    pairs = shared_places(judged, spots[spots["part"] != "extra"])
    shows = (pairs["from_mm"] <= pairs["from_mm_asked"] + tolerance_mm) & (
        pairs["to_mm"] >= pairs["to_mm_asked"] - tolerance_mm
    )
    longer = pairs.loc[shows, ["id", "spot"]].rename(columns={"id": "examination"})
    links = pd.concat([matched, longer], ignore_index=True).drop_duplicates()
    columns = ["id", "from_mm", "to_mm", "verdict", "date", "report", "remark"]
    return links.merge(examined[columns], left_on="examination", right_on="id")


def _with_states(spots: pd.DataFrame, answers: pd.DataFrame, tolerance_mm: float) -> pd.DataFrame:
    """Return the spots with what was examined of each, and its state."""
    judged = answers["verdict"].isin(_JUDGED)
    rows = spots.join(_examined(answers[judged]), on="spot")
    # Of answers that say nothing of the weld the latest one tells how things stand.
    silent = answers[~judged].sort_values(["date", "id"]).drop_duplicates("spot", keep="last")
    silent = silent.set_index("spot").reindex(rows["spot"]).set_index(rows.index)
    rows = rows.assign(
        verdict=rows["verdict"].fillna(silent["verdict"]),
        date=rows["date"].fillna(silent["date"]),
        report=rows["report"].fillna(silent["report"]),
        remark=silent["remark"],
        answer=silent["id"],
        asked_mm=rows["to_mm"] - rows["from_mm"],
        off_mm=np.maximum(
            rows["examined_from_mm"] - rows["from_mm"], rows["to_mm"] - rows["examined_to_mm"]
        ),
    )
    state = np.select(
        [
            rows["examined_mm"] < rows["asked_mm"] - SLACK_MM,
            rows["off_mm"] > tolerance_mm,
            rows["examined_mm"].notna(),
            rows["verdict"] == "not done",
            rows["part"] == "reserve",
        ],
        ["short", "shifted", "done", "not done", "reserve"],
        default="open",
    )
    rows = rows.assign(state=pd.Series(state, index=rows.index, dtype="str"))
    return rows.assign(note=_notes(rows))


def _examined(judged: pd.DataFrame) -> pd.DataFrame:
    """Return what was examined of each spot: bounds, length of the union, verdict, last report."""
    by = judged.sort_values(["date", "id"]).groupby("spot")
    return pd.DataFrame(
        {
            "examined_from_mm": by["from_mm"].min(),
            "examined_to_mm": by["to_mm"].max(),
            "examined_mm": union_length(judged["spot"], judged["from_mm"], judged["to_mm"]),
            # In the order of the alphabet a reject outranks an accept.
            "verdict": by["verdict"].max(),
            "date": by["date"].max(),
            "report": by["report"].last(),
        }
    )


def _notes(rows: pd.DataFrame) -> Any:
    """Return what is to be known of each spot, "" where its state says it all."""
    millimetres = "{:.0f} mm".format
    examined = rows["examined_mm"].map("{:.0f}".format).astype("str")
    cases = {
        "short": examined + " of " + rows["asked_mm"].map(millimetres).astype("str") + " examined",
        "shifted": "off by " + rows["off_mm"].map(millimetres).astype("str"),
        "not done": rows["remark"].fillna("no reason given"),
    }
    note = np.select([rows["state"] == state for state in cases], list(cases.values()), default="")
    no_good = (rows["state"] == "open") & (rows["verdict"] == "re-shoot")
    return pd.Series(note, rows.index, "str").mask(no_good, "the image is no good")


def _with_substitutes(states: pd.DataFrame) -> pd.DataFrame:
    """Give each spot that was not done the next reserve of its stratum, in order of the draw.

    First come, first served: who was not done first has the first reserve, whatever comes later. A
    reserve that was not done itself is replaced by the next one after it.
    """
    keys = ["rule", "stratum"]
    lacking = states[(states["state"] == "not done") & states["part"].isin(["random", "reserve"])]
    lacking = lacking.sort_values("answer", kind="stable")
    reserves = states[states["part"] == "reserve"].sort_values("draw_order", kind="stable")
    pairs = lacking.assign(turn=lacking.groupby(keys, dropna=False).cumcount()).merge(
        reserves.assign(turn=reserves.groupby(keys, dropna=False).cumcount()),
        on=[*keys, "turn"],
        suffixes=("", "_of_reserve"),
    )
    substitute = states["spot"].map(pairs.set_index("spot")["spot_of_reserve"])
    replaces = states["spot"].map(pairs.set_index("spot_of_reserve")["spot"])
    called = replaces.notna() & (states["state"] == "reserve")
    note = states["note"].mask(called, "in place of " + replaces.astype("str"))
    alone = (states["state"] == "not done") & substitute.isna() & (states["round"] == 0)
    note = note.mask(alone, note + "; no reserve is left in its place")
    return states.assign(
        substitute=substitute, note=note, state=states["state"].mask(called, "open")
    )


def _unasked(examined: pd.DataFrame, planned: pd.DataFrame, head: Any) -> pd.DataFrame:
    """Return the first examinations recorded since the plan that answer no spot of any plan."""
    methods = planned.loc[planned["plan"] == head["plan"], "method"]
    since = examined[
        (examined["batch"] > head["batch"])
        & examined["method"].isin(methods)
        & (examined["round"] == 0)
    ]
    strange = since[~since["id"].isin(match_examinations(since, planned)["examination"])]
    asked = planned.set_index("spot").reindex(strange["request"]).set_index(strange.index)
    theirs = asked["method"].astype("str") + " of joint " + asked["joint"].astype("str")
    note = "names request " + strange["request"].astype("str") + ", which asks for " + theirs
    rows: pd.DataFrame = strange.rename(
        columns={"from_mm": "examined_from_mm", "to_mm": "examined_to_mm"}
    ).assign(state="unasked", note=note.where(asked["joint"].notna(), ""))
    return rows


def _shown(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows with exactly the columns of the result, in their types."""
    named = rows.rename(columns={"from_mm": "asked_from_mm", "to_mm": "asked_to_mm"})
    shown: pd.DataFrame = named.reindex(columns=list(COLUMNS)).astype(COLUMNS)
    return shown
