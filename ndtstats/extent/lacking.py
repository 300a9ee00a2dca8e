"""What a rule asks for beside its number: welders shown, places examined every one, first-off work.

Each function returns what lacks, one row a case, with the group in which the number is counted.
"""

import numpy as np
import pandas as pd

from ndtstats.extent.achieved import (
    SLACK_MM,
    crossings,
    ends,
    examined_whole,
    long_enough,
    points_examined,
    union_on,
)
from ndtstats.planning.work import first_joints
from ndtstats.rules import ExtentRule, first_off_mm
from ndtstats.statistics import union_length


def welders_not_shown(
    rule: ExtentRule, joints: pd.DataFrame, deposits: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """Return the welders with fewer spots (or whole joints) than the rule asks for each.

    A spot shows the work of every welder whose deposit makes up half of it, or lies within it. No
    welder needs more spots than his work has room for.

    Parameters
    ----------
    rule : ExtentRule
        The rule.
    joints : DataFrame
        Joints under it: ``joint``, ``length_mm``, ``group``.
    deposits : DataFrame
        ``joint``, ``welder``, ``from_mm``, ``to_mm``; blank bounds mean the whole joint.
    spans : DataFrame
        Places examined under the rule: ``joint``, ``from_mm``, ``to_mm``.

    Returns
    -------
    DataFrame
        Columns ``group``, ``welder``, ``lacks`` (spots, or whole joints).
    """
    made = _deposits_on(joints, deposits)
    room = _room(rule, made)
    shown = _shown(rule, joints, made, spans).reindex(room.index, fill_value=0)
    lacks = (room.clip(upper=rule.spots_per_welder) - shown).clip(lower=0)
    return lacks[lacks > 0].rename("lacks").reset_index()


def _deposits_on(joints: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    made = deposits[["joint", "welder", "from_mm", "to_mm"]].merge(
        joints[["joint", "length_mm", "group"]], on="joint"
    )
    made["from_mm"] = made["from_mm"].fillna(0.0)
    made["to_mm"] = np.minimum(made["to_mm"].fillna(np.inf), made["length_mm"])
    return made[made["to_mm"] > made["from_mm"]].drop_duplicates()


def _room(rule: ExtentRule, made: pd.DataFrame) -> "pd.Series[float]":
    """Return how many spots (or joints) the work of each welder has room for, by group."""
    by = made.groupby(["group", "welder"])
    if rule.whole_joints:
        return by["joint"].nunique().astype("float64")
    # Root and cap by one welder are one stretch of his work.
    stretch = made.groupby(["group", "welder", "joint"]).ngroup()
    welded = union_length(stretch, made["from_mm"], made["to_mm"])
    spots = (welded / rule.spot_length_mm).floordiv(1.0).clip(lower=1.0)
    first = made.assign(stretch=stretch).drop_duplicates("stretch")
    return first["stretch"].map(spots).groupby([first["group"], first["welder"]]).sum()


def _shown(
    rule: ExtentRule, joints: pd.DataFrame, made: pd.DataFrame, spans: pd.DataFrame
) -> "pd.Series[float]":
    """Return how many spots (or whole joints) show the work of each welder, by group."""
    if rule.whole_joints:
        whole = joints.loc[examined_whole(spans, joints), "joint"]
        made = made[made["joint"].isin(whole)]
        return made.groupby(["group", "welder"])["joint"].nunique().astype("float64")
    long = spans[long_enough(spans, joints, rule.spot_length_mm)]
    pairs = long.reset_index(names="span").merge(made, on="joint", suffixes=("", "_made"))
    shared = np.minimum(pairs["to_mm"], pairs["to_mm_made"]) - np.maximum(
        pairs["from_mm"], pairs["from_mm_made"]
    )
    own = pairs["to_mm_made"] - pairs["from_mm_made"]
    clear = shared >= np.minimum(rule.spot_length_mm / 2, own) - SLACK_MM
    return pairs[clear].groupby(["group", "welder"])["span"].nunique().astype("float64")


def places_not_examined(
    rule: ExtentRule, joints: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """Return the crossings and ends that the rule asks for every one and nobody examined.

    Parameters as in :func:`welders_not_shown`; ``joints`` also has ``crossings_mm``.

    Returns
    -------
    DataFrame
        Columns ``group``, ``joint``, ``at_mm``, ``place`` ("crossing" or "end").
    """
    asked = []
    if "crossings" in rule.always:
        asked.append(crossings(joints).assign(place="crossing"))
    if "ends" in rule.always:
        asked.append(ends(joints).assign(place="end"))
    points = pd.concat(
        [pd.DataFrame(columns=["joint", "at_mm", "length_mm", "place"]), *asked], ignore_index=True
    )
    missed = points[~points_examined(points, spans)]
    found = missed.assign(group=missed["joint"].map(joints.set_index("joint")["group"]))
    return found[["group", "joint", "at_mm", "place"]].reset_index(drop=True)


def first_off_lacking(
    rule: ExtentRule, joints: pd.DataFrame, deposits: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """Return the first-off joints of which less is examined than the rule asks for.

    Parameters as in :func:`welders_not_shown`; ``joints`` and ``deposits`` also have
    ``procedure``, ``deposits`` has ``date``.

    Returns
    -------
    DataFrame
        Columns ``group``, ``joint``, ``lacks_mm``.
    """
    if "first-off" not in rule.always:
        return pd.DataFrame({"group": [], "joint": [], "lacks_mm": []})
    made = deposits[deposits["joint"].isin(joints["joint"])]
    of_joint = made["joint"].map(joints.set_index("joint")["procedure"])
    made = made.assign(procedure=made["procedure"].fillna(of_joint))
    first = first_joints(made, rule.first_off.of, rule.first_off.joints)["joint"]
    mine = joints[joints["joint"].isin(first)]
    one_spot = np.minimum(rule.spot_length_mm, mine["length_mm"])
    asked = np.maximum(first_off_mm(rule, mine["length_mm"]), one_spot)
    lacks = asked - union_on(spans, mine)
    found = mine[["group", "joint"]].assign(lacks_mm=lacks)
    return found[lacks > SLACK_MM].reset_index(drop=True)
