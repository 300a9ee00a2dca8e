"""Why an extent is short, and what to know of one that is met, in words."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

from ndtstats.extent.achieved import long_enough
from ndtstats.extent.measure import Measured
from ndtstats.rules.families import PercentOfJoints

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
    if found.capped:
        yield "asks for more than all the crossings in the register; the rest is to be agreed"
    if rule.unit == "spots" and rule.places != "crossings":
        own = under.spans[under.spans["joint"].isin(joints["joint"])]
        few = int((~long_enough(own, joints, rule.spot_length_mm)).sum())
        if few:
            exposures = "1 exposure is" if few == 1 else f"{few} exposures are"
            yield f"{exposures} shorter than {rule.spot_length_mm:g} mm and count as no spot"
    unknown = int((~joints["joint"].isin(under.deposits["joint"])).sum())
    if rule.spots_per_welder and unknown:
        yield f"who welded is not known of {unknown} of {len(joints)} joints"
    amount = rule.amount
    if isinstance(amount, PercentOfJoints) and amount.reduction is not None and under.clean:
        beyond = groups["joints"] > amount.reduction.after_joints
        if beyond.any():
            yield "reduced for a clean record"


def _of(cases: pd.DataFrame, groups: pd.DataFrame) -> pd.DataFrame:
    return cases[cases["group"].isin(groups.index)]


def _names(what: str, names: Any) -> str:
    shown = ", ".join(str(name) for name in names[:MOST_NAMES])
    more = len(names) - MOST_NAMES
    plural = "" if len(names) == 1 else "s"
    return f"{what}{plural} {shown}" + (f" and {more} more" if more > 0 else "")
