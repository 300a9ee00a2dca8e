"""What is owed on a job: extras and repairs, with the examinations that caused them."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.escalation.decide import ITEM_COLUMNS, decide, repairs
from ndtstats.rates.base import all_examinations, indications
from ndtstats.rates.charge import charge_welders
from ndtstats.register import Register, jobs_known
from ndtstats.request import match_examinations
from ndtstats.rules import ExtentRule, Rules, rules_in_force
from ndtstats.rules.procedures import Procedure
from ndtstats.units import MM_PER_M

COLUMNS = ("item", "job", "lot", "procedure", *ITEM_COLUMNS[2:])

#: Weld length of an increment, ASME VIII-1, UW-52 (seen, opinion), where a rule states none.
INCREMENT_M = 15.2


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
        Also what was owed and is done.

    Returns
    -------
    DataFrame
        Columns ``item`` (a name that stays), ``job``, ``lot``, ``procedure`` ("none" where no rule
        asks for one), ``round`` (stage of the extras, or number of the repair), ``what`` (extra,
        repair, re-examine, whole lot), ``count``, ``places`` (list of joint, from_mm, to_mm where
        the rule fixes them), ``because``, ``state``.
    """
    jobs = [job] if job is not None else jobs_known(register, as_of)
    parts = [_of_job(register, name, as_of, rules) for name in jobs]
    table = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(COLUMNS))
    table = table[list(COLUMNS)]
    if not everything:
        table = table[table["state"] != "done"]
    ordered: pd.DataFrame = table.sort_values(["job", "what", "item"], ignore_index=True)
    return ordered


def _of_job(
    register: Register, job: str, as_of: datetime | None, given: Rules | None
) -> pd.DataFrame:
    rules = given or rules_in_force(register, job, as_of)
    rows = all_examinations(register, job=job, method=None, as_of=as_of)
    rows = rows[rows["verdict"].isin(["accept", "reject"]) & (rows["method"] != "VT")]
    if not (rows["verdict"] == "reject").any():
        return pd.DataFrame(columns=list(COLUMNS))
    rows = rows.assign(
        rejected=rows["verdict"] == "reject", ref=_named(rows), sequence=rows["id"]
    ).reset_index(drop=True)
    rows = _with_indications(register, rows, job, as_of)
    first, again = rows[rows["round"] == 0], rows[rows["round"] > 0]
    deposits = register.table("deposits", job=job, as_of=as_of)
    joints = register.table("joints", job=job, as_of=as_of)
    shown = indications(register, first, job=job, as_of=as_of)
    spots = register.table("spots", job=job, as_of=as_of)
    first = first.assign(**_roles(first, spots))
    charged = charge_welders(first, shown, deposits)
    parts = (
        [_extras(charged, joints, deposits, rules, rule) for rule in rules.extent] if rules else []
    )
    bad = first[first["rejected"]]
    lots = "joint " + bad["joint"] + ", method " + bad["method"]
    mended = repairs(bad.assign(lot=lots), again)
    names = _procedure_names(bad, rules)
    mended["procedure"] = [*names, *names]
    table = pd.concat([*parts, mended], ignore_index=True).assign(job=job)
    return table[list(COLUMNS)]


def _named(rows: pd.DataFrame) -> Any:
    """Return how an examination is named to people: method, report, exposure, joint, place, day."""
    # One examination, one name: what tells two of them apart in the register stands in it.
    exposure = (" no. " + rows["exposure"].astype("str")).fillna("")
    place = rows["from_mm"].map("{:g}".format) + "-" + rows["to_mm"].map("{:g} mm".format)
    round_ = np.where(rows["round"] > 0, " R" + rows["round"].astype("str"), "")
    day = pd.Series(np.datetime_as_string(rows["date"].to_numpy(), unit="D"), rows.index, "str")
    return (
        rows["method"] + " " + rows["report"] + exposure + round_
        + ", " + rows["joint"] + " " + place + ", " + day
    )  # fmt: skip


def _with_indications(
    register: Register, rows: pd.DataFrame, job: str, as_of: datetime | None
) -> pd.DataFrame:
    """Add where the rejectable indications of each examination lie, if that is known."""
    shown = indications(register, rows, job=job, as_of=as_of)
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
    empty = pd.DataFrame(columns=[*ITEM_COLUMNS, "procedure"])
    under = joints[joints["category"].isin(list(rule.categories))]
    mine = charged[(charged["method"] == rule.method) & charged["joint"].isin(under["joint"])]
    # Crossings are places of joints that the rule for the rest is about as well.
    told_elsewhere = rule.places == "crossings" and _has_partner(rules, rule)
    if procedure is None or told_elsewhere or not mine["rejected"].any():
        return empty
    work = lots_of_work(under, deposits, rules, rule)
    mine = mine.assign(increment=mine["joint"].map(work.groupby("joint")["increment"].first()))
    mine = mine.assign(lot=_lot(mine, rules.lot_of(rule)))
    mine = mine.sort_values("rejected", ascending=False).drop_duplicates(["lot", "ref"])
    population = work.drop_duplicates(["lot", "joint"])
    items = decide(mine, population, _fitting(procedure, rule))
    return items.assign(procedure=procedure.name)


def lots_of_work(
    under: pd.DataFrame, deposits: pd.DataFrame, rules: Rules, rule: ExtentRule
) -> pd.DataFrame:
    """Return the joints under a rule once for each lot they belong to, with their ``units``.

    Parameters
    ----------
    under : DataFrame
        Joints of the categories of the rule.
    deposits : DataFrame
        The table of the register: who welded them, in which month.
    rules, rule
        The rules and the one that the joints are under.
    """
    made = deposits[["joint", "welder"]].assign(
        month=np.datetime_as_string(deposits["date"].to_numpy(), unit="M")
    )
    made = made if "month" in rules.lot_of(rule) else made[["joint", "welder"]]
    work = under.merge(made.drop_duplicates(), on="joint", how="left")
    work = work.assign(
        welder=work["welder"].fillna("unknown"),
        method=rule.method,
        increment=_increments(under, work, rule),
    )
    return work.assign(lot=_lot(work, rules.lot_of(rule)), units=_units(work, rule))


def _has_partner(rules: Rules, rule: ExtentRule) -> bool:
    return any(
        other.places == "elsewhere"
        and other.method == rule.method
        and set(other.categories) & set(rule.categories)
        for other in rules.extent
    )


def _fitting(procedure: Procedure, rule: ExtentRule) -> Procedure:
    """Return the procedure with the spot length of the rule, where it works along the joint."""
    if procedure.where != "adjacent":
        return procedure
    return procedure.model_copy(update={"spot_length_mm": rule.spot_length_mm})


def _lot(rows: pd.DataFrame, columns: tuple[str, ...]) -> Any:
    text = rows[list(columns)].astype("str").fillna("unknown")
    named = [f"{column} " + text[column] for column in columns]
    lot = named[0]
    for part in named[1:]:
        lot = lot + ", " + part
    return lot


def _increments(under: pd.DataFrame, work: pd.DataFrame, rule: ExtentRule) -> Any:
    """Return in which increment of weld length each joint begins, in order of the joints."""
    length_m = getattr(rule.amount, "increment_m", INCREMENT_M)
    ordered = under.sort_values(["category", "joint"])
    begins = ordered.groupby("category")["length_mm"].cumsum() - ordered["length_mm"]
    number = (begins / (length_m * MM_PER_M)).astype(int) + 1
    return work["joint"].map(pd.Series(number.to_numpy(), index=ordered["joint"])).astype("str")


def _units(work: pd.DataFrame, rule: ExtentRule) -> Any:
    """Return how many places of each joint can be examined: one if whole, else its spots."""
    whole = work["whole"].astype("boolean").fillna(value=False) | rule.whole_joints
    spots = np.maximum(work["length_mm"] // rule.spot_length_mm, 1)
    return np.where(whole, 1, spots).astype(int)


def _procedure_names(bad: pd.DataFrame, rules: Rules | None) -> list[str]:
    """Return the procedure under which each reject falls, "none" if no rule has one."""
    if rules is None:
        return ["none"] * len(bad)
    by_kind: dict[tuple[str, str], str] = {
        (category, rule.method): rule.escalation
        for rule in rules.extent
        for category in rule.categories
        if rule.escalation
    }
    pairs = zip(bad["category"], bad["method"], strict=True)
    return [by_kind.get((str(category), str(method))) or "none" for category, method in pairs]


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
