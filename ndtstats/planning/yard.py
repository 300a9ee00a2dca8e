"""What the register tells of a job that a plan rests on."""

from datetime import datetime

import pandas as pd

from ndtstats.numbers import looked_up, numbered
from ndtstats.places import filled_places
from ndtstats.planning.drawing import Yard, with_flags, with_risk
from ndtstats.planning.likelihood import Likelihood, fit_likelihood, histories
from ndtstats.planning.order import natural
from ndtstats.register import Register, overturned_examinations, second_reading
from ndtstats.rules import Rules
from ndtstats.rules.force import rules_by_sha256

_EXAMINED = ("job", "joint", "method", "from_mm", "to_mm", "round", "verdict")
_JOINTS = ("job", "joint", "length_mm", "process", "position", "thickness_mm")
_CELLS = ("plan", "joint", "rule", "method", "from_mm", "to_mm", "mandatory", "welder")
#: What only a further draw needs of a frame that is kept.
_OF_DRAW = ("stratum", "pi")
_DEPOSITS = ("job", "joint", "welder", "from_mm", "to_mm", "process", "position")


def yard_of(register: Register, job: str, rules: Rules, as_of: datetime | None = None) -> Yard:
    """Return what a plan for a job rests on; results of all jobs say how likely trouble is.

    Parameters
    ----------
    job : str
        The job.
    rules : Rules
        State the rate that holds until there are results.
    as_of : datetime, optional
        What was known then.
    """
    joints = walking_order(register.table("joints", job=job, as_of=as_of))
    read = register.table("examinations", as_of=as_of, columns=_EXAMINED)
    everywhere = second_reading(read, overturned_examinations(register, as_of=as_of)["id"])
    examined = filled_places(everywhere[everywhere["job"] == job], joints)
    return Yard(
        joints=joints,
        deposits=register.table("deposits", job=job, as_of=as_of),
        rejects=examined[examined["verdict"] == "reject"],
        zones=register.table("zones", job=job, as_of=as_of),
        likelihoods=register.once(
            ("likelihoods", rules.file.risk.rate_per_m, as_of),
            lambda: likelihoods_of(register, everywhere, rules, as_of),
        ),
    )


def frame_kept(
    register: Register,
    job: str,
    yard: Yard,
    rules: Rules,
    as_of: datetime | None = None,
    *,
    for_draw: bool = True,
) -> pd.DataFrame:
    """Return the frames of the draws by the same extents, with what is at risk there today.

    A change of the rules file that leaves its extents as they are, such as of a comment or of a
    risk factor, makes no joint new.

    Returns
    -------
    DataFrame
        As :func:`ndtstats.planning.drawing.frame_of_rules`, and ``plan``; ``why`` is empty. Cells
        of joints that the register no longer has are left out. Where it is not ``for_draw``,
        ``stratum`` and ``pi`` are missing and ``factors`` is empty: they take long.
    """
    plans = register.table("plans", job=job, as_of=as_of)
    drawn = plans[plans["kind"] == "draw"]
    alike = [
        sha256
        for sha256 in drawn["rules_sha256"].unique()
        if sha256 == rules.sha256 or _same_extents(rules_by_sha256(register, sha256), rules)
    ]
    same = drawn[drawn["rules_sha256"].isin(alike)]
    columns = (*_CELLS, *_OF_DRAW) if for_draw else _CELLS
    kept = register.table("frame_cells", job=job, as_of=as_of, columns=columns)
    kept = kept[kept["plan"].isin(same["plan"]) & kept["joint"].isin(yard.joints["joint"])]
    kept = kept.drop(columns=["id", "batch"]).assign(why="")
    kept = kept.assign(
        mandatory=kept["mandatory"].fillna(""),
        welder=kept["welder"].fillna(""),
        joint_mm=looked_up(kept["joint"], yard.joints.set_index("joint")["length_mm"]),
    ).reset_index(drop=True)
    flagged = with_flags(kept, yard, rules)
    of_rule = flagged.groupby("rule").indices
    parts = [
        with_risk(
            flagged.iloc[of_rule[rule.name]], yard.joints, yard, rules, rule, in_words=for_draw
        )
        for rule in rules.extent
        if rule.name in of_rule
    ]
    return pd.concat(parts, ignore_index=True) if parts else kept


def _same_extents(one: Rules, other: Rules) -> bool:
    return one.extent == other.extent and one.file.structure == other.file.structure


def asked_places(register: Register, job: str, as_of: datetime | None = None) -> pd.DataFrame:
    """Return the spots that plans ask for at first, their reserves among them."""
    spots = register.table("spots", job=job, as_of=as_of)
    return spots[spots["round"].fillna(0) == 0]


def looked_at(
    register: Register, job: str, yard: Yard, as_of: datetime | None = None
) -> pd.DataFrame:
    """Return the first examinations of a job that accepted or rejected, with their places."""
    examined = register.table("examinations", job=job, as_of=as_of, columns=_EXAMINED)
    told = examined["verdict"].isin(["accept", "reject"]) & (examined["round"].fillna(0) == 0)
    return filled_places(examined[told], yard.joints)


def walking_order(joints: pd.DataFrame) -> pd.DataFrame:
    """Return joints zone by zone, in each as people count: J-2 before J-10."""
    keyed = joints.assign(_zone=natural(joints["zone"]), _joint=natural(joints["joint"]))
    ordered = keyed.sort_values(["_zone", "_joint"], kind="stable", ignore_index=True)
    return ordered.drop(columns=["_zone", "_joint"])


def likelihoods_of(
    register: Register, examined: pd.DataFrame, rules: Rules, as_of: datetime | None = None
) -> dict[str, Likelihood]:
    """Return how likely imperfections are, by kind of method, from the results of all jobs."""
    told = examined["verdict"].isin(["accept", "reject"]) & (examined["round"].fillna(0) == 0)
    joints = register.table("joints", as_of=as_of, columns=_JOINTS)
    first = filled_places(examined[told], joints)
    first = first[first["to_mm"] > first["from_mm"]]
    found = first.assign(found=_found(register, first, as_of))
    deposits = register.table("deposits", as_of=as_of, columns=_DEPOSITS)
    # Names of joints come again in every job, and are slow to compare.
    tables = (found, joints, deposits)
    numbers = zip(tables, numbered(*tables), strict=True)
    seen = histories(*(table.assign(joint=number) for table, number in numbers))
    rate = rules.file.risk.rate_per_m
    return {kind: fit_likelihood(rows, rate_per_m=rate) for kind, rows in seen.items()}


def _found(register: Register, first: pd.DataFrame, as_of: datetime | None) -> "pd.Series[float]":
    """Return the rejectable imperfections of each examination; a reject has at least one."""
    columns = ["examination", "imp_rejectable"]
    shown = register.table("imperfections", as_of=as_of, columns=columns)
    shown = shown[shown["imp_rejectable"].fillna(value=True).astype(bool)]
    number = first["id"].map(shown["examination"].value_counts()).fillna(0.0)
    found: pd.Series[float] = number.clip(lower=1.0).where(first["verdict"] == "reject", 0.0)
    return found
