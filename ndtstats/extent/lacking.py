"""What a rule asks for beside its number: welders shown, places examined every one, first-off work.

Each function returns what lacks, one row a case, with the group in which the number is counted.
Parameters are the same everywhere: the rule; the joints under it (``joint``, ``length_mm``,
``group``, ``spot_mm`` and, for places, ``crossings_mm``); the deposits on them; and ``spans``, the
places examined under the rule (``joint``, ``from_mm``, ``to_mm``).
"""

import numpy as np
import pandas as pd

from ndtstats.extent.achieved import (
    crossings,
    ends,
    examined_whole,
    long_enough,
    points_examined,
    spans_at,
    spot_on,
    spots_on,
    union_on,
)
from ndtstats.numbers import looked_up
from ndtstats.planning.frame import ends_named
from ndtstats.planning.sequence import (
    cut_at_increments,
    first_stretches,
    in_stretches,
    spans_made,
)
from ndtstats.planning.work import first_joints
from ndtstats.rules import ExtentRule, amount_of_welders, first_off_mm
from ndtstats.rules.families import SpotPerIncrement
from ndtstats.statistics import union_intervals, union_length
from ndtstats.units import SLACK_MM


def welders_needed(
    rule: ExtentRule, joints: pd.DataFrame, deposits: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """Return how many spots (or whole joints) of each welder the rule asks for, and how many lack.

    A spot shows the work of every welder whose deposit makes up half of it, or lies within it. No
    welder needs more spots than his work has room for.

    Returns
    -------
    DataFrame
        Columns ``group``, ``increment`` (0 where the work is not shown in each), ``welder``,
        ``needed``, ``lacks``.
    """
    if not rule.spots_per_welder and not rule.each_welder:
        return pd.DataFrame({name: [] for name in (*_WHOSE, "needed", "lacks")})
    made = spans_made(joints, deposits).drop(columns="date").drop_duplicates()
    made = made.assign(increment=0, spot_mm=spot_on(made, joints, joints["spot_mm"]))
    amount = rule.amount
    in_each = isinstance(amount, SpotPerIncrement) and amount.shown_in == "each-increment"
    if isinstance(amount, SpotPerIncrement) and in_each:
        made = cut_at_increments(made, joints, deposits, amount.increment_m)
        # A spot of a joint that is cut evenly is up to twice as long: shorter pieces hold none.
        made = made[made["to_mm"] - made["from_mm"] >= 2 * made["spot_mm"]]
    work = _work(rule, made)
    needed = amount_of_welders(rule, work["joints"], work["length_mm"])
    work["needed"] = np.minimum(needed, work["room"])
    shown = _shown(rule, joints, made, spans).reindex(work.index, fill_value=0)
    work["lacks"] = (work["needed"] - shown).clip(lower=0)
    return work.reset_index()[[*_WHOSE, "needed", "lacks"]]


#: What tells the work that must be shown apart.
_WHOSE = ["group", "increment", "welder"]


def _work(rule: ExtentRule, made: pd.DataFrame) -> pd.DataFrame:
    """Return by welder his joints, length, and how many spots (or joints) he has room for."""
    # Root and cap by one welder are one stretch of his work.
    stretch = made.groupby([*_WHOSE, "joint"]).ngroup()
    first = made.assign(stretch=stretch).drop_duplicates("stretch")
    welded = looked_up(first["stretch"], union_length(stretch, made["from_mm"], made["to_mm"]))
    spots = (welded / first["spot_mm"]).floordiv(1.0).clip(lower=1.0)
    first = first.assign(welded=welded, spots=1.0 if rule.unit == "joints" else spots)
    return first.groupby(_WHOSE).agg(
        joints=("joint", "size"), length_mm=("welded", "sum"), room=("spots", "sum")
    )


def _shown(
    rule: ExtentRule, joints: pd.DataFrame, made: pd.DataFrame, spans: pd.DataFrame
) -> "pd.Series[float]":
    """Return how many spots (or joints) show the work of each welder."""
    if rule.whole_joints:
        whole = joints.loc[examined_whole(spans, joints), "joint"]
        made = made[made["joint"].isin(whole)]
        return made.groupby(_WHOSE)["joint"].nunique().astype("float64")
    long = spans[long_enough(spans, joints, joints["spot_mm"])]
    pairs = long.reset_index(names="span").merge(made, on="joint", suffixes=("", "_made"))
    shared = np.minimum(pairs["to_mm"], pairs["to_mm_made"]) - np.maximum(
        pairs["from_mm"], pairs["from_mm_made"]
    )
    own = pairs["to_mm_made"] - pairs["from_mm_made"]
    clear = shared >= np.minimum(pairs["spot_mm"] / 2, own) - SLACK_MM
    what = "joint" if rule.unit == "joints" else "span"
    return pairs[clear].groupby(_WHOSE)[what].nunique().astype("float64")


def counted_spans(rule: ExtentRule, joints: pd.DataFrame, spans: pd.DataFrame) -> pd.DataFrame:
    """Return the places examined that count towards the number of the rule."""
    if rule.always_counts or not rule.always:
        return spans
    return spans[~spans_at(places_asked_for(rule, joints), spans)]


def joints_not_shown(rule: ExtentRule, joints: pd.DataFrame, spans: pd.DataFrame) -> pd.DataFrame:
    """Return the joints with fewer spots than the rule asks for each, as far as they have room.

    Returns
    -------
    DataFrame
        Columns ``group``, ``joint``, ``lacks`` (spots).
    """
    if not rule.spots_per_joint:
        return pd.DataFrame({"group": [], "joint": [], "lacks": []})
    room = (joints["length_mm"] / joints["spot_mm"]).floordiv(1.0).clip(lower=1.0)
    if rule.always and not rule.always_counts:
        room = _room_beside(places_asked_for(rule, joints), joints)
    needed = room.clip(upper=rule.spots_per_joint)
    lacks = needed - spots_on(counted_spans(rule, joints, spans), joints, joints["spot_mm"])
    return joints[["group", "joint"]].assign(lacks=lacks)[lacks > 0].reset_index(drop=True)


def _room_beside(points: pd.DataFrame, joints: pd.DataFrame) -> "pd.Series[float]":
    """Return how many spots each joint has room for between spots about points of it."""
    of = joints.set_index("joint")
    spot, length = (looked_up(points["joint"], of[name]) for name in ("spot_mm", "length_mm"))
    low = (points["at_mm"] - spot / 2).clip(upper=length - spot).clip(lower=0.0)
    taken = union_intervals(points["joint"], low, np.minimum(low + spot, length))
    edge = pd.DataFrame({"group": joints["joint"], "start": joints["length_mm"]})
    edges = pd.concat([taken, edge.assign(end=edge["start"])], ignore_index=True)
    edges = edges.sort_values(["group", "start"], kind="stable")
    before = edges.groupby("group")["end"].shift(fill_value=0.0)
    spots = ((edges["start"] - before) / looked_up(edges["group"], of["spot_mm"])).floordiv(1.0)
    room = spots.clip(lower=0.0).groupby(edges["group"]).sum()
    return looked_up(joints["joint"], room)


def first_stretches_not_shown(
    rule: ExtentRule, joints: pd.DataFrame, deposits: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """Return whose first stretch no spot shows.

    Returns
    -------
    DataFrame
        Columns ``group``, ``welder`` ("all" where there is one stretch for all).
    """
    amount = rule.amount
    if not isinstance(amount, SpotPerIncrement) or amount.first_m <= 0:
        return pd.DataFrame({"group": [], "welder": []})
    stretches = first_stretches(joints, deposits, amount)
    long = spans[long_enough(spans, joints, joints["spot_mm"])]
    shown = in_stretches(long, stretches)[["group", "welder"]].drop_duplicates()
    owed = stretches[["group", "welder"]].drop_duplicates()
    left = owed.merge(shown, how="left", indicator=True)
    return left.loc[left["_merge"] == "left_only", ["group", "welder"]].reset_index(drop=True)


def places_asked_for(rule: ExtentRule, joints: pd.DataFrame) -> pd.DataFrame:
    """Return the crossings and ends that the rule asks for every one.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``at_mm``, ``length_mm``, ``place`` ("crossing", "datum end", "far end").
    """
    asked = [pd.DataFrame(columns=["joint", "at_mm", "length_mm", "place"])]
    if "crossings" in rule.always:
        asked.append(crossings(joints).assign(place="crossing"))
    of_all = ends_named(rule.model_copy(update={"first": ()}))
    asked += [ends(joints, end).assign(place=f"{end} end") for end in of_all]
    return pd.concat(asked, ignore_index=True).astype({"at_mm": float, "length_mm": float})


def places_not_examined(
    rule: ExtentRule, joints: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """Return the crossings and ends that the rule asks for every one and nobody examined.

    Returns
    -------
    DataFrame
        Columns ``group``, ``joint``, ``at_mm``, ``place``.
    """
    points = places_asked_for(rule, joints)
    missed = points[~points_examined(points, spans)]
    found = missed.assign(group=missed["joint"].map(joints.set_index("joint")["group"]))
    return found[["group", "joint", "at_mm", "place"]].reset_index(drop=True)


def first_off_lacking(
    rule: ExtentRule, joints: pd.DataFrame, deposits: pd.DataFrame, spans: pd.DataFrame
) -> pd.DataFrame:
    """Return the first-off joints of which less is examined than the rule asks for.

    ``joints`` and ``deposits`` also have ``procedure``, ``deposits`` has ``date``.

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
    one_spot = np.minimum(mine["spot_mm"], mine["length_mm"])
    asked = np.maximum(first_off_mm(rule, mine["length_mm"]), one_spot)
    lacks = asked - union_on(spans, mine)
    found = mine[["group", "joint"]].assign(lacks_mm=lacks)
    return found[lacks > SLACK_MM].reset_index(drop=True)
