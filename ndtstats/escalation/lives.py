"""The life of each reject from found to closed: repaired, examined again, cut out, still open."""

from datetime import UTC, datetime
from typing import Any, Final

import numpy as np
import pandas as pd

from ndtstats.escalation.coverage import named_in_order
from ndtstats.escalation.history import history_of
from ndtstats.escalation.repairs import (
    TAPE_MM,
    bad_places,
    examined_again,
    first_looks,
    looked_again,
    looked_over,
    new_welds,
    place_on_new_weld,
    rejects_of,
)
from ndtstats.rates.charge import charge_welders
from ndtstats.register import Register, decisions_in_force, each_job
from ndtstats.rules import Rules, is_under, rules_in_force
from ndtstats.rules.model import REPAIRS_ALLOWED
from ndtstats.statistics import proportion_interval

#: States of a life that wait for somebody, in the order in which they are best looked at.
OPEN: Final = (
    "no repair left", "examined elsewhere", "new weld to examine", "to examine again", "to repair",
)  # fmt: skip

#: Days since a reject was found: upper end of each age, and its name.
AGES: Final = ((7, "up to 7 days"), (30, "8 to 30 days"), (90, "31 to 90 days"))
OLDER: Final = "over 90 days"

COLUMNS: Final = (
    "job", "joint", "method", "from_mm", "to_mm", "reject", "found_on", "welders", "state",
    "open_days", "repairs", "repairs_allowed", "repaired_on", "repaired_by", "first_repair",
    "examined_again", "closed_on", "astray", "remark",
)  # fmt: skip


def lives(
    register: Register,
    *,
    job: str | None = None,
    as_of: datetime | None = None,
    rules: Rules | None = None,
) -> pd.DataFrame:
    """Return the life of each reject, one row each, in the order in which they were found.

    Parameters
    ----------
    job : str, optional
        Only this job; else all.
    as_of : datetime, optional
        What was known then; open rejects are as old as they were then. None: when the register was
        last changed.
    rules : Rules, optional
        How many repairs are allowed by these rules instead of those in force.

    Returns
    -------
    DataFrame
        Columns ``job``, ``joint``, ``method``, ``from_mm``, ``to_mm``, ``reject`` (its name to
        people), ``found_on``, ``welders`` (to whom it is charged), ``state``, ``open_days``
        (missing if closed), ``repairs`` (those that were examined), ``repairs_allowed``,
        ``repaired_on`` and ``repaired_by`` (the last deposit over the place after the reject, if
        recorded), ``first_repair`` ("accept", "reject" or ""), ``examined_again`` (the
        re-examinations with their verdicts), ``closed_on``, ``astray`` (re-examinations of the
        joint that cover no reject) and ``remark``.

        ``state`` is one of :data:`OPEN` (no repair left: the last one allowed was rejected, so cut
        it out or let the parties decide; examined elsewhere: a re-examination misses the place; new
        weld to examine: the joint was cut out, and what was welded in its place is not examined;
        to examine again; to repair), or closed, cut out, waived, overturned.

    Notes
    -----
    A life begins with a reject that is not itself the re-examination of another, and takes in the
    rejected re-examinations of its place, however far the repair went beyond it. It closes when
    everything in it that was bad was examined again and accepted
    (:func:`ndtstats.escalation.repairs`). A deposit tells of a repair if its day is later than the
    reject's: on the same day it may be the weld that was rejected. How many repairs one place may
    have: ``repairs_allowed`` of its rule.
    """
    last = as_of or register.latest_time() or datetime.min.replace(tzinfo=UTC)
    until = pd.Timestamp(last.astimezone(UTC).date())
    parts = [
        _of_job(
            register, name, as_of, until.normalize(), rules or rules_in_force(register, name, as_of)
        )
        for name in each_job(register, job, as_of)
    ]
    table = pd.concat([_typed(), *(part for part in parts if len(part))], ignore_index=True)
    return table.sort_values(["found_on", "job", "reject"], ignore_index=True)


def _typed() -> pd.DataFrame:
    """Return no lives, with the columns as they are."""
    days = ["found_on", "repaired_on", "closed_on"]
    numbers = ["from_mm", "to_mm", "open_days"]
    types = dict.fromkeys(COLUMNS, "str") | dict.fromkeys(numbers, "float64")
    types |= dict.fromkeys(["repairs", "repairs_allowed"], "int64")
    types |= dict.fromkeys(days, "datetime64[us]")
    return pd.DataFrame(columns=list(COLUMNS)).astype(types)


def _of_job(
    register: Register, job: str, as_of: datetime | None, until: pd.Timestamp, rules: Rules | None
) -> pd.DataFrame:
    past = history_of(register, job, as_of)
    if not past.rejected_ever:
        return _typed()
    read = past.as_first_read()
    rejects = rejects_of(read.rows)
    waiver = decisions_in_force(register, kind="waiver", job=job, as_of=as_of)
    rejects = rejects.assign(
        waived=(rejects["ref"] + "#re-examine").isin(waiver["subject"]),
        allowed=_allowed(rejects, past.joints, rules),
    )
    table = lives_of(
        read.rows, rejects, read.counting, past.deposits, new_welds(past.joints), until
    )
    charged = charge_welders(
        rejects, read.shown[read.shown["id"].isin(rejects["id"])], past.deposits
    )
    charged = charged[charged["rejected"]].sort_values("welder")
    welders = charged.drop_duplicates(["ref", "welder"]).groupby("ref")["welder"].agg(", ".join)
    return table.assign(job=job, welders=table["reject"].map(welders))[list(COLUMNS)]


def _allowed(rejects: pd.DataFrame, joints: pd.DataFrame, rules: Rules | None) -> "pd.Series[int]":
    """Return how many repairs the rule of each reject allows."""
    allowed = pd.Series(REPAIRS_ALLOWED, index=rejects.index)
    for rule in rules.extent if rules else ():
        mine = rejects["joint"].isin(joints.loc[is_under(joints, rule), "joint"])
        allowed[mine & rejects["method"].isin(rule.methods)] = rule.repairs_allowed
    return allowed


def lives_of(
    examinations: pd.DataFrame,
    rejects: pd.DataFrame,
    indications: pd.DataFrame,
    deposits: pd.DataFrame,
    cut_out: pd.DataFrame,
    until: pd.Timestamp,
) -> pd.DataFrame:
    """Return the lives of rejects of one job, as :func:`lives` does but for job and welders.

    Parameters
    ----------
    examinations, indications, cut_out
        As of :func:`ndtstats.escalation.repairs`, verdicts as first read.
    rejects : DataFrame
        Those of the examinations that rejected, by order of time, with ``overturned``, ``waived``
        and ``allowed`` (repairs of one place).
    deposits : DataFrame
        ``joint``, ``welder``, ``date``, ``from_mm``, ``to_mm``.
    until : Timestamp
        The day on which open rejects have their age.
    """
    bad = bad_places(rejects, indications)
    again = looked_again(examinations)
    over = looked_over(bad, again)
    links = _links(bad, over, rejects)
    members = _members(links, rejects)
    looked = _looked(members, links)
    left = ~examined_again(bad, over) & ~rejects["overturned"]
    told = _told(rejects, members, looked, left)
    told = told.join(_repaired(told, bad, deposits))
    strays = again[~again["order"].isin(over["order"])]
    told = told.assign(astray=_astray(told, strays))
    told = _on_new_welds(told, examinations, cut_out)
    return _with_state(told, until)


# ------------------------------------------------------------------ which reject belongs to which


def _links(bad: pd.DataFrame, over: pd.DataFrame, rejects: pd.DataFrame) -> pd.DataFrame:
    """Return each reject with each re-examination of its place.

    ``child`` is the re-examination among the rejects, if it rejected this place again; else -1. One
    that was rejected for another place alone is sound here. Where it was bad in no place that had
    been bad, the repair itself went wrong, of whatever it covers.
    """
    columns = ["reject", "ref", "again_round", "again_date", "order"]
    pairs = over[columns].drop_duplicates(["reject", "order"], ignore_index=True)
    number = pd.Series(rejects.index, index=rejects["order"])
    child = pairs["order"].map(number).fillna(-1).astype("int64")
    pairs = pairs.assign(child=child)
    where = bad[["reject", "from_mm", "to_mm"]]
    both = pairs.reset_index(names="pair").merge(where, on="reject").merge(
        where.rename(columns={"reject": "child"}), on="child", suffixes=("", "_child")
    )  # fmt: skip
    meets = (both["from_mm"] <= both["to_mm_child"] + TAPE_MM) & (
        both["to_mm"] >= both["from_mm_child"] - TAPE_MM
    )
    same = pairs.index.isin(both.loc[meets, "pair"])
    somewhere = pairs["child"].isin(pairs.loc[same, "child"])
    return pairs.assign(child=child.where(same | ~somewhere, -1))


def _members(links: pd.DataFrame, rejects: pd.DataFrame) -> pd.DataFrame:
    """Return which rejects each life has: ``life``, the index of its first one, and ``reject``."""
    failed = links.loc[links["child"] >= 0, ["reject", "child"]]
    roots = rejects.index[~rejects.index.isin(failed["child"])]
    newest = pd.DataFrame({"life": roots, "reject": roots})
    parts = []
    # Once for each round of repairs: a re-examination is of a later round than its reject.
    while len(newest):
        parts.append(newest)
        step = newest.merge(failed, on="reject")
        newest = step[["life", "child"]].set_axis(["life", "reject"], axis=1).drop_duplicates()
    return pd.concat(parts, ignore_index=True).drop_duplicates(ignore_index=True)


def _looked(members: pd.DataFrame, links: pd.DataFrame) -> pd.DataFrame:
    """Return the re-examinations of each life in order, and which were ``bad``."""
    looked = members.merge(links, on="reject")
    looked = looked.assign(bad=looked["child"] >= 0).sort_values(["order", "bad"])
    return looked.drop_duplicates(["life", "order"], keep="last", ignore_index=True)


# ------------------------------------------------------------------ what became of each


def _told(
    rejects: pd.DataFrame, members: pd.DataFrame, looked: pd.DataFrame, left: "pd.Series[bool]"
) -> pd.DataFrame:
    """Return what is known of each life, one row each, by the index of its first reject."""
    of = members.assign(
        date=members["reject"].map(rejects["date"]),
        left=members["reject"].map(left),
        given_up=members["reject"].map(left & rejects["waived"]),
    ).groupby("life")
    words = np.where(looked["bad"], "reject", "accept")
    text = "R" + looked["again_round"].astype("str") + " " + words + ": " + looked["ref"]
    by_life = looked.groupby("life")
    roots = rejects.loc[sorted(members["life"].unique())]
    first = looked["again_round"] == looked["life"].map(rejects["round"]) + 1
    went = looked[first].groupby("life")["bad"].any()
    told = roots.rename(columns={"ref": "reject", "date": "found_on", "allowed": "repairs_allowed"})
    return told.assign(
        last_reject=of["date"].max(),
        left=of["left"].any(),
        waived=of["given_up"].sum() == of["left"].sum(),
        repairs=by_life["again_round"]
        .max()
        .reindex(roots.index)
        .fillna(roots["round"])
        .astype(int),
        last_bad=looked.drop_duplicates("life", keep="last").set_index("life")["bad"],
        examined_again=text.groupby(looked["life"]).agg("; ".join),
        closed_on=by_life["again_date"].max(),
        first_repair=went.map({True: "reject", False: "accept"}),
    ).fillna({"examined_again": "", "first_repair": ""})


def _repaired(told: pd.DataFrame, bad: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return the last deposit over each place after its reject, and by whom."""
    places = bad[["reject", "joint", "from_mm", "to_mm"]].rename(columns={"reject": "life"})
    places = places[places["life"].isin(told.index)]
    made = pd.DataFrame(
        {
            "joint": deposits["joint"], "repaired_by": deposits["welder"],
            "repaired_on": deposits["date"], "low": deposits["from_mm"].fillna(0.0),
            "high": deposits["to_mm"].fillna(np.inf),
        }
    )  # fmt: skip
    pairs = places.merge(made, on="joint")
    after = pairs["repaired_on"] > pairs["life"].map(told["found_on"])
    # Once it is closed, what is welded later is no repair of it.
    before = ~(pairs["repaired_on"] > pairs["life"].map(told["closed_on"].where(~told["left"])))
    over = (pairs["low"] < pairs["to_mm"]) & (pairs["high"] > pairs["from_mm"])
    found = pairs[after & before & over].sort_values(["repaired_on", "repaired_by"])
    last = found.groupby("life")["repaired_on"].transform("max")
    latest = found[found["repaired_on"] == last].drop_duplicates(["life", "repaired_by"])
    by_life = latest.groupby("life")
    by = by_life["repaired_by"].agg(", ".join)
    return pd.DataFrame({"repaired_on": by_life["repaired_on"].max(), "repaired_by": by})


def _astray(told: pd.DataFrame, strays: pd.DataFrame) -> "pd.Series[str]":
    """Return the re-examinations since the last reject that cover no reject of their joint."""
    pairs = told[["joint", "method", "last_reject"]].rename_axis("place").reset_index().merge(
        strays, left_on=["joint", "method"], right_on=["joint", "again_method"]
    )  # fmt: skip
    late = pairs["again_date"] >= pairs["last_reject"]
    return named_in_order(pairs[late], told).where(told["left"], "")


def _on_new_welds(
    told: pd.DataFrame, examinations: pd.DataFrame, cut_out: pd.DataFrame
) -> pd.DataFrame:
    """Add what was welded in the place of each open reject, and whether it is examined."""
    cut = told[told["left"] & told["joint"].isin(cut_out["joint"])]
    place = place_on_new_weld(cut, cut_out)
    done, names = first_looks(place, examinations)
    return told.assign(
        new_joint=place["joint"],
        new_done=pd.Series(done, cut.index).reindex(told.index, fill_value=False),
        new_looks=names,
    )


def _with_state(told: pd.DataFrame, until: pd.Timestamp) -> pd.DataFrame:
    """Return the lives with their state, age and remark."""
    left, cut = told["left"], told["new_joint"].notna()
    waiting = told["repaired_on"] > told["last_reject"]
    spent = (told["repairs"] >= told["repairs_allowed"]) & (
        told["last_bad"].fillna(value=True).astype(bool)
    )
    cases = {
        "overturned": ~left & told["overturned"],
        "closed": ~left,
        "waived": told["waived"],
        "cut out": cut & told["new_done"],
        "new weld to examine": cut,
        "examined elsewhere": told["astray"] != "",
        "no repair left": spent,
        "to examine again": waiting,
    }
    state = pd.Series(
        np.select([case.to_numpy(bool) for case in cases.values()], list(cases), "to repair"),
        told.index,
    )
    is_open = state.isin(OPEN)
    return told.assign(
        state=state,
        open_days=(until - told["found_on"]).dt.days.clip(lower=0).where(is_open).astype("float64"),
        closed_on=told["closed_on"].where(state.isin(["closed"])),
        remark=_remarks(told, state, waiting),
    )


def _remarks(told: pd.DataFrame, state: "pd.Series[str]", waiting: "pd.Series[bool]") -> Any:
    made = told["repairs"] + waiting
    beyond = made > told["repairs_allowed"]
    counted = made.astype("str") + " repairs where " + told["repairs_allowed"].astype("str")
    remark = (counted + " are allowed; ").where(beyond, "")
    new = told["new_joint"].astype("str").fillna("")
    ends = {
        "no repair left": "cut it out, or let the parties decide",
        "new weld to examine": "examine joint " + new + ", welded in its place",
        "cut out": "joint " + new + " welded in its place: " + told["new_looks"].astype("str"),
        "examined elsewhere": told["astray"] + " does not cover the place",
    }
    for name, end in ends.items():
        remark = remark + pd.Series(end, told.index).where(state == name, "")
    return remark.str.removesuffix("; ")


# ------------------------------------------------------------------ for people


def ages(table: pd.DataFrame) -> pd.DataFrame:
    """Return the open rejects of :func:`lives` by age and state: a row an age, a column a state."""
    still = table[table["state"].isin(OPEN)]
    labels = [name for _, name in AGES] + [OLDER]
    bins = [-np.inf, *(days for days, _ in AGES), np.inf]
    age = pd.cut(still["open_days"], bins, labels=labels)
    counts = pd.crosstab(age, still["state"], dropna=False) if len(still) else pd.DataFrame()
    counts = counts.reindex(index=labels, columns=list(OPEN), fill_value=0)
    return counts.assign(open=counts.sum(axis=1)).rename_axis("age").reset_index()


def lives_sentence(table: pd.DataFrame, *, level: float = 0.95) -> str:
    """Return in sentences what is open, and how often the first repair was accepted.

    Bounds after Clopper & Pearson (1934), Biometrika 26:404.
    """
    still = table[table["state"].isin(OPEN)]
    number = "No reject is" if still.empty else "1 reject is" if len(still) == 1 else (
        f"{len(still):,} rejects are"
    )  # fmt: skip
    oldest = ""
    if len(still):
        first = still.sort_values("open_days", ascending=False, kind="stable").iloc[0]
        days = int(first["open_days"])
        which = "for" if len(still) == 1 else "the oldest for"
        oldest = f", {which} {days:,} day{'' if days == 1 else 's'} ({first['reject']})"
    return f"{number} open{oldest}. {_success(table, level)}"


def _success(table: pd.DataFrame, level: float) -> str:
    went = table.loc[table["first_repair"] != "", "first_repair"]
    if went.empty:
        return "No first repair has been examined yet."
    good, of = int((went == "accept").sum()), len(went)
    bounds = proportion_interval(good, of, level=level)
    were = "was" if good == 1 else "were"
    return (
        f"Of {of:,} first repairs examined {good:,} {were} accepted: {good / of:.1%} (exact bounds "
        f"at {level:.0%}: {float(bounds.lower):.1%} to {float(bounds.upper):.1%})."
    ).replace("%", " %")
