"""What stands in the way of releasing the zones of a job, each thing with what would clear it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from operator import itemgetter
from typing import Any

import pandas as pd

from ndtstats.escalation import owed
from ndtstats.escalation.lots import lots_of_work
from ndtstats.extent import amount_text, extent
from ndtstats.extent.achieved import (
    crossings,
    examined_spans,
    points_examined,
    union_on,
)
from ndtstats.qualification import outside
from ndtstats.register import Register, decisions_in_force
from ndtstats.release.tests import STATES, zone_tests
from ndtstats.release.warnings import warnings_of
from ndtstats.request.open_spots import open_spots
from ndtstats.rules import ExtentRule, Rules, joints_under, rules_in_force, standing
from ndtstats.units import SLACK_MM
from ndtstats.visual import check_beads, visual_state

#: Columns of the obstacles, and their types. ``name`` tells one from every other, as long as it is
#: the same thing that stands in the way.
COLUMNS: dict[str, str] = {
    "check": "str",
    "zone": "str",
    "joint": "str",
    "what": "str",
    "clears": "str",
    "name": "str",
}


@dataclass(frozen=True)
class Job:
    """One job of a register as of an instant; each table is read when first asked for."""

    register: Register
    job: str
    as_of: datetime | None

    @cached_property
    def zones(self) -> pd.DataFrame:
        """Its zones."""
        return self.register.table("zones", job=self.job, as_of=self.as_of)

    @cached_property
    def joints(self) -> pd.DataFrame:
        """Its joints, without those that were cut out."""
        return standing(self.register.table("joints", job=self.job, as_of=self.as_of))

    @cached_property
    def deposits(self) -> pd.DataFrame:
        """Who welded what."""
        return self.register.table("deposits", job=self.job, as_of=self.as_of)

    @cached_property
    def examinations(self) -> pd.DataFrame:
        """Its examinations by every method."""
        return self.register.table("examinations", job=self.job, as_of=self.as_of)

    @cached_property
    def rules(self) -> Rules | None:
        """The rules in force."""
        return rules_in_force(self.register, self.job, self.as_of)

    @cached_property
    def open_spots(self) -> pd.DataFrame:
        """The spots of all its plans that wait for an examination."""
        plans = self.register.table("plans", job=self.job, as_of=self.as_of, columns=["plan"])
        if plans.empty:
            return pd.DataFrame({name: pd.Series(dtype="str") for name in ("spot", "joint")})
        return open_spots(self.register, job=self.job, as_of=self.as_of)

    @cached_property
    def owed(self) -> pd.DataFrame:
        """What is owed."""
        return owed(self.register, job=self.job, as_of=self.as_of)

    @cached_property
    def warnings(self) -> pd.DataFrame:
        """All its warnings, answered or not."""
        return warnings_of(self.register, job=self.job, as_of=self.as_of, everything=True)

    @cached_property
    def decisions(self) -> pd.DataFrame:
        """What named people decided about it."""
        return decisions_in_force(self.register, job=self.job, as_of=self.as_of)

    @cached_property
    def decided(self) -> Mapping[Any, Any]:
        """At which rows of the decisions each kind about each subject stands."""
        return self.decisions.groupby(["kind", "subject"]).indices

    @cached_property
    def milestone_of(self) -> "pd.Series[Any]":
        """The milestone that each zone is said to have."""
        return self.zones.set_index("zone")["milestone"]

    @cached_property
    def lengths(self) -> pd.DataFrame:
        """How many joints each zone has, ``joints``, and how much weld, ``length_mm``."""
        by = self.joints.groupby("zone")["length_mm"]
        return pd.DataFrame({"joints": by.size(), "length_mm": by.sum()})

    @cached_property
    def zone_of(self) -> "pd.Series[str]":
        """The zone of each joint."""
        return self.joints.set_index("joint")["zone"]


def obstacles(job: Job) -> pd.DataFrame:
    """Return everything that stands in the way in a job, zone by zone.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`. ``zone`` is the zone that it is in; missing where it concerns the
        whole job. What concerns several zones has a row for each.
    """
    found = [check(job) for check in _CHECKS]
    rows = pd.concat([frame.reindex(columns=list(COLUMNS)) for frame in found], ignore_index=True)
    own = rows["joint"].map(job.zone_of).astype("str")
    rows["zone"] = rows["zone"].astype("str").fillna(own)
    return rows.astype(COLUMNS).drop_duplicates(["check", "zone", "name"], ignore_index=True)


def _rules(job: Job) -> pd.DataFrame:
    if job.rules is not None:
        return pd.DataFrame()
    return pd.DataFrame(
        {
            "check": ["rules"],
            "what": ["no rules are in force: nobody can say what had to be examined"],
            "clears": [f"ndtstats rules adopt FILE --job {job.job}"],
            "name": ["rules"],
        }
    )


def _welded(job: Job) -> pd.DataFrame:
    # A job without any deposits is one whose welding nobody records here.
    if job.deposits.empty:
        return pd.DataFrame()
    bare = job.joints.loc[~job.joints["joint"].isin(job.deposits["joint"]), "joint"]
    return pd.DataFrame(
        {
            "joint": bare,
            "check": "welded",
            "what": "no deposit is recorded",
            "clears": "weld it, or load who welded it and when",
            "name": "welded " + bare,
        }
    )


def _visual(job: Job) -> pd.DataFrame:
    seen = visual_state(job.register, job=job.job, as_of=job.as_of)
    seen = seen[(seen["state"] != "accepted") & seen["joint"].isin(job.joints["joint"])]
    said = {
        "not seen": "not seen by eye yet",
        "rejected": "rejected by eye, and not accepted since",
    }
    partly = _text(seen["seen_mm"], "{:,.0f} of ")
    partly += _text(seen["length_mm"], "{:,.0f} mm accepted by eye")
    return pd.DataFrame(
        {
            "joint": seen["joint"],
            "check": "visual",
            "what": seen["state"].map(said).fillna(partly),
            "clears": "look at it (VT), mend what is wrong, and load the result",
            "name": "visual " + seen["joint"],
        }
    )


def _beads(job: Job) -> pd.DataFrame:
    beads = job.register.table("beads", job=job.job, as_of=job.as_of)
    if beads.empty:
        return pd.DataFrame()
    faults = check_beads(job.joints, beads)
    if faults.empty:
        return pd.DataFrame()
    kinds = faults.groupby(["joint", "kind"], sort=False).size().reset_index(name="number")
    kinds["told"] = kinds["number"].astype("str") + " " + kinds["kind"]
    told = kinds.groupby("joint", sort=False)["told"].agg(", ".join).reset_index()
    return pd.DataFrame(
        {
            "joint": told["joint"],
            "check": "beads",
            "what": "beads: " + told["told"],
            "clears": "mend the beads, measure them again, and load them",
            "name": "beads " + told["joint"],
        }
    )


def _spots(job: Job) -> pd.DataFrame:
    spots = job.open_spots
    if spots.empty:
        return pd.DataFrame()
    place = _text(spots["from_mm"], "{:g} to ") + _text(spots["to_mm"], "{:g} mm")
    return pd.DataFrame(
        {
            "joint": spots["joint"],
            "check": "spot",
            "what": spots["method"]
            + " asked for and not examined: "
            + spots["spot"]
            + ", "
            + place,
            "clears": 'examine it and load the result; what cannot be reached is "not done"',
            "name": "spot " + spots["spot"],
        }
    )


def _everything(job: Job) -> pd.DataFrame:
    """Return the joints of which the rules ask everything, and that are not examined whole."""
    parts = [pd.DataFrame()]
    for rule in job.rules.extent if job.rules else ():
        # What must be seen by eye is a check of its own.
        if not rule.everything or rule.method == "VT":
            continue
        under = joints_under(job.joints, rule).reset_index(drop=True)
        spans = examined_spans(job.examinations, under)
        spans = spans[spans["method"].isin(rule.methods)]
        what = _points_left(under, spans) if rule.places == "crossings" else _left(under, spans)
        methods = " or ".join(rule.methods)
        parts.append(
            pd.DataFrame(
                {
                    "joint": what.index,
                    "check": "extent",
                    "what": f'rule "{rule.name}": ' + what.to_numpy() + f" by {methods}",
                    "clears": f"examine it by {methods}",
                    "name": f"extent {rule.name} " + what.index.astype("str"),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _left(under: pd.DataFrame, spans: pd.DataFrame) -> Any:
    left = under["length_mm"] - union_on(spans, under)
    short = left > SLACK_MM
    told = _text(left[short], "{:,.0f} of ")
    told += _text(under.loc[short, "length_mm"], "{:,.0f} mm not examined")
    return told.set_axis(under.loc[short, "joint"])


def _points_left(under: pd.DataFrame, spans: pd.DataFrame) -> Any:
    points = crossings(under)
    left = points[~points_examined(points, spans)]
    at = _text(left["at_mm"], "{:g}").groupby(left["joint"], sort=False).agg(", ".join)
    return "crossings not examined: at " + at + " mm"


def _short(job: Job) -> pd.DataFrame:
    """Return the extents of the job that no open plan makes good, at the zones that could."""
    if job.rules is None:
        return pd.DataFrame()
    table = extent(job.register, job=job.job, as_of=job.as_of, rules=job.rules)
    rules = {rule.name: rule for rule in job.rules.extent}
    parts = [pd.DataFrame()]
    for row in table[table["state"] == "short"].itertuples():
        rule = rules[str(row.rule)]
        if (rule.everything and rule.places != "crossings") or rule.method == "VT":
            continue
        lacks = float(str(row.missing)) - _planned(job.open_spots, rule)
        if lacks <= (SLACK_MM if rule.unit == "mm" else 0.0):
            continue
        can_give = _not_examined(job, rule)
        said = f'the job lacks {amount_text(lacks, rule.unit)} of "{rule.name}" ({rule.method}) '
        parts.append(
            pd.DataFrame(
                {
                    "zone": can_give["zone"].unique(),
                    "check": "extent",
                    "what": said + "that no plan asks for, and this zone can give some of it",
                    "clears": f"ndtstats plan draw --job {job.job}, then examine what it draws",
                    "name": f"extent {rule.name} {row.category}",
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _planned(spots: pd.DataFrame, rule: ExtentRule) -> float:
    if spots.empty:
        return 0.0
    mine = spots[spots["rule"] == rule.name]
    length = float((mine["to_mm"] - mine["from_mm"]).sum())
    return {"mm": length, "joints": float(mine["joint"].nunique())}.get(rule.unit, float(len(mine)))


def _not_examined(job: Job, rule: ExtentRule) -> pd.DataFrame:
    under = joints_under(job.joints, rule).reset_index(drop=True)
    spans = examined_spans(job.examinations, under)
    spans = spans[spans["method"].isin(rule.methods)]
    return under[union_on(spans, under) < under["length_mm"] - SLACK_MM]


def _rejects(job: Job) -> pd.DataFrame:
    """Return the rejects that are not closed; those by eye are told by the check of the eye."""
    items = job.owed[job.owed["what"].isin(["repair", "re-examine"])]
    items = items[~items["lot"].str.endswith("method VT")]
    if items.empty:
        return pd.DataFrame()
    joints = items["places"].str[0].map(itemgetter("joint"))
    cause = items["because"].str.split("; does not cover the place: ", n=1)
    astray = (", which " + cause.str[1].astype("str") + " does not cover").fillna("")
    return pd.DataFrame(
        {
            "joint": joints,
            "check": "repair",
            "what": "open reject " + cause.str[0] + astray,
            "clears": "repair it, examine the place again by the same method, load the result",
            "name": "repair " + items["item"].str.rpartition("#")[0],
        }
    )


def _extras(job: Job) -> pd.DataFrame:
    """Return what escalation asks for: where it says so, else in each zone that holds the lot.

    What a lot's samples represent is accepted only once its extras are.
    """
    items = job.owed[job.owed["what"].isin(["extra", "whole lot"])]
    if items.empty:
        return pd.DataFrame()
    named = items.explode("places")
    joint = named["places"].map(itemgetter("joint"), na_action="ignore").astype("str")
    named = named.assign(joint=joint)
    at = named.loc[named["joint"].notna(), ["item", "joint"]]
    anywhere = items[~items["item"].isin(at["item"])]
    lots = _lots(job, set(anywhere["procedure"]))
    at = pd.concat([at, anywhere[["item", "lot"]].merge(lots, on="lot")[["item", "joint"]]])
    zones = at.assign(zone=at["joint"].map(job.zone_of)).drop_duplicates(["item", "zone"])
    told = zones.merge(items[["item", "lot", "what", "count", "because"]], on="item")
    number = (
        told["count"].astype("str")
        + " "
        + told["what"].map(
            {"extra": "extra owed by ", "whole lot": "places owed, the whole lot, by "}
        )
    )
    return pd.DataFrame(
        {
            "zone": told["zone"],
            "check": "owed",
            "what": number + told["lot"] + ", because of " + told["because"],
            "clears": f"ndtstats plan extra --job {job.job}, examine, load; or a waiver by name",
            "name": "owed " + told["item"],
        }
    )


def _lots(job: Job, procedures: set[str]) -> pd.DataFrame:
    """Return which joints hold work of which lot of some procedures."""
    parts = [pd.DataFrame({"lot": [], "joint": []}, dtype="str")]
    for rule in job.rules.extent if job.rules else ():
        under = joints_under(job.joints, rule)
        if rule.escalation not in procedures or under.empty:
            continue
        parts.append(lots_of_work(under, job.deposits, job.rules, rule)[["lot", "joint"]])  # type: ignore[arg-type]  # there are rules
    return pd.concat(parts, ignore_index=True).drop_duplicates()


def _tests(job: Job) -> pd.DataFrame:
    tests = zone_tests(job.register, job=job.job, as_of=job.as_of)
    tests = tests[tests["required"] & (tests["state"] != "accepted")]
    return pd.DataFrame(
        {
            "zone": tests["zone"],
            "check": "test",
            "what": "leak or pressure test: " + tests["state"].map(STATES) + _after(tests["note"]),
            "clears": "have licensed people test it under their own safety rules; load the result",
            "name": "test " + tests["zone"] + " " + tests["state"],
        }
    )


def _after(note: "pd.Series[str]") -> Any:
    return (": " + note.astype("str").where(note != "")).fillna("")


def _text(values: "pd.Series[Any]", form: str) -> Any:
    """Return values in words; text also where there are none."""
    return values.map(form.format).astype("str")


def _unqualified(job: Job) -> pd.DataFrame:
    """Return the deposits outside a qualification, but for those that somebody answered for."""
    found = outside(job.register, job=job.job, as_of=job.as_of)
    found = found[found["joint"].isin(job.joints["joint"])]
    day = found["date"].dt.strftime("%Y-%m-%d").astype("str")
    deposit = found["joint"] + " | " + found["welder"] + " | " + day
    warned = job.warnings[job.warnings["code"] == "UNQUALIFIED"]
    told = warned["row"].str.split(" | ", regex=False).str[1:4].str.join(" | ")
    open_ = warned["state"] == "open"
    number = warned.loc[open_, "warning"].set_axis(told[open_]).groupby(level=0).first()
    answer = "; or ndtstats warnings --answer " + deposit.map(number).astype("str")
    rows = pd.DataFrame(
        {
            "joint": found["joint"],
            "check": "qualification",
            "what": "welder " + found["welder"] + " on " + day + ": " + found["reason"],
            "clears": "load the certificate or confirmation that covers it" + answer.fillna(""),
            "name": "qualification " + deposit,
        }
    )
    waits: pd.DataFrame = rows[~deposit.isin(told[warned["state"] == "answered"])]
    return waits


def _unanswered(job: Job) -> pd.DataFrame:
    open_ = job.warnings[job.warnings["state"] == "open"]
    # Deposits outside a qualification are a check of their own.
    open_ = open_[open_["code"] != "UNQUALIFIED"].reset_index(drop=True)
    # What is wrong with a welder concerns the zones that he welded in.
    work = job.deposits[["welder", "joint"]].drop_duplicates()
    mine = open_[open_["joint"].isna() & open_["zone"].isna() & open_["welder"].notna()]
    his = mine.drop(columns="joint").merge(work, on="welder")
    his = his.assign(zone=his["joint"].map(job.zone_of)).drop_duplicates(["warning", "zone"])
    told = pd.concat([open_[~open_.index.isin(mine.index)], his.assign(joint=None)])
    value = ('"' + told["value"].astype("str") + '" ').fillna("")
    return pd.DataFrame(
        {
            "zone": told["zone"],
            "joint": told["joint"],
            "check": "warning",
            "what": told["warning"] + ": " + value + told["reason"] + " (" + told["place"] + ")",
            "clears": told["remedy"]
            + "; or ndtstats warnings --answer "
            + told["warning"]
            + " with name and reason",
            "name": "warning " + told["warning"],
        }
    )


_CHECKS: tuple[Callable[[Job], pd.DataFrame], ...] = (
    _rules,
    _welded,
    _visual,
    _beads,
    _spots,
    _everything,
    _short,
    _rejects,
    _extras,
    _tests,
    _unqualified,
    _unanswered,
)
