"""What was asked against what came back: done, short, shifted, not done, unasked."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.planning import plan_head, plan_spots
from ndtstats.register import Register
from ndtstats.request.matching import filled_places, match_examinations

#: A place is shifted if either end is off by more than this: common practice, no source.
TOLERANCE_MM = 50.0

COLUMNS = (
    "spot", "joint", "method", "round", "asked_from_mm", "asked_to_mm", "examined_from_mm",
    "examined_to_mm", "state", "verdict", "date", "report", "substitute",
)  # fmt: skip


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
        How far an end may be off before a place counts as shifted or short.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`. ``state`` is ``done``; ``short`` (less examined than asked);
        ``shifted`` (elsewhere than asked); ``not done`` (``substitute`` names the reserve that
        takes its place, if there is one left); ``open``; ``reserve`` (not needed so far); or
        ``unasked`` (an examination on the job since the plan that answers no spot of any plan).
    """
    head = plan_head(register, plan, as_of)
    job = str(head["job"])
    spots = plan_spots(register, plan, as_of)
    joints = register.table("joints", job=job, as_of=as_of)
    examined = filled_places(register.table("examinations", job=job, as_of=as_of), joints)
    matched = match_examinations(examined, spots)
    answers = _last_answer(matched.merge(examined, left_on="examination", right_on="id"))
    rows = spots.merge(answers, on="spot", how="left", suffixes=("", "_examined"))
    states = rows.assign(state=_states(rows, tolerance_mm))
    states = _with_substitutes(states)
    return pd.concat([_shown(states), _unasked(register, examined, head, as_of)], ignore_index=True)


def _last_answer(answers: pd.DataFrame) -> pd.DataFrame:
    """Return the examination that settles each spot: the latest one that says something."""
    weight = {"accept": 2, "reject": 2, "not done": 1, "re-shoot": 0}
    ranked = answers.assign(weight=answers["verdict"].astype(object).map(weight).astype("int64"))
    ranked = ranked.sort_values(["spot", "weight", "date", "id"])
    last = ranked.drop_duplicates("spot", keep="last")
    return last[["spot", "from_mm", "to_mm", "verdict", "date", "report"]]


def _states(rows: pd.DataFrame, tolerance_mm: float) -> Any:
    judged = rows["verdict"].isin(["accept", "reject"])
    asked = rows["to_mm"] - rows["from_mm"]
    examined = rows["to_mm_examined"] - rows["from_mm_examined"]
    off = np.maximum(
        (rows["from_mm_examined"] - rows["from_mm"]).abs(),
        (rows["to_mm_examined"] - rows["to_mm"]).abs(),
    )
    covers = (rows["from_mm_examined"] <= rows["from_mm"] + tolerance_mm) & (
        rows["to_mm_examined"] >= rows["to_mm"] - tolerance_mm
    )
    waiting = np.where(rows["part"] == "reserve", "reserve", "open")
    return np.select(
        [
            judged & (examined < asked - tolerance_mm),
            judged & ~covers & (off > tolerance_mm),
            judged,
            rows["verdict"] == "not done",
        ],
        ["short", "shifted", "done", "not done"],
        default=waiting,
    )


def _with_substitutes(states: pd.DataFrame) -> pd.DataFrame:
    """Give each spot that was not done the next reserve of its stratum, in order of the draw.

    A reserve that was not done itself is replaced by the next one after it.
    """
    rows = states.sort_values("draw_order", kind="stable")
    keys = ["rule", "stratum"]
    lacking = rows[(rows["state"] == "not done") & rows["part"].isin(["random", "reserve"])]
    reserves = rows[rows["part"] == "reserve"]
    lacking = lacking.assign(turn=lacking.groupby(keys).cumcount())
    reserves = reserves.assign(turn=reserves.groupby(keys).cumcount())
    pairs = lacking[[*keys, "turn", "spot"]].merge(
        reserves[[*keys, "turn", "spot"]], on=[*keys, "turn"], suffixes=("", "_substitute")
    )
    substitute = pairs.set_index("spot")["spot_substitute"]
    called = states["spot"].isin(substitute) & (states["state"] == "reserve")
    return states.assign(
        substitute=states["spot"].map(substitute).astype("str"),
        state=states["state"].mask(called, "open"),
    )


def _shown(states: pd.DataFrame) -> pd.DataFrame:
    names = {
        "from_mm": "asked_from_mm",
        "to_mm": "asked_to_mm",
        "from_mm_examined": "examined_from_mm",
        "to_mm_examined": "examined_to_mm",
    }
    return states.rename(columns=names)[list(COLUMNS)]


def _unasked(
    register: Register, examined: pd.DataFrame, head: Any, as_of: datetime | None
) -> pd.DataFrame:
    """Return the examinations recorded since the plan that answer no spot of any plan."""
    spots = register.table("spots", job=str(head["job"]), as_of=as_of)
    methods = spots.loc[spots["plan"] == head["plan"], "method"]
    since = examined[(examined["batch"] > head["batch"]) & examined["method"].isin(methods)]
    strange = since[~since["id"].isin(match_examinations(since, spots)["examination"])]
    rows = strange.assign(
        state="unasked", spot=None, substitute=None,
        examined_from_mm=strange["from_mm"], examined_to_mm=strange["to_mm"],
        asked_from_mm=np.nan, asked_to_mm=np.nan,
    )  # fmt: skip
    unasked: pd.DataFrame = rows[list(COLUMNS)]
    return unasked
