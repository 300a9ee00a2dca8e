"""Why an extent is short, and what to know of one that is met, in words."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

from ndtstats.extent.achieved import long_enough
from ndtstats.extent.measure import Measured
from ndtstats.rules import ExtentRule
from ndtstats.rules.families import PercentOfJoints, ShareOfLength
from ndtstats.units import MM_PER_M

#: Names told one by one before a note says how many more there are.
MOST_NAMES = 5


def notes(found: Measured, groups: pd.DataFrame) -> Iterator[str]:
    """Yield what there is to say of some groups of a measured rule."""
    yield from _lacking(found, groups)
    yield from _remarks(found, groups)


def _lacking(found: Measured, groups: pd.DataFrame) -> Iterator[str]:
    lacking = found.lacking
    welders = _of(lacking.welders, groups)["welder"].unique()
    if len(welders):
        yield f"not shown enough: {_names('welder', welders)}"
    joints = _of(lacking.joints, groups)["joint"].unique()
    if len(joints):
        yield f"fewer than {found.rule.spots_per_joint} on {_names('joint', joints)}"
    stretches = _of(lacking.stretches, groups)["welder"].unique()
    if len(stretches):
        first_m = getattr(found.rule.amount, "first_m", 0.0)
        whose = "" if set(stretches) == {"all"} else f" of {_names('welder', stretches)}"
        yield f"no spot in the first {first_m:g} m{whose}"
    for place, missed in _of(lacking.places, groups).groupby("place"):
        yield f"every {place} is asked for: {_names('joint', missed['joint'].unique())}"
    first = _of(lacking.first_off, groups)["joint"].unique()
    if len(first):
        yield f"first-off work: {_names('joint', first)}"
    at_crossings = _of(lacking.crossings, groups)["lacks"].sum()
    if at_crossings:
        yield f"{at_crossings:.0f} more must lie at crossings"
    short = groups[groups["missing"] > 0]
    if len(groups) > 1 and len(short):
        by = ", ".join(found.rule.counted_per)
        yield f"counted by {by}: {len(short)} of {len(groups)} are short"


def _remarks(found: Measured, groups: pd.DataFrame) -> Iterator[str]:
    rule, under = found.rule, found.under
    joints = _of(under.joints, groups)
    if rule.places == "crossings" and isinstance(rule.amount, ShareOfLength):
        yield "the share is that of the length about the crossings"
    if rule.adjusted is not None:
        yield f"times {rule.adjusted.factor:g}: {rule.adjusted.reason}"
    if found.capped:
        yield "asks for more than all the crossings in the register; the rest is to be agreed"
    if rule.unit == "spots" and rule.places != "crossings":
        own = under.spans[under.spans["joint"].isin(joints["joint"])]
        few = int((~long_enough(own, joints, joints["spot_mm"])).sum())
        if few:
            exposures = "1 exposure is" if few == 1 else f"{few} exposures are"
            least = "a spot" if rule.spot_percent else f"{rule.spot_length_mm:g} mm"
            yield f"{exposures} shorter than {least} and count as no spot"
    if rule.spots_per_welder or rule.each_welder:
        yield from _without_welder(found, joints)
    if under.clean and _reduced(rule, groups):
        yield "reduced for a clean record"


def _without_welder(found: Measured, joints: pd.DataFrame) -> Iterator[str]:
    """Yield of how many joints no deposit is known: not welded yet, unless they were examined."""
    nameless = joints[~joints["joint"].isin(found.under.deposits["joint"])]
    examined = int(nameless["joint"].isin(found.under.spans["joint"]).sum())
    if len(nameless) > examined:
        so_many = len(nameless) - examined
        yield f"not welded yet, for no deposit says so: {so_many} of {_of_all(joints)}"
    if examined:
        yield f"who welded is not known of {examined} of {_of_all(joints)}"


def _of_all(joints: pd.DataFrame) -> str:
    return "1 joint" if len(joints) == 1 else f"{len(joints)} joints"


def _reduced(rule: ExtentRule, groups: pd.DataFrame) -> bool:
    amount = rule.amount
    if isinstance(amount, PercentOfJoints) and amount.reduction is not None:
        return bool((groups["joints"] > amount.reduction.after_joints).any())
    if isinstance(amount, ShareOfLength) and amount.reduction is not None:
        return bool((groups["basis_mm"] > amount.reduction.after_m * MM_PER_M).any())
    return False


def _of(cases: pd.DataFrame, groups: pd.DataFrame) -> pd.DataFrame:
    return cases[cases["group"].isin(groups.index)]


def _names(what: str, names: Any) -> str:
    shown = ", ".join(str(name) for name in names[:MOST_NAMES])
    more = len(names) - MOST_NAMES
    plural = "" if len(names) == 1 else "s"
    return f"{what}{plural} {shown}" + (f" and {more} more" if more > 0 else "")
