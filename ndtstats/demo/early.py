"""Radiographs of the hull from the months before there was a plan: chosen as one used to choose.

Nobody wrote down why these places and not others, so they describe what was examined and no more.
"""

import numpy as np
import pandas as pd

from ndtstats.demo.frames import later
from ndtstats.demo.results import examined, numbered, signed, weekly_report, written
from ndtstats.demo.truth import INDICATION

#: Joints welded up to this day were examined without a plan.
EARLY_UNTIL = pd.Timestamp("2026-05-13")

_CATEGORIES = ("SHELL-BUTT", "SHELL-SEAM", "BHD-BUTT")
_FILM_MM = 300.0


def early_results(
    joints: pd.DataFrame, truth: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Return the early examinations: first ones, extras beside rejects, repairs R1 and one R2."""
    made = joints[joints["category"].isin(_CATEGORIES) & (joints["welded"] <= EARLY_UNTIL)]
    places = _films(made.reset_index(drop=True), rng)
    first = examined(places, truth, rng)
    rejects = first[first["verdict"] == "reject"].drop_duplicates(["joint", "from_mm"])
    rejects = rejects.sort_values(["date", "joint"], ignore_index=True)
    extras = _beside(rejects, made, truth)
    repairs = _repairs(rejects)
    rows = pd.concat([first, extras, repairs], ignore_index=True)
    return signed(rows.sort_values(["date", "report", "joint", "from_mm"], kind="stable"))


def _films(made: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return a film for about each metre and a half of joint, no two of them over one another."""
    number = np.ceil(made["length_mm"] / 1500.0).astype(int)
    rows = made.loc[made.index.repeat(number)]
    at = rows.groupby(level=0).cumcount()
    share = rows["length_mm"] / np.repeat(number, number)
    room = np.maximum(share - _FILM_MM, 0.0)
    start = np.round(at * share + rng.random(len(rows)) * room, -1)
    end = np.minimum(start + _FILM_MM, rows["length_mm"])
    date = later(rows["welded"], rng.integers(2, 6, len(rows)))
    return pd.DataFrame(
        {
            "job": rows["job"], "joint": rows["joint"], "method": "RT", "from_mm": start,
            "to_mm": end, "round": 0, "date": date, "report": weekly_report("X", date),
        }
    ).sort_values(["date", "joint", "from_mm"], ignore_index=True)  # fmt: skip


def _beside(rejects: pd.DataFrame, made: pd.DataFrame, truth: pd.DataFrame) -> pd.DataFrame:
    """Return the films on both sides of the first reject, and on one side of the second.

    That leaves an escalation half done, as one finds it in a real yard.
    """
    sides = [(rejects[:2], -_FILM_MM), (rejects[:1], _FILM_MM)]
    length = made.set_index("joint")["length_mm"]
    places = pd.concat(
        [
            which[["job", "joint", "method", "round"]].assign(
                from_mm=which["from_mm"] + step,
                to_mm=which["to_mm"] + step,
                date=later(which["date"], 2),
            )
            for which, step in sides
        ],
        ignore_index=True,
    )
    places["from_mm"] = places["from_mm"].clip(lower=0.0)
    places["to_mm"] = np.minimum(places["to_mm"], places["joint"].map(length))
    places = places[places["to_mm"] > places["from_mm"]].reset_index(drop=True)
    places["report"] = weekly_report("X", places["date"])
    return written(numbered(places, "T"), truth)


def _repairs(rejects: pd.DataFrame) -> pd.DataFrame:
    """Return the repairs examined again: all but the last reject; the first needed two repairs."""
    again = rejects[:-1].assign(round=1, date=later(rejects["date"][:-1], 4))
    good = again[1:].assign(verdict="accept")
    bad = again[:1].assign(verdict="reject")
    twice = bad.assign(round=2, verdict="accept", date=later(bad["date"], 3))
    sound = pd.concat([good, twice]).drop(columns=list(INDICATION))
    rows = pd.concat([bad, sound], ignore_index=True)
    rows["report"] = weekly_report("X", rows["date"])
    return numbered(rows, "R")
