"""The welds that a plan is tried on: those of a job, or of a yard that is stated and invented."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from ndtstats.columns import TABLES
from ndtstats.errors import UseError
from ndtstats.planning import Yard, yard_of
from ndtstats.register import Register
from ndtstats.rules import ExtentRule, Rules
from ndtstats.rules.where import LISTS
from ndtstats.units import MM_PER_M

#: Any day will do: only the order of the days matters.
_FIRST_DAY = "2001-01-01"


@dataclass(frozen=True, slots=True)
class Setting:
    """A yard, and what it is in words."""

    yard: Yard
    described: str


def setting_of_job(
    register: Register, job: str, rules: Rules, as_of: datetime | None = None
) -> Setting:
    """Return the welds of a job, all of them, whether a plan covers them already or not.

    Parameters
    ----------
    register : Register
        Holds the job.
    job : str
        Its number.
    rules : Rules
        State the rate that holds for the risk of places until there are results.
    as_of : datetime, optional
        By what was known then.

    Raises
    ------
    UseError
        If the job has no joints.
    """
    yard = yard_of(register, job, rules, as_of)
    if yard.joints.empty:
        raise UseError(f"job {job} has no joints yet; load them with: ndtstats load joints FILE")
    metres = yard.joints["length_mm"].sum() / MM_PER_M
    return Setting(yard, f"job {job}: {len(yard.joints):,} joints, {metres:,.0f} m")


def invented_setting(
    rules: Rules, *, welders: int = 20, joints_each: int = 15, joint_mm: float = 3000.0
) -> Setting:
    """Return an invented yard in which every welder makes the same.

    Parameters
    ----------
    rules : Rules
        The joints fall under them by turns, in category, kind and thickness.
    welders : int
        How many welders, 1 or more.
    joints_each : int
        How many joints each of them welds, one a day.
    joint_mm : float
        Length of each joint. Where the rules are about crossings, each has one in its middle.

    Raises
    ------
    UseError
        If a number makes no yard.

    Examples
    --------
    >>> from ndtstats.rules import load_rules
    >>> rules = load_rules("process-piping")
    >>> invented_setting(rules, welders=2, joints_each=3, joint_mm=500).described
    'an invented yard: 2 welders with 3 joints of 500 mm each, 3 m'
    """
    for what, value in (("welders", welders), ("joints", joints_each), ("length in mm", joint_mm)):
        if value < 1:
            raise UseError(f"{what} of the invented yard: {value:g}; write 1 or more")
    number = welders * joints_each
    kinds = _kinds(rules)
    crossed = any(
        rule.places != "all" or "crossings" in rule.always + rule.first for rule in rules.extent
    )
    nth = np.arange(number) // welders
    names = pd.Series([f"J-{i:0{len(str(number))}d}" for i in range(1, number + 1)], dtype="str")
    whose = pd.Series([f"W{i:0{len(str(welders))}d}" for i in range(1, welders + 1)], dtype="str")
    joints = _table(
        "joints",
        **{str(name): kinds[name].iloc[nth % len(kinds)].to_numpy() for name in kinds},
        joint=names,
        length_mm=float(joint_mm),
        whole=False,
        crossings_mm=f"{joint_mm / 2:g}" if crossed else None,
    )
    deposits = _table(
        "deposits",
        joint=names,
        welder=whose.iloc[np.arange(number) % welders].to_numpy(),
        date=pd.Timestamp(_FIRST_DAY) + pd.to_timedelta(nth, unit="D"),
    )
    nowhere = pd.DataFrame({"joint": pd.Series(dtype="str"), "from_mm": [], "to_mm": []})
    metres = number * joint_mm / MM_PER_M
    described = (
        f"an invented yard: {welders:,} welders with {joints_each:,} joints of {joint_mm:,.0f} mm "
        f"each{', crossed in the middle' if crossed else ''}, {metres:,.0f} m"
    )
    return Setting(Yard(joints, deposits, nowhere), described)


def _kinds(rules: Rules) -> pd.DataFrame:
    """Return the kinds of joint that rules are about, a row each: what they ask of a joint."""
    rows = [
        {"category": category, "zone": "1", **_asked(rule)}
        for rule in rules.extent
        for category in rule.categories
    ]
    return pd.DataFrame(rows).drop_duplicates(ignore_index=True)


def _asked(rule: ExtentRule) -> dict[str, object]:
    """Return a joint that meets the condition of a rule, but for its length."""
    joint: dict[str, object] = {
        name: getattr(rule.where, name)[0] for name in LISTS if getattr(rule.where, name)
    }
    within = rule.where.thickness_mm
    if within is not None:
        low = within.above if within.above is not None else within.at_least or 0.0
        high = within.below if within.below is not None else within.up_to or 2 * low
        joint["thickness_mm"] = (low + high) / 2
    return joint


def _table(name: str, **known: object) -> pd.DataFrame:
    """Return a table of the register with what is known of it, and the rest missing."""
    frame = pd.DataFrame(known)
    kinds = {column.name: column.kind for column in TABLES[name].columns}
    missing = {
        column: pd.Series(index=frame.index, dtype="float64" if kind == "number" else "str")
        for column, kind in kinds.items()
        if column not in frame or frame[column].isna().all()
    }
    full: pd.DataFrame = frame.assign(**missing)
    return full
