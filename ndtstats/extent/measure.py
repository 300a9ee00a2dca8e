"""One extent rule measured: by joint, then by group of joints, what is required and achieved."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.extent.achieved import (
    crossings,
    examined_whole,
    points_examined,
    spans_at,
    spots_on,
    union_on,
    union_within,
    zones_about,
)
from ndtstats.extent.lacking import (
    counted_spans,
    first_off_lacking,
    first_stretches_not_shown,
    joints_not_shown,
    places_not_examined,
    welders_needed,
)
from ndtstats.planning.work import leading_welder
from ndtstats.rules import (
    ExtentRule,
    Rules,
    crossing_spots,
    is_under,
    joints_under,
    required,
    spot_length_of,
)
from ndtstats.rules.families import SpotPerIncrement
from ndtstats.units import SLACK_MM


@dataclass(frozen=True, slots=True)
class Tables:
    """What is known of one job: tables of the register, and the places examined in it.

    ``rejects`` are the first examinations that rejected: columns ``joint`` and ``method``.
    """

    joints: pd.DataFrame
    deposits: pd.DataFrame
    rejects: pd.DataFrame
    spans: pd.DataFrame

    def under(self, rule: ExtentRule) -> "Tables":
        """Return what of it falls under a rule: its joints, and what is theirs.

        The joints have ``group``, and ``spot_mm``, the length of a spot on each.
        """
        mine = joints_under(self.joints, rule)
        mine = mine.reset_index(drop=True).assign(
            group=lambda joints: _groups(joints, rule),
            spot_mm=lambda joints: spot_length_of(rule, joints["length_mm"]),
        )

        def of(table: pd.DataFrame) -> pd.DataFrame:
            return table[table["joint"].isin(mine["joint"])].reset_index(drop=True)

        def by_method(table: pd.DataFrame) -> pd.DataFrame:
            return table[table["method"].isin(rule.methods)]

        # A joint that was cut out asks for nothing any more; its record stays.
        ever = self.joints.loc[is_under(self.joints, rule), "joint"]
        record = by_method(self.rejects)
        record = record[record["joint"].isin(ever)].reset_index(drop=True)
        return Tables(mine, of(self.deposits), record, of(by_method(self.spans)))

    @property
    def seen(self) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
        """Joints, deposits and places examined."""
        return self.joints, self.deposits, self.spans

    @property
    def clean(self) -> bool:
        """Whether no first examination found a reject."""
        return self.rejects.empty


@dataclass(frozen=True, slots=True)
class Lacking:
    """What lacks beside the number, case by case; each with the ``group`` it is counted in."""

    welders: pd.DataFrame
    joints: pd.DataFrame
    stretches: pd.DataFrame
    places: pd.DataFrame
    first_off: pd.DataFrame
    crossings: pd.DataFrame

    def fixed(self, rule: ExtentRule, groups: "pd.Index[Any]") -> Any:
        """Return by group what lacks of places that are examined every one, in the rule's unit."""
        spot = rule.spot_length_mm if rule.unit == "mm" else 1.0
        return self.places.groupby("group").size().reindex(groups, fill_value=0) * spot

    def most(self, rule: ExtentRule, groups: "pd.Index[Any]") -> Any:
        """Return by group the most that any one reason asks to be added, in the rule's unit.

        One exposure may serve several reasons, so that their sum would ask for too much.
        """
        spot = rule.spot_length_mm if rule.unit == "mm" else 1.0
        first = self.first_off.groupby("group")["lacks_mm"]
        by_reason = {
            "welders": self.welders.groupby("group")["lacks"].sum() * spot,
            "joints": self.joints.groupby("group")["lacks"].sum() * spot,
            "stretches": self.stretches.groupby("group").size() * spot,
            "places": self.fixed(rule, groups) if rule.always_counts else 0.0,
            "first-off": first.sum() if rule.unit == "mm" else first.size(),
            "crossings": self.crossings.groupby("group")["lacks"].sum() * spot,
        }
        return pd.DataFrame(by_reason).reindex(groups).fillna(0.0).max(axis="columns")


@dataclass(frozen=True, slots=True)
class Measured:
    """A rule, what falls under it, and the result.

    ``groups`` has a row for each group of joints in which the number is counted: ``joints``,
    ``length_mm``, ``basis_mm`` (mm that the share is taken of), ``examined_mm``, ``required``,
    ``achieved``, ``missing``.
    """

    rule: ExtentRule
    under: Tables
    groups: pd.DataFrame
    lacking: Lacking
    capped: bool


def measure(rule: ExtentRule, rules: Rules, tables: Tables) -> Measured:
    """Return what a rule requires and what is achieved of it.

    Parameters
    ----------
    rule : ExtentRule
        A rule of ``rules``.
    rules : Rules
        The file, for its dimensions and for the rule of the crossings.
    tables : Tables
        What is known of the job.
    """
    under = tables.under(rule)
    points = crossings(under.joints)
    zones = zones_about(points, crossing_length_mm(rule, rules))
    joints = _measured_joints(rule, under, points, zones)
    by = joints.groupby("group", sort=True)
    groups = by[["length_mm", "basis_mm", "reachable_mm", "examined_mm", "achieved"]].sum()
    groups = groups.assign(joints=by.size()).astype("float64")
    if groups.empty:
        # Check points are owed even while no joint is registered.
        groups = groups.reindex([0], fill_value=0.0)
    asked = _asked(rule, rules, under, groups)
    base = np.minimum(asked, _there(rule, groups, points))
    of_welders = welders_needed(rule, *under.seen)
    lacking = Lacking(
        welders=of_welders[of_welders["lacks"] > 0],
        joints=joints_not_shown(rule, under.joints, under.spans),
        stretches=first_stretches_not_shown(rule, *under.seen),
        places=places_not_examined(rule, under.joints, under.spans),
        first_off=first_off_lacking(rule, *under.seen),
        crossings=_crossings_lacking(rule, under, points, groups, base),
    )
    more = lacking.most(rule, groups.index)
    owed = np.where(more > 0, np.maximum(base, groups["achieved"] + more), base)
    if not rule.always_counts:
        owed = owed + lacking.fixed(rule, groups.index)
    if rule.each_welder:
        # What each welder needs adds up to more than all weld together, unless a spot shows two.
        each = of_welders.groupby("group")["needed"].sum().reindex(groups.index, fill_value=0.0)
        owed = np.maximum(owed, np.minimum(groups["achieved"], each))
    # Where everything there is has been examined, nothing is left to examine.
    all_of_it = groups["examined_mm"] >= groups["reachable_mm"] - SLACK_MM * groups["joints"]
    done = all_of_it & (groups["joints"] > 0)
    groups["required"] = np.where(done, np.minimum(owed, groups["achieved"]), owed)
    groups["missing"] = (groups["required"] - groups["achieved"]).clip(lower=0.0)
    return Measured(rule, under, groups, lacking, capped=bool((asked > base).any()))


def crossing_length_mm(rule: ExtentRule, rules: Rules) -> float:
    """Return how long the stretch about a crossing is that belongs to the rule of the crossings."""
    own = [
        other.spot_length_mm
        for other in rules.extent
        if other.places == "crossings"
        and other.method == rule.method
        and set(other.categories) & set(rule.categories)
    ]
    return max(own, default=rule.spot_length_mm)


def _groups(joints: pd.DataFrame, rule: ExtentRule) -> Any:
    """Return the number of the group in which the amount of a rule is counted."""
    if not rule.counted_per or joints.empty:
        return 0
    return joints.groupby(list(rule.counted_per), dropna=False, sort=True).ngroup()


def _measured_joints(
    rule: ExtentRule, under: Tables, points: pd.DataFrame, zones: pd.DataFrame
) -> pd.DataFrame:
    """Return the joints with what the share is taken of, what can be and what was examined."""
    joints, spans = under.joints, under.spans
    length, about = joints["length_mm"], union_on(zones, joints)
    examined, at_crossings = union_on(spans, joints), union_within(spans, zones, joints)
    # A metre in so many of the butts, beside the crossings, is counted on the whole butts.
    basis, reachable = length, length
    if rule.places == "crossings":
        basis, reachable, examined = about, about, at_crossings
    elif rule.places == "elsewhere":
        reachable, examined = length - about, examined - at_crossings
    return joints.assign(
        basis_mm=basis,
        reachable_mm=reachable,
        examined_mm=examined,
        achieved=_achieved(rule, under, points, examined),
    )


def _achieved(
    rule: ExtentRule, under: Tables, points: pd.DataFrame, examined_mm: "pd.Series[float]"
) -> Any:
    """Return what each joint brings, in the unit of the rule."""
    if rule.unit == "mm":
        return examined_mm
    if rule.whole_joints:
        return examined_whole(under.spans, under.joints)
    spot_mm = under.joints["spot_mm"]
    if rule.one_spot:
        return spots_on(under.spans, under.joints, spot_mm) > 0
    if rule.places == "crossings":
        seen = points[points_examined(points, under.spans)]
        return under.joints["joint"].map(seen["joint"].value_counts()).fillna(0)
    return spots_on(counted_spans(rule, under.joints, under.spans), under.joints, spot_mm)


def _asked(rule: ExtentRule, rules: Rules, under: Tables, groups: pd.DataFrame) -> Any:
    """Return the number that the amount alone asks for, whoever welded."""
    alone = rule.model_copy(update={"spots_per_welder": 0})
    return required(
        alone,
        rules.file.structure,
        joints=groups["joints"],
        length_mm=groups["basis_mm"],
        welders=_with_first_stretches(rule, under, groups),
        clean=under.clean,
    )


def _with_first_stretches(rule: ExtentRule, under: Tables, groups: pd.DataFrame) -> Any:
    """Return how many welders have first stretches in each group, where the rule gives them such.

    Welders who share a joint, on its two sides or in layers, share its spots: one may stand for
    both (API 650, 8.1.2.5, edition not noted; from memory).
    """
    amount = rule.amount
    if not isinstance(amount, SpotPerIncrement) or amount.first_for != "each-welder":
        return 0
    cells = under.joints[["joint"]].assign(from_mm=0.0, to_mm=under.joints["length_mm"])
    lead = leading_welder(cells, under.deposits)
    known = lead != ""
    number = lead[known].groupby(under.joints.loc[known, "group"]).nunique()
    return number.reindex(groups.index, fill_value=1)


def _there(rule: ExtentRule, groups: pd.DataFrame, points: pd.DataFrame) -> Any:
    """Return how much there is to examine at all, where a formula may ask for more than that."""
    if rule.places != "crossings":
        return np.inf
    return groups["basis_mm"] if rule.unit == "mm" else float(len(points))


def _crossings_lacking(
    rule: ExtentRule, under: Tables, points: pd.DataFrame, groups: pd.DataFrame, base: Any
) -> pd.DataFrame:
    """Return how many spots at crossings lack, where a share of the spots must lie there."""
    amount = rule.amount
    none = pd.DataFrame({"group": [], "lacks": []})
    if not isinstance(amount, SpotPerIncrement) or points.empty:
        return none
    group_of = under.joints.set_index("joint")["group"]
    by_point = points_examined(points, under.spans).groupby(points["joint"].map(group_of))
    there = by_point.agg(["sum", "size"]).reindex(groups.index, fill_value=0)
    at = under.spans[spans_at(points, under.spans)]
    spots = at.groupby(at["joint"].map(group_of)).size().reindex(groups.index, fill_value=0)
    # An exposure of two crossings is one spot; two exposures of one crossing are no two either.
    seen = np.minimum(spots, there["sum"])
    asked = np.minimum(crossing_spots(amount, base), there["size"])
    lacks = pd.DataFrame({"group": groups.index.to_numpy(), "lacks": np.asarray(asked - seen)})
    return lacks[lacks["lacks"] > 0]
