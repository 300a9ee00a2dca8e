"""A plan for what is owed: places the rule fixes as they are, the others by chance from the lot."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.escalation.owed import lots_of_work, owed
from ndtstats.planning import cut_frame, in_request_order, store_plan
from ndtstats.planning.draw import draw_systematic, inclusion_probabilities
from ndtstats.planning.frame import frame_sha256
from ndtstats.register import Register
from ndtstats.request import filled_places
from ndtstats.rules import Rules, rules_in_force


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
    spots = register.table("spots", job=job)
    waiting = _waiting(register, job, spots)
    items = items.assign(count=items["count"] - items["item"].map(waiting).fillna(0).astype(int))
    rules = rules_in_force(register, job)
    rng = np.random.default_rng(np.random.SeedSequence(seed))
    fixed = _fixed(items)
    drawn = _drawn(register, job, items, rules, rng)
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


def _waiting(register: Register, job: str, spots: pd.DataFrame) -> Any:
    """Return how many spots are planned for each item that have no answer yet."""
    answered = register.table("examinations", job=job)["request"]
    extra = spots[(spots["part"] == "extra") & ~spots["spot"].isin(answered)]
    return extra["because"].value_counts()


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


def _drawn(
    register: Register, job: str, items: pd.DataFrame, rules: Rules | None, rng: np.random.Generator
) -> pd.DataFrame:
    """Return the spots drawn by chance from what is left of the lots."""
    wanted = items[(items["what"] == "extra") & ~items["places"].map(bool) & (items["count"] > 0)]
    if wanted.empty or rules is None:
        return pd.DataFrame()
    free = _free_cells(register, job, rules)
    parts = [_from_lot(item, free[free["lot"] == item.lot], rng) for item in wanted.itertuples()]
    return pd.concat(parts, ignore_index=True)


def _from_lot(item: Any, cells: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    number = min(int(item.count), len(cells))
    ones = np.zeros(len(cells), dtype=np.int64)
    length = (cells["to_mm"] - cells["from_mm"]).to_numpy(float)
    drawn = draw_systematic(inclusion_probabilities(length, ones, [number]), ones, rng)
    chosen = cells[drawn]
    return chosen[["joint", "from_mm", "to_mm", "method"]].assign(
        round=0, why="extra owed, drawn by chance", because=item.item
    )


def _free_cells(register: Register, job: str, rules: Rules) -> pd.DataFrame:
    """Return the cells of each lot of which nothing is examined or asked for yet."""
    joints = register.table("joints", job=job)
    deposits = register.table("deposits", job=job)
    examined = filled_places(register.table("examinations", job=job), joints)
    judged = examined[examined["verdict"].isin(["accept", "reject"]) & (examined["round"] == 0)]
    asked = register.table("spots", job=job)
    asked = asked[asked["part"] != "reserve"]
    columns = ["joint", "method", "from_mm", "to_mm"]
    taken = pd.concat([judged[columns], asked[columns]], ignore_index=True)
    parts = []
    for rule in rules.extent:
        under = joints[joints["category"].isin(list(rule.categories))]
        if under.empty or rule.escalation is None:
            continue
        whole = under["whole"].astype("boolean").fillna(value=False) | rule.whole_joints
        cells = cut_frame(under.assign(whole=whole), spot_length_mm=rule.spot_length_mm)
        cells = cells.assign(method=rule.method)
        cells = cells[~_touched(cells, taken)]
        work = lots_of_work(under, deposits, rules, rule)[["joint", "lot"]].drop_duplicates()
        parts.append(cells.merge(work, on="joint"))
    free: pd.DataFrame = pd.concat(parts, ignore_index=True)
    return free


def _touched(cells: pd.DataFrame, taken: pd.DataFrame) -> Any:
    """Return which cells share some length with a place that is taken."""
    pairs = cells.reset_index(names="cell").merge(
        taken, on=["joint", "method"], suffixes=("", "_taken")
    )
    shared = (pairs["from_mm"] < pairs["to_mm_taken"]) & (pairs["to_mm"] > pairs["from_mm_taken"])
    return cells.index.isin(pairs.loc[shared, "cell"])


def _with_technique(
    register: Register, job: str, spots: pd.DataFrame, rules: Rules | None
) -> pd.DataFrame:
    """Fill in blank places, technique and acceptance, and what every spot has."""
    joints = register.table("joints", job=job)
    spots = filled_places(spots.assign(job=job), joints)
    category = spots["joint"].map(joints.set_index("joint")["category"])
    kinds = pd.DataFrame(
        [
            (kind, rule.method, rule.name, rule.technique or None, rule.acceptance or None)
            for rule in (rules.extent if rules else ())
            for kind in rule.categories
        ],
        columns=["category", "method", "rule", "technique", "acceptance"],
    ).drop_duplicates(["category", "method"])
    found = spots.assign(category=category).merge(kinds, on=["category", "method"], how="left")
    extras: pd.DataFrame = found.assign(part="extra", draw_order=range(1, len(found) + 1))
    return extras
