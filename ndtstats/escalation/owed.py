"""What is owed on a job: extras and repairs, with the examinations that caused them."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.escalation.decide import decide
from ndtstats.escalation.items import ITEM_COLUMNS
from ndtstats.escalation.lots import lots_of_examinations, lots_of_work
from ndtstats.escalation.repairs import repairs
from ndtstats.rates.base import all_examinations, indications
from ndtstats.rates.charge import charge_welders
from ndtstats.register import Register, jobs_known
from ndtstats.request import match_examinations
from ndtstats.rules import ExtentRule, Rules, is_under, joints_under, rules_in_force
from ndtstats.rules.procedures import Procedure

COLUMNS = (
    "item", "job", "lot", "procedure", "round", "what", "count", "places", "because", "state",
)  # fmt: skip


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
        Columns ``item`` (a name that stays), ``job``, ``lot``, ``procedure`` ("none" where no rule
        asks for one), ``round`` (stage of the extras, or number of the repair), ``what`` (extra,
        repair, re-examine, whole lot), ``count``, ``places`` (list of joint, from_mm, to_mm where
        the rule fixes them), ``because``, ``state``; with ``everything`` also ``answered_by``.
        What each means: :data:`ndtstats.escalation.items.ITEM_COLUMNS`.
    """
    jobs = [job] if job is not None else jobs_known(register, as_of)
    parts = [_of_job(register, name, as_of, rules) for name in jobs]
    columns = [*COLUMNS, *(["answered_by"] if everything else [])]
    table = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
    # An exhausted lot with nothing left has been examined whole: that is more than was owed.
    table = table.loc[everything | (table["count"] > 0), columns]
    ordered: pd.DataFrame = table.sort_values(["job", "what", "item"], ignore_index=True)
    return ordered


def _of_job(
    register: Register, job: str, as_of: datetime | None, given: Rules | None
) -> pd.DataFrame:
    rules = given or rules_in_force(register, job, as_of)
    rows = all_examinations(register, job=job, method=None, as_of=as_of)
    rows = rows[rows["verdict"].isin(["accept", "reject"])]
    if not (rows["verdict"] == "reject").any():
        return pd.DataFrame(columns=[*COLUMNS, "answered_by"])
    rows = rows.assign(rejected=rows["verdict"] == "reject", ref=_named(rows), sequence=rows["id"])
    rows = rows.sort_values(["date", "report", "id"], ignore_index=True)
    rows = rows.assign(order=rows.index)
    shown = indications(register, rows, job=job, as_of=as_of)
    first = rows[rows["round"] == 0].reset_index(drop=True)
    spots = register.table("spots", job=job, as_of=as_of)
    first = _with_indications(first, shown).assign(**_roles(first, spots))
    deposits = register.table("deposits", job=job, as_of=as_of)
    joints = register.table("joints", job=job, as_of=as_of)
    charged = charge_welders(first, shown[shown["id"].isin(first["id"])], deposits)
    parts = (
        [_extras(charged, joints, deposits, rules, rule) for rule in rules.extent] if rules else []
    )
    refs = rows.set_index("id")["ref"]
    mended = repairs(rows, shown.assign(ref=shown["id"].map(refs))[["ref", "start_mm", "end_mm"]])
    procedures = _procedures_of(rows, joints, rules)
    mended = mended.assign(procedure=mended["item"].str.rpartition("#")[0].map(procedures))
    return pd.concat([*parts, mended], ignore_index=True).assign(job=job)


def _named(rows: pd.DataFrame) -> Any:
    """Return how an examination is named to people: method, report, exposure, joint, place, day."""
    exposure = (" no. " + rows["exposure"].astype("str")).fillna("")
    place = rows["from_mm"].map("{:g}".format) + "-" + rows["to_mm"].map("{:g} mm".format)
    round_ = np.where(rows["round"] > 0, " R" + rows["round"].astype("str"), "")
    day = pd.Series(np.datetime_as_string(rows["date"].to_numpy(), unit="D"), rows.index, "str")
    ref = (
        rows["method"] + " " + rows["report"] + exposure + round_
        + ", " + rows["joint"] + " " + place + ", " + day
    )  # fmt: skip
    # One examination, one name: two answers to two requests may agree in all of the above.
    asked = (", request " + rows["request"].astype("str")).fillna("")
    return ref + asked.where(ref.duplicated(keep=False), "")


def _with_indications(rows: pd.DataFrame, shown: pd.DataFrame) -> pd.DataFrame:
    """Add between which places the rejectable indications of each examination lie, if known."""
    located = (
        shown[shown["located"]].groupby("id").agg(low=("start_mm", "min"), high=("end_mm", "max"))
    )
    # A reject with one indication that is not located can lie anywhere in its spot.
    vague = shown.loc[~shown["located"], "id"]
    located = located.drop(index=located.index.intersection(pd.Index(vague)))
    return rows.assign(
        bad_from_mm=rows["id"].map(located["low"]).astype("float64"),
        bad_to_mm=rows["id"].map(located["high"]).astype("float64"),
    )


def _roles(rows: pd.DataFrame, spots: pd.DataFrame) -> dict[str, Any]:
    """Return for what each examination was made, as far as a plan tells."""
    matched = match_examinations(rows, spots).merge(spots[["spot", "part", "because"]], on="spot")
    found = matched.drop_duplicates("examination").set_index("examination")
    part = rows["id"].map(found["part"]).astype("str")
    return {
        "role": np.select([part.isna(), part == "extra"], ["unknown", "extra"], default="initial"),
        "answers": rows["id"].map(found["because"]).astype("str").fillna(""),
    }


def _extras(
    charged: pd.DataFrame,
    joints: pd.DataFrame,
    deposits: pd.DataFrame,
    rules: Rules,
    rule: ExtentRule,
) -> pd.DataFrame:
    """Return the extras that one extent rule's procedure asks for."""
    procedure = rules.procedure_of(rule)
    under = joints_under(joints, rule)
    of_method = charged["method"].isin(rule.methods)
    mine = charged[of_method & charged["joint"].isin(under["joint"])]
    # Crossings are places of joints that the rule for the rest is about as well.
    told_elsewhere = rule.places == "crossings" and _has_partner(rules, rule)
    if procedure is None or told_elsewhere or not mine["rejected"].any():
        return pd.DataFrame(columns=[*ITEM_COLUMNS, "procedure"])
    mine = lots_of_examinations(mine.reset_index(drop=True), under, deposits, rules, rule)
    population = lots_of_work(under, deposits, rules, rule)
    items = decide(mine, population, fitting(procedure, rule))
    return items.assign(procedure=procedure.name)


def _has_partner(rules: Rules, rule: ExtentRule) -> bool:
    return any(
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
        mine = rows["joint"].isin(joints.loc[is_under(joints, rule), "joint"])
        mine &= rows["method"].isin(rule.methods)
        if rule.escalation:
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
    exhausted = int((table["state"] == "exhausted").sum())
    tail = f" {exhausted} lots have no places left to choose from." if exhausted > 1 else ""
    tail = " 1 lot has no places left to choose from." if exhausted == 1 else tail
    return f"Owed: {', '.join(parts) or 'nothing that can still be examined'}.{tail}"
