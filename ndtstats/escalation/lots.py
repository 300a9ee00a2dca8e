"""What a lot consists of: places of welds by who welded them, when and where."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.planning import cut_frame
from ndtstats.planning.sequence import increment_of
from ndtstats.rules import ExtentRule, Rules, spot_length_of

#: Weld length of an increment, ASME VIII-1, UW-52 (seen, opinion), where a rule states none.
INCREMENT_M = 15.2

#: What a deposit says, or the joint where the deposit says nothing.
_OF_DEPOSIT = ("process", "procedure")
_OF_JOINT = ("category", "zone", "length_mm", *_OF_DEPOSIT)


def lots_of_work(
    under: pd.DataFrame, deposits: pd.DataFrame, rules: Rules, rule: ExtentRule
) -> pd.DataFrame:
    """Return the places of joints under a rule, once for each lot they belong to.

    Parameters
    ----------
    under : DataFrame
        Joints of the categories of the rule.
    deposits : DataFrame
        The table of the register: who welded them, and when.
    rules, rule
        The rules and the one that the joints are under.

    Returns
    -------
    DataFrame
        Columns ``lot``, ``joint``, ``from_mm``, ``to_mm``, ``length_mm`` (of the joint),
        ``welder``, ``welded``. A joint examined whole is one place; of others each spot length is
        one.
    """
    whole = under["whole"].astype("boolean").fillna(value=False) | rule.whole_joints
    spot_mm = spot_length_of(rule, under["length_mm"])
    cells = cut_frame(under.assign(whole=whole), spot_length_mm=spot_mm)
    work = _made(cells[["joint", "from_mm", "to_mm"]], under, deposits)
    lots = in_lots(work, under, deposits, rules, rule)
    return lots.drop_duplicates(["lot", "joint", "from_mm"], ignore_index=True)


def lots_of_examinations(
    charged: pd.DataFrame,
    under: pd.DataFrame,
    deposits: pd.DataFrame,
    rules: Rules,
    rule: ExtentRule,
) -> pd.DataFrame:
    """Return examinations once for each lot they belong to.

    Parameters
    ----------
    charged : DataFrame
        First examinations under the rule, once for each welder
        (:func:`ndtstats.rates.charge.charge_welders`).
    under, deposits, rules, rule
        As for :func:`lots_of_work`.

    Returns
    -------
    DataFrame
        ``charged`` with ``lot`` and ``welded``. ``rejected`` holds if any of the charges of the lot
        does.
    """
    made = _made(charged[["joint", "from_mm", "to_mm"]], under, deposits)
    rows = (
        charged.rename_axis("place")
        .reset_index()
        .merge(made[["place", "welder", "welded"]], on=["place", "welder"], how="left")
    )
    rows = in_lots(rows, under, deposits, rules, rule)
    rows = rows.sort_values("rejected", ascending=False, kind="stable")
    return rows.drop_duplicates(["lot", "ref"], ignore_index=True)


def _made(places: pd.DataFrame, joints: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return places once for each welder of theirs: ``place``, ``welder``, ``welded``.

    ``welder`` is "unknown" where nobody is known to have welded a place. Of several deposits of one
    welder the first one tells the day: later ones may be repairs.
    """
    known = joints[["joint", *_OF_JOINT]]
    work = pd.DataFrame(
        {
            "joint": deposits["joint"],
            "welder": deposits["welder"],
            "low": deposits["from_mm"].fillna(0.0),
            "high": deposits["to_mm"].fillna(np.inf),
            "welded": deposits["date"],
            **{f"{name}_of_deposit": deposits[name] for name in _OF_DEPOSIT},
        }
    ).sort_values(["joint", "welded", "welder"], kind="stable")
    named = places.rename_axis("place").reset_index()
    pairs = named.merge(work, on="joint")
    pairs = pairs[(pairs["low"] < pairs["to_mm"]) & (pairs["high"] > pairs["from_mm"])]
    pairs = pairs.drop(columns=["low", "high"]).drop_duplicates(["place", "welder"])
    lonely = named[~named["place"].isin(pairs["place"])].assign(welder="unknown")
    found = pd.concat([pairs, lonely], ignore_index=True).merge(known, on="joint", how="left")
    for name in _OF_DEPOSIT:
        found[name] = found[f"{name}_of_deposit"].astype("str").fillna(found[name])
    return found.drop(columns=[f"{name}_of_deposit" for name in _OF_DEPOSIT])


def in_lots(
    work: pd.DataFrame,
    under: pd.DataFrame,
    deposits: pd.DataFrame,
    rules: Rules,
    rule: ExtentRule,
) -> pd.DataFrame:
    """Return work with the name of its ``lot``, from the columns that the rule's lot is made of."""
    columns = rules.lot_of(rule)
    known = work.assign(method=rule.method)
    if "month" in columns:
        month = np.datetime_as_string(known["welded"].to_numpy(), unit="M")
        known = known.assign(month=pd.Series(month, known.index, dtype="str"))
        known["month"] = known["month"].mask(known["welded"].isna())
    if "increment" in columns:
        known = known.assign(increment=_increments(known, under, deposits, rule))
    # A lot has many places, and its name is made once.
    number = known.groupby(list(columns), sort=False, dropna=False).ngroup().to_numpy()
    _, first = np.unique(number, return_index=True)
    text = known.iloc[first][list(columns)].astype("str").fillna("unknown")
    lot = columns[0] + " " + text[columns[0]]
    for name in columns[1:]:
        lot = lot + ", " + name + " " + text[name]
    return known.assign(lot=pd.Series(lot.array.take(number), known.index))


def _increments(
    work: pd.DataFrame, under: pd.DataFrame, deposits: pd.DataFrame, rule: ExtentRule
) -> Any:
    """Return in which increment of weld length each place lies, counted as the welding went on.

    Apart for each group that the rule counts apart, such as each vessel.
    """
    groups: list[str] = [name for name in rule.counted_per if name != "joint"]
    by: Any = under.groupby(groups, dropna=False).ngroup() if groups and len(under) else 0
    increment_m = getattr(rule.amount, "increment_m", INCREMENT_M)
    number = increment_of(work, under.assign(group=by), deposits, increment_m).astype("str")
    for name in groups:
        of = under.set_index("joint")[name].astype("str").fillna("?")
        number = work["joint"].map(of) + " " + number
    return number
