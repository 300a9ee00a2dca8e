"""A plan for what is owed: places the rule fixes as they are, the others by chance from the lot."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.escalation.lots import lots_of_work
from ndtstats.escalation.owed import owed
from ndtstats.places import filled_places
from ndtstats.planning import in_request_order, store_plan
from ndtstats.planning.draw import draw_pivotal, inclusion_probabilities
from ndtstats.planning.frame import frame_sha256
from ndtstats.planning.places import touched
from ndtstats.register import Register
from ndtstats.request import match_examinations
from ndtstats.rules import Rules, joints_under, rules_in_force


def plan_extras(
    register: Register, *, job: str, seed: int, now: datetime, by: str | None = None
) -> tuple[str, pd.DataFrame]:
    """Plan the extras and re-examinations that a job owes, and keep the plan.

    Parameters
    ----------
    job : str
        The job.
    seed : int
        Seed of the chance, where the rule leaves the place open.
    now : datetime
        The instant of the plan.

    Returns
    -------
    (str, DataFrame)
        Number of the plan, and its spots: ``part`` extra, ``because`` the item each answers.

    Raises
    ------
    UseError
        If nothing is owed that is not planned already.
    """
    items = owed(register, job=job)
    waiting = _waiting(register, job)
    planned_for = items["item"].map(
        waiting.loc[waiting["part"] == "extra", "because"].value_counts()
    )
    items = items.assign(count=items["count"] - planned_for.fillna(0).astype(int))
    rules = rules_in_force(register, job)
    rng = np.random.default_rng(np.random.SeedSequence(seed))
    fixed = _not_waiting(_fixed(items), waiting)
    drawn = _drawn(register, job, items, fixed, rules, rng)
    planned = pd.concat([fixed, drawn], ignore_index=True)
    if planned.empty:
        raise UseError(f"job {job} owes nothing that is not planned already")
    planned = _with_technique(register, job, planned, rules)
    ordered = in_request_order(register, job, planned)
    digest = frame_sha256(ordered, ["joint", "method", "from_mm", "to_mm", "because"])
    plan = store_plan(
        register, kind="extra", job=job, spots=ordered, cells=ordered.iloc[:0], seed=seed,
        rules=rules, frame=digest, now=now, by=by,
    )  # fmt: skip
    return plan, ordered


def _waiting(register: Register, job: str) -> pd.DataFrame:
    """Return the spots of all plans that have no answer yet; reserves wait for no one."""
    joints = register.table("joints", job=job)
    spots = register.table("spots", job=job)
    examined = filled_places(register.table("examinations", job=job), joints)
    # A re-shoot is still to come; what was not done is owed elsewhere, or there again.
    examined = examined[examined["verdict"] != "re-shoot"]
    answered = match_examinations(examined, spots)["spot"]
    waiting: pd.DataFrame = spots[~spots["spot"].isin(answered) & (spots["part"] != "reserve")]
    return waiting


def _fixed(items: pd.DataFrame) -> pd.DataFrame:
    """Return the spots whose place the rule fixes: neighbours, re-examinations, whole joints."""
    wanted = items[(items["what"] != "repair") & items["places"].map(bool) & (items["count"] > 0)]
    rows = wanted[["item", "what", "round", "places", "lot", "because"]].explode("places")
    places = pd.DataFrame(rows["places"].tolist(), columns=["joint", "from_mm", "to_mm"])
    again = (rows["what"] == "re-examine").to_numpy()
    return pd.DataFrame(
        {
            "joint": places["joint"].to_numpy(),
            "from_mm": places["from_mm"].to_numpy(),
            "to_mm": places["to_mm"].to_numpy(),
            "method": rows["because"].str.split(" ").str[0].to_numpy(),
            "round": np.where(again, rows["round"], 0),
            "why": rows["what"].to_numpy() + " owed",
            "because": rows["item"].to_numpy(),
        }
    )


def _not_waiting(fixed: pd.DataFrame, waiting: pd.DataFrame) -> pd.DataFrame:
    """Return the places that nobody is asked for yet, each once.

    Two rejects may ask for the same place between them, and one exposure answers both.
    """
    where = ["joint", "method", "round"]
    pairs = fixed.reset_index(names="place").merge(
        waiting[[*where, "from_mm", "to_mm"]], on=where, suffixes=("", "_asked")
    )
    held = (pairs["from_mm_asked"] <= pairs["from_mm"]) & (pairs["to_mm_asked"] >= pairs["to_mm"])
    left = fixed[~fixed.index.isin(pairs.loc[held, "place"])]
    return left.drop_duplicates([*where, "from_mm", "to_mm"])


def _drawn(
    register: Register,
    job: str,
    items: pd.DataFrame,
    fixed: pd.DataFrame,
    rules: Rules | None,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return the spots drawn by chance from what is left of the lots, each place once."""
    wanted = items[(items["what"] == "extra") & ~items["places"].map(bool) & (items["count"] > 0)]
    if wanted.empty or rules is None:
        return pd.DataFrame()
    free = _free_cells(register, job, rules)
    parts = [fixed]
    for item in wanted.itertuples():
        mine = free[free["lot"] == item.lot].reset_index(drop=True)
        # A place that two welders share is in the lots of both; one exposure answers one item.
        mine = mine[~touched(mine, pd.concat(parts, ignore_index=True))]
        parts.append(_from_lot(item, mine, rng))
    return pd.concat(parts[1:], ignore_index=True)


def _from_lot(item: Any, cells: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    number = min(int(item.count), len(cells))
    one = np.zeros(len(cells), dtype=np.int64)
    length = (cells["to_mm"] - cells["from_mm"]).to_numpy(float)
    drawn = draw_pivotal(inclusion_probabilities(length, one, [number]), one, rng)
    chosen = cells[drawn]
    return chosen[["joint", "from_mm", "to_mm", "method"]].assign(
        round=0, why="extra owed, drawn by chance", because=item.item
    )


def _free_cells(register: Register, job: str, rules: Rules) -> pd.DataFrame:
    """Return the places of each lot of which nothing is examined or asked for yet."""
    joints = register.table("joints", job=job)
    deposits = register.table("deposits", job=job)
    examined = filled_places(register.table("examinations", job=job), joints)
    judged = examined[examined["verdict"].isin(["accept", "reject"]) & (examined["round"] == 0)]
    asked = register.table("spots", job=job)
    asked = asked[(asked["part"] != "reserve") & (asked["round"] == 0)]
    columns = ["joint", "method", "from_mm", "to_mm"]
    taken = pd.concat([judged[columns], asked[columns]], ignore_index=True)
    parts = []
    for rule in rules.extent:
        under = joints_under(joints, rule)
        if under.empty or rule.escalation is None:
            continue
        work = lots_of_work(under, deposits, rules, rule)[["lot", "joint", "from_mm", "to_mm"]]
        work = work.assign(method=rule.method)
        parts.append(work[~touched(work, taken)])
    free: pd.DataFrame = pd.concat(parts, ignore_index=True)
    return free


def _with_technique(
    register: Register, job: str, spots: pd.DataFrame, rules: Rules | None
) -> pd.DataFrame:
    """Fill in blank places, technique and acceptance, and what every spot has."""
    joints = register.table("joints", job=job)
    spots = filled_places(spots.assign(job=job), joints)
    told = [
        joints_under(joints, rule)[["joint"]].assign(
            method=rule.method,
            rule=rule.name,
            technique=rule.technique or None,
            acceptance=rule.acceptance or None,
            conditions=rule.conditions or None,
        )
        for rule in (rules.extent if rules else ())
    ]
    columns = ["joint", "method", "rule", "technique", "acceptance", "conditions"]
    none = pd.DataFrame(columns=columns)
    kinds = pd.concat([none, *told], ignore_index=True).drop_duplicates(["joint", "method"])
    found = spots.merge(kinds, on=["joint", "method"], how="left")
    extras: pd.DataFrame = found.assign(part="extra", draw_order=range(1, len(found) + 1))
    return extras
