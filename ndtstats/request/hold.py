"""How long each spot must wait after welding, as the contractor reads it."""

from collections.abc import Iterable

import pandas as pd

from ndtstats.rules import ExtentRule, hold_of


def hold_in_words(
    spots: pd.DataFrame,
    joints: pd.DataFrame,
    deposits: pd.DataFrame,
    rules: Iterable[ExtentRule],
) -> "pd.Series[str]":
    """Return the hold time of each spot and the day it is counted from; missing if there is none.

    Parameters
    ----------
    spots : DataFrame
        Columns ``joint`` and ``rule``.
    joints : DataFrame
        Columns ``joint``, ``material``, ``thickness_mm``.
    deposits : DataFrame
        Columns ``joint`` and ``date``.
    rules : iterable of ExtentRule
        State the hold times (:func:`ndtstats.rules.hold_of`).

    Returns
    -------
    Series of str
        Aligned to ``spots``. The register knows days; at what hour the welding ended, whoever
        examines must ask.

    Examples
    --------
    >>> rule = ExtentRule(name="butts", categories=("A",), method="UT", hold_hours=48.0,
    ...                   amount={"family": "share-of-length", "percent": 10.0})
    >>> spots = pd.DataFrame({"joint": ["B-1"], "rule": ["butts"]})
    >>> joints = pd.DataFrame({"joint": ["B-1"], "material": [None], "thickness_mm": [12.0]})
    >>> deposits = pd.DataFrame({"joint": ["B-1"], "date": pd.to_datetime(["2026-03-02"])})
    >>> hold_in_words(spots, joints, deposits, [rule]).item()
    '48 h after the end of welding on 2026-03-02'
    """
    of = joints.set_index("joint").reindex(spots["joint"]).set_axis(spots.index)
    hours = pd.Series(0.0, index=spots.index)
    for rule in rules:
        mine = spots["rule"] == rule.name
        hours[mine] = hold_of(rule, of[mine])["hours"]
    last = deposits.groupby("joint")["date"].max().reindex(spots["joint"])
    day = last.set_axis(spots.index).dt.strftime(" on %Y-%m-%d").astype("str").fillna("")
    told = hours.map("{:g} h after the end of welding".format).astype("str") + day
    held: pd.Series[str] = told.where(hours > 0)
    return held
