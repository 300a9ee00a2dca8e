"""What is owed on a job: extras and repairs, with the examinations that caused them."""

from datetime import datetime
from typing import Any

import pandas as pd

from ndtstats.escalation.decide import DECIDED_BY, decide
from ndtstats.escalation.history import History, first_by_welder, history_of
from ndtstats.escalation.items import ITEM_COLUMNS, handles_of, waive_items
from ndtstats.escalation.lots import lots_of_examinations, lots_of_work
from ndtstats.escalation.repairs import new_welds, repairs
from ndtstats.register import Register, decisions_in_force, each_job
from ndtstats.rules import ExtentRule, Rules, is_under, joints_under, rules_in_force
from ndtstats.rules.procedures import Procedure

COLUMNS = (
    "item", "handle", "job", "lot", "procedure", "round", "what", "count", "places", "because",
    "state",
)  # fmt: skip

#: Lots named in a sentence; the table has them all.
_MOST_NAMED = 3

#: What ``everything`` tells besides.
MORE = ("answered_by", "decided")


def owed(
    register: Register,
    *,
    job: str | None = None,
    as_of: datetime | None = None,
    rules: Rules | None = None,
    everything: bool = False,
) -> pd.DataFrame:
    """Return what is owed: extra examinations, repairs, re-examinations, whole lots.

    Parameters
    ----------
    job : str, optional
        Only this job; else all.
    as_of : datetime, optional
        What was owed by what was known then.
    rules : Rules, optional
        Judge by these rules instead of those in force.
    everything : bool
        Also what is no longer owed, and what answered it.

    Returns
    -------
    DataFrame
        Columns ``item`` (a name that stays), ``handle`` (a short one that stays too), ``job``,
        ``lot``, ``procedure`` ("none" where no rule asks for one), ``round`` (stage of the extras,
        or number of the repair), ``what`` (extra, repair, re-examine, whole lot), ``count``,
        ``places`` (list of joint, from_mm, to_mm where the rule fixes them), ``because``,
        ``state``; with ``everything`` also ``answered_by``, and ``decided``: who waived or
        overturned it, when and why. What each means:
        :data:`ndtstats.escalation.items.ITEM_COLUMNS`.
    """
    parts = [_of_job(register, name, as_of, rules) for name in each_job(register, job, as_of)]
    columns = [*COLUMNS, *(MORE if everything else ())]
    table = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
    table = table.assign(handle=handles_of(table["job"], table["item"]))
    # An exhausted lot with nothing left has been examined whole: that is more than was owed.
    table = table.loc[everything | (table["count"] > 0), columns]
    ordered: pd.DataFrame = table.sort_values(["job", "what", "item"], ignore_index=True)
    return ordered


def _of_job(
    register: Register, job: str, as_of: datetime | None, given: Rules | None
) -> pd.DataFrame:
    by = given and given.sha256
    return register.once(("owed", job, as_of, by), lambda: _ever(register, job, as_of, given))


def _ever(
    register: Register, job: str, as_of: datetime | None, given: Rules | None
) -> pd.DataFrame:
    """Return all that was ever owed on a job."""
    past = history_of(register, job, as_of)
    if not past.rejected_ever:
        return pd.DataFrame(columns=[*COLUMNS, *MORE])
    rules = given or rules_in_force(register, job, as_of)
    given_up = decisions_in_force(register, kind="waiver", job=job, as_of=as_of)
    given_up = given_up.drop_duplicates("subject", keep="last")
    items = _items(past, rules, given_up).assign(decided="")
    waived = items["state"] == "waived"
    told = said(given_up, "waived").set_axis(given_up["subject"])
    items["decided"] = items["item"].map(told).where(waived, "").astype("str")
    if len(past.overturned):
        before = _items(past.as_first_read(), rules, given_up)
        gone = before[~before["item"].isin(items["item"])]
        items = pd.concat([items, _closed_by(past, gone)], ignore_index=True)
    return items.assign(job=job)


def _items(past: History, rules: Rules | None, given_up: pd.DataFrame) -> pd.DataFrame:
    """Return all that the rejects that count asked for."""
    day = given_up["at"].dt.tz_localize(None).dt.normalize() if len(given_up) else []
    waived = dict(zip(given_up["subject"], day, strict=True))
    extras = []
    if rules:
        charged = _needed(first_by_welder(past), rules)
        extras = [_extras(charged, past, rules, rule, waived) for rule in rules.extent]
    mended = waive_items(repairs(past.rows, past.counting, new_welds(past.joints)), waived)
    asked = mended["item"].str.rsplit("#", n=1).str[0]
    rows = past.rows[past.rows["ref"].isin(asked)]
    mended = mended.assign(procedure=asked.map(_procedures_of(rows, past.joints, rules)))
    return pd.concat([*extras, mended], ignore_index=True)


def _needed(charged: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Return charged examinations with what procedures and lots need: few of many columns."""
    of_lots = {name for rule in rules.extent for name in rules.lot_of(rule)}
    return charged.loc[:, charged.columns.isin({*DECIDED_BY, "method", "welder", *of_lots})]


def _closed_by(past: History, gone: pd.DataFrame) -> pd.DataFrame:
    """Return items that are owed no more since what asked for them was overturned."""
    told = said(past.overturned, "overturned")
    names = past.rows.set_index("id")["ref"].reindex(past.overturned["id"])
    why = "; ".join(names.to_numpy() + " was " + told.to_numpy())
    return gone.assign(count=0, state="overturned", decided=why)


def said(decisions: pd.DataFrame, verb: str) -> "pd.Series[str]":
    """Return each decision in words: what was done, by whom, when, its number, and why."""
    day = decisions["at"].dt.strftime("%Y-%m-%d").astype("str") if len(decisions) else ""
    text: pd.Series[str] = (
        f"{verb} by " + decisions["person"] + " on " + day + " (" + decisions["decision"] + "): "
        + decisions["reason"]
    )  # fmt: skip
    return text.astype("str")


def _extras(
    charged: pd.DataFrame,
    past: History,
    rules: Rules,
    rule: ExtentRule,
    waived: dict[str, pd.Timestamp],
) -> pd.DataFrame:
    """Return the extras that one extent rule's procedure asks for."""
    nothing = pd.DataFrame(columns=[*ITEM_COLUMNS, "procedure"])
    procedure = rules.procedure_of(rule)
    if procedure is None or told_by_partner(rules, rule):
        return nothing
    # What was found on a joint that was cut out still counts; only what stands can be examined.
    under = past.joints[is_under(past.joints, rule)]
    of_method = charged["method"].isin(rule.methods)
    bad = charged.loc[of_method & charged["rejected"], "joint"]
    bad = bad[bad.isin(under["joint"])]
    if bad.empty:
        return nothing
    lot = rules.lot_of(rule)
    if "joint" in lot and "increment" not in lot:
        # A lot is no more than a joint, and one without a reject asks for nothing.
        under = under[under["joint"].isin(bad)]
    mine = charged[of_method & charged["joint"].isin(under["joint"])].reset_index(drop=True)
    mine = lots_of_examinations(mine, under, past.deposits, rules, rule)
    left = joints_under(past.joints, rule)
    left = left[left["joint"].isin(under["joint"])]
    population = lots_of_work(left, past.deposits, rules, rule)
    items = decide(mine, population, fitting(procedure, rule), waived)
    return items.assign(procedure=procedure.name)


def told_by_partner(rules: Rules, rule: ExtentRule) -> bool:
    """Return whether the rule for the rest of the same joints tells of its crossings as well."""
    return rule.places == "crossings" and any(
        other.places == "elsewhere"
        and other.method == rule.method
        and set(other.categories) & set(rule.categories)
        for other in rules.extent
    )


def fitting(procedure: Procedure, rule: ExtentRule) -> Procedure:
    """Return the procedure with the spot length of the rule, where it works along the joint."""
    if procedure.where != "adjacent":
        return procedure
    return procedure.model_copy(update={"spot_length_mm": rule.spot_length_mm})


def _procedures_of(rows: pd.DataFrame, joints: pd.DataFrame, rules: Rules | None) -> Any:
    """Return the procedure under which each examination falls, by its name; "none" without one."""
    named = pd.Series("none", index=rows["ref"], dtype="str")
    for rule in rules.extent if rules else ():
        if rule.escalation:
            mine = rows["joint"].isin(joints.loc[is_under(joints, rule), "joint"])
            mine &= rows["method"].isin(rule.methods)
            named[mine.to_numpy()] = rule.escalation
    return named


def sentence(table: pd.DataFrame) -> str:
    """Return in a sentence what a table of :func:`owed` amounts to."""
    if table.empty:
        return "Nothing is owed."
    counts = table.groupby("what")["count"].sum()
    words = {
        "extra": ("extra examination", "extra examinations"),
        "repair": ("repair", "repairs"),
        "re-examine": ("re-examination", "re-examinations"),
        "whole lot": ("place of whole lots", "places of whole lots"),
    }
    parts = [
        f"{int(counts[what]):,} {many if counts[what] != 1 else one}"
        for what, (one, many) in words.items()
        if counts.get(what, 0)
    ]
    return f"Owed: {', '.join(parts) or 'nothing that can still be examined'}.{_exhausted(table)}"


def _exhausted(table: pd.DataFrame) -> str:
    """Return which lots have fewer places left than they owe, and what follows."""
    lots = table.loc[table["state"] == "exhausted", "lot"].drop_duplicates()
    if lots.empty:
        return ""
    named = "; ".join(lots.head(_MOST_NAMED))
    more = f"; and {len(lots) - _MOST_NAMED:,} more" if len(lots) > _MOST_NAMED else ""
    number = "1 lot is" if len(lots) == 1 else f"{len(lots):,} lots are"
    return (
        f" {number} exhausted ({named}{more}): fewer places are left than are asked for. Examine "
        "what is left; with that all of the lot is examined."
    )
