"""What has been examined: intervals, their union, spots, points, whole joints.

An examination counts with the verdict accept or reject, in any round; a re-shoot and a not-done
count nothing. Overlapping exposures count once.
"""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.numbers import looked_up
from ndtstats.planning.frame import MARGIN_MM, End, crossing_points
from ndtstats.rules import is_spot
from ndtstats.statistics import intersect_length, union_intervals, union_length
from ndtstats.units import SLACK_MM

#: Verdicts that say something about the weld.
JUDGED = ("accept", "reject")


def examined_spans(examinations: pd.DataFrame, joints: pd.DataFrame) -> pd.DataFrame:
    """Return the places that were examined, each once, clipped to its joint.

    Parameters
    ----------
    examinations : DataFrame
        Columns ``joint``, ``method``, ``from_mm``, ``to_mm``, ``verdict``; blank bounds are the
        ends of the joint.
    joints : DataFrame
        Columns ``joint``, ``length_mm``; examinations of other joints are left out.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``method``, ``from_mm``, ``to_mm``, in the order of the examinations.

    Examples
    --------
    >>> joints = pd.DataFrame({"joint": ["B-1"], "length_mm": [1000.0]})
    >>> seen = pd.DataFrame({"joint": ["B-1"] * 3, "method": ["RT"] * 3,
    ...                      "from_mm": [0.0, 900.0, None], "to_mm": [300.0, 1200.0, None],
    ...                      "verdict": ["reject", "accept", "re-shoot"]})
    >>> examined_spans(seen, joints)
      joint method  from_mm   to_mm
    0   B-1     RT      0.0   300.0
    1   B-1     RT    900.0  1000.0
    """
    judged = examinations[["joint", "method", "from_mm", "to_mm", "verdict"]]
    judged = judged[judged["verdict"].isin(JUDGED)]
    length = looked_up(judged["joint"], joints.set_index("joint")["length_mm"])
    spans = judged[["joint", "method"]].assign(
        from_mm=judged["from_mm"].fillna(0.0).clip(lower=0.0),
        to_mm=np.minimum(judged["to_mm"].fillna(np.inf), length),
    )
    kept = spans[spans["to_mm"] > spans["from_mm"]]
    return kept.drop_duplicates(ignore_index=True)


def union_on(spans: pd.DataFrame, joints: pd.DataFrame) -> "pd.Series[float]":
    """Return the length examined of each joint, in mm, aligned to ``joints``."""
    union = union_length(spans["joint"], spans["from_mm"], spans["to_mm"])
    return _aligned(union, joints)


def union_within(
    spans: pd.DataFrame, zones: pd.DataFrame, joints: pd.DataFrame
) -> "pd.Series[float]":
    """Return the length examined of each joint within zones of it, aligned to ``joints``."""
    shared = intersect_length(
        spans["joint"], spans["from_mm"], spans["to_mm"],
        zones["joint"], zones["from_mm"], zones["to_mm"],
    )  # fmt: skip
    return _aligned(shared, joints)


def examined_whole(spans: pd.DataFrame, joints: pd.DataFrame) -> "pd.Series[bool]":
    """Return which joints have been examined over their whole length, aligned to ``joints``."""
    return union_on(spans, joints) >= joints["length_mm"] - SLACK_MM


def spots_on(spans: pd.DataFrame, joints: pd.DataFrame, spot_length_mm: Any) -> "pd.Series[float]":
    """Return how many spots have been examined on each joint, aligned to ``joints``.

    ``spot_length_mm`` is a number, or one for each joint. An exposure is a spot if it is at least
    that long; half of it is enough where it reaches the end of the joint, for a spot about a place
    there is cut off by it; and the whole joint, where that is shorter. Exposures that overlap are
    not more spots than the length that they cover together holds.
    """
    long = spans[long_enough(spans, joints, spot_length_mm)]
    exposures = _aligned(long.groupby("joint").size(), joints)
    covered = union_length(long["joint"], *_as_if_not_cut_off(long, joints, spot_length_mm))
    holds = ((_aligned(covered, joints) + SLACK_MM) / spot_length_mm).floordiv(1.0)
    return exposures.clip(upper=holds.clip(lower=1.0))


def _as_if_not_cut_off(
    spans: pd.DataFrame, joints: pd.DataFrame, spot_length_mm: Any
) -> "tuple[pd.Series[float], pd.Series[float]]":
    """Return the bounds of exposures, those at an end as long as a spot about a place there is."""
    length = looked_up(spans["joint"], joints.set_index("joint")["length_mm"])
    spot_mm = spot_on(spans, joints, spot_length_mm)
    low, high = spans["from_mm"], spans["to_mm"]
    begins = low.where(low > SLACK_MM, np.minimum(low, high - spot_mm))
    ends_at = high.where(high < length - SLACK_MM, np.maximum(high, low + spot_mm))
    # Away from 0, for places are not negative.
    return begins + spot_mm, ends_at + spot_mm


def long_enough(
    spans: pd.DataFrame, joints: pd.DataFrame, spot_length_mm: Any
) -> "pd.Series[bool]":
    """Return which exposures are long enough to be a spot, aligned to ``spans``."""
    length = looked_up(spans["joint"], joints.set_index("joint")["length_mm"])
    spot_mm = spot_on(spans, joints, spot_length_mm)
    enough = is_spot(spans["from_mm"], spans["to_mm"], joint_mm=length, spot_mm=spot_mm)
    return pd.Series(enough, spans.index)


def spot_on(spans: pd.DataFrame, joints: pd.DataFrame, spot_length_mm: Any) -> "pd.Series[float]":
    """Return how long a spot is on the joint of each exposure, aligned to ``spans``."""
    of_joint = pd.Series(
        np.broadcast_to(np.asarray(spot_length_mm, dtype=np.float64), len(joints)),
        index=joints["joint"],
    )
    return looked_up(spans["joint"], of_joint)


def crossings(joints: pd.DataFrame) -> pd.DataFrame:
    """Return the crossings of joints.

    Parameters
    ----------
    joints : DataFrame
        Columns ``joint``, ``length_mm`` and ``crossings_mm`` (parted by semicolons, or missing).

    Returns
    -------
    DataFrame
        Columns ``joint``, ``at_mm``, ``length_mm`` (of the joint); each crossing once.
    """
    at, row = crossing_points(joints)
    points = joints[["joint", "length_mm"]].iloc[row].assign(at_mm=at)
    return points[["joint", "at_mm", "length_mm"]].drop_duplicates(ignore_index=True)


def ends(joints: pd.DataFrame, end: End) -> pd.DataFrame:
    """Return one end of each joint, as :func:`crossings` returns crossings."""
    length = joints["length_mm"]
    points = joints[["joint", "length_mm"]].assign(at_mm=0.0 if end == "datum" else length)
    return points[["joint", "at_mm", "length_mm"]].reset_index(drop=True)


def zones_about(points: pd.DataFrame, around_mm: float) -> pd.DataFrame:
    """Return the stretches of ``around_mm`` centred on points, clipped to their joints, united.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``.
    """
    low = (points["at_mm"] - around_mm / 2).clip(lower=0.0)
    high = np.minimum(points["at_mm"] + around_mm / 2, points["length_mm"])
    united = union_intervals(points["joint"], low, high)
    return united.rename(columns={"group": "joint", "start": "from_mm", "end": "to_mm"})


def points_examined(points: pd.DataFrame, spans: pd.DataFrame) -> "pd.Series[bool]":
    """Return which points have been examined with weld on both sides, aligned to ``points``.

    On each side :data:`MARGIN_MM` must be seen, or what there is up to the joint's end.
    """
    united = union_intervals(spans["joint"], spans["from_mm"], spans["to_mm"])
    united = united.set_axis(["joint", "from_mm", "to_mm"], axis="columns")
    shown = _points_shown(points, united)["point"]
    return pd.Series(points.index.isin(shown), index=points.index)


def spans_at(points: pd.DataFrame, spans: pd.DataFrame) -> "pd.Series[bool]":
    """Return which exposures show one of the points with weld on both sides, aligned to them."""
    return pd.Series(spans.index.isin(_points_shown(points, spans)["span"]), index=spans.index)


def _points_shown(points: pd.DataFrame, spans: pd.DataFrame) -> pd.DataFrame:
    """Return pairs of ``point`` and ``span`` that shows it."""
    named = spans[["joint", "from_mm", "to_mm"]].rename_axis("span").reset_index()
    pairs = points.rename_axis("point").reset_index().merge(named, on="joint")
    low = (pairs["at_mm"] - MARGIN_MM).clip(lower=0.0)
    high = np.minimum(pairs["at_mm"] + MARGIN_MM, pairs["length_mm"])
    covered = (pairs["from_mm"] <= low + SLACK_MM) & (pairs["to_mm"] >= high - SLACK_MM)
    return pairs.loc[covered, ["point", "span"]]


def _aligned(by_joint: "pd.Series[Any]", joints: pd.DataFrame) -> "pd.Series[float]":
    values = by_joint.reindex(joints["joint"]).fillna(0.0).to_numpy(dtype=np.float64)
    return pd.Series(values, index=joints.index)
