"""Numerators, denominators and bounds of the four measures, on both bases."""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.rates.charge import Charges
from ndtstats.statistics import (
    proportion_interval,
    rate_interval,
    union_length,
    weighted_rate,
    weighted_ratio,
)
from ndtstats.units import MM_PER_M, SLACK_MM

_Floats = npt.NDArray[np.float64]


class Settings(NamedTuple):
    """How bounds are made."""

    level: float
    interval: str
    sides: str


def described(charges: Charges, measure: str, settings: Settings) -> pd.DataFrame:
    """Return the unweighted rate of everything examined, group by group.

    Parameters
    ----------
    charges : Charges
        Its ``seen`` has columns ``group`` and ``unit`` (numbers of group and joint) too. Rows that
        stand for several examinations are good for spots and joints.
    measure : {"spots", "joints", "length", "per-metre"}
        What is counted.

    Returns
    -------
    DataFrame
        Indexed by group: ``rejected``, ``examined``, ``rate``, ``lower``, ``upper``, ``effective``,
        ``design_effect`` (how many times more was examined than the bound is worth).
        The bounds of spots, joints and rates per metre are exact; those of lengths rest on the
        number of spots that the variance between joints is worth.
    """
    table = _counted(charges, measure)
    k, n = table["rejected"].to_numpy(float), table["examined"].to_numpy(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = k / n
    level, interval, sides = settings
    if measure == "per-metre":
        effective = n
        bounds = rate_interval(k, n, level=level, sides=sides)
    else:
        effective = n
        if measure == "length":
            ones = np.ones(len(charges.seen))
            effective = _weighted(charges, measure, ones, settings)["effective"].to_numpy(float)
        bounds = proportion_interval(
            np.clip(np.nan_to_num(rate) * effective, 0.0, effective) if measure == "length" else k,
            effective, level=level, sides=sides, method=interval,
        )  # fmt: skip
    shown = table.assign(rate=rate, lower=bounds.lower, upper=bounds.upper, effective=effective)
    return _with_design_effect(shown, charges, measure)


def unbiased(charges: Charges, measure: str, settings: Settings) -> pd.DataFrame:
    """Return the rate that chance supports, weighted by probability, group by group.

    Parameters and result as of :func:`described`; ``seen`` has ``weight`` too, and only rows that
    have one. ``rejected`` and ``examined`` are plain counts; ``rate`` is weighted, and so differs
    from their ratio.

    Notes
    -----
    The joint is the cluster, across the strata of the draw: spots of a joint have one welder, one
    procedure and one fit-up in common, whichever stratum they were drawn in. What lies between the
    means of the strata is no part of the variance, since the plan says how many are drawn of each;
    a group is a domain of them (:func:`ndtstats.statistics.weighted_ratio`).

    No finite population correction: the rate is that of the frame, but its bound is asked for what
    welders do, and of a welder whose places were all examined it would have no width. What may be
    left in this structure alone is told by :func:`ndtstats.rates.hidden.hidden`.

    In simulated yards strata take 2 to 7 % from the standard error and the correction 3 to 10 %
    more, but neither makes bounds narrower by more than 1 %: their width is that of an exact bound
    on what few spots of unequal weights are worth (``python -m ndtstats.simulation.calibration``).

    The rate of joints is given only in groups whose joints were each examined whole: of a joint
    that was examined in part, nobody knows whether it has a reject.
    """
    table = _counted(charges, measure)
    if measure == "joints":
        charges, table = _whole_joints(charges, table)
    seen = charges.seen
    found = _weighted(
        charges, measure, seen["weight"].to_numpy(float), settings, strata=seen["drawn_in"]
    )
    columns = {"value": "rate", "lower": "lower", "upper": "upper", "effective": "effective"}
    shown = table.join(found[list(columns)].rename(columns=columns), how="inner")
    return _with_design_effect(shown, charges, measure)


def _with_design_effect(table: pd.DataFrame, charges: Charges, measure: str) -> pd.DataFrame:
    """Return rates with the design effect: what unequal weights and shared joints cost.

    What was examined over the effective number (Kish 1965, Survey Sampling, 8.2, from memory; Rao &
    Scott 1992 use it in the same way).
    """
    examined = table["examined"].astype("float64")
    if measure == "length":
        spots: pd.Series[int] = charges.seen.groupby("group").size()
        examined = spots.reindex(table.index).astype("float64")
    with np.errstate(divide="ignore", invalid="ignore"):
        return table.assign(design_effect=examined / table["effective"])


def _counted(charges: Charges, measure: str) -> pd.DataFrame:
    """Return plain numerators and denominators, indexed by group."""
    seen = charges.seen
    rejected: pd.Series[Any]
    examined: pd.Series[Any]
    groups = pd.Index(np.unique(seen["group"]), name="group")
    if measure == "spots":
        of_group = seen.groupby("group")
        examined = of_group["times"].sum()
        rejected = seen["times"].where(seen["rejected"], 0).groupby(seen["group"]).sum()
    elif measure == "joints":
        examined, bad = joints_examined(seen), seen[seen["rejected"]]
        rejected = joints_examined(bad)
    else:
        label = _label(seen)
        examined_mm = _examined_mm(charges, label)
        examined = _of_groups(examined_mm, seen)
        if measure == "length":
            rejected = _of_groups(_rejected_mm(charges, label, examined_mm), seen)
        else:
            number = charges.found.loc[charges.found["counts"], "of"]
            rejected = seen["group"].take(number.to_numpy()).value_counts()
            examined = examined / MM_PER_M
    return pd.DataFrame(
        {"rejected": rejected.reindex(groups, fill_value=0), "examined": examined.reindex(groups)}
    )


def joints_examined(seen: pd.DataFrame) -> "pd.Series[int]":
    """Return how many joints there are in each group; a unit of several counts as these."""
    return seen.drop_duplicates(["group", "unit"]).groupby("group")["joints"].sum()


def _label(seen: pd.DataFrame) -> Any:
    """Return a number for each joint within each group."""
    return (seen["group"] * (seen["unit"].max() + 1) + seen["unit"]).to_numpy()


def _of_groups(by_label: "pd.Series[float]", seen: pd.DataFrame) -> "pd.Series[float]":
    units = int(seen["unit"].max()) + 1
    return by_label.groupby(by_label.index // units).sum()


def _examined_mm(charges: Charges, label: Any) -> "pd.Series[float]":
    """Return the length examined under each label; what was examined twice counts once."""
    pieces = charges.pieces
    length = union_length(label[pieces["of"]], pieces["low"], pieces["high"])
    return length.reindex(pd.Index(np.unique(label)), fill_value=0.0)


def _rejected_mm(charges: Charges, label: Any, most: "pd.Series[float]") -> "pd.Series[float]":
    """Return the length of rejectable indications under each label, at most what was examined.

    Places that overlap count once; a length whose place is unknown is added.
    """
    found = charges.found
    of = label[found["of"]]
    placed = union_length(of, found["low"], found["high"]).reindex(most.index, fill_value=0.0)
    loose = found["loose_mm"].groupby(of).sum().reindex(most.index, fill_value=0.0)
    return (placed + loose).clip(upper=most)


def _weighted(
    charges: Charges,
    measure: str,
    weights: _Floats,
    settings: Settings,
    *,
    strata: "pd.Series[int] | None" = None,
) -> pd.DataFrame:
    """Return weighted estimates with the joints as clusters, indexed by group."""
    seen = charges.seen
    level, interval, sides = settings
    clusters, group = seen["unit"].to_numpy(), seen["group"].to_numpy()
    each = np.arange(len(seen))
    if measure == "per-metre":
        number = np.bincount(charges.found["of"], charges.found["counts"], len(seen))
        return weighted_rate(
            number, _examined_mm(charges, each) / MM_PER_M,
            weights=weights, clusters=clusters, group=group, strata=strata, level=level,
            sides=sides,
        )  # fmt: skip
    rejected: Any = seen["rejected"].to_numpy(float)
    examined: Any = np.ones(len(seen))
    if measure == "length":
        examined = _examined_mm(charges, each)
        rejected = _rejected_mm(charges, each, examined)
    return weighted_ratio(
        rejected, examined, weights=weights, clusters=clusters, group=group, strata=strata,
        level=level, sides=sides, method=interval,
    )  # fmt: skip


def _whole_joints(charges: Charges, table: pd.DataFrame) -> tuple[Charges, pd.DataFrame]:
    """Return joints in the place of spots, in the groups where each was examined whole."""
    seen = charges.seen
    joints = seen.groupby(["group", "unit"], as_index=False).agg(
        rejected=("rejected", "any"),
        weight=("weight", "first"),
        whole=("whole", "all"),
        drawn_in=("drawn_in", "first"),
    )
    whole = joints.groupby("group")["whole"].transform("all")
    kept = joints[whole].reset_index(drop=True)
    return charges._replace(seen=kept), table[table.index.isin(kept["group"])]


def whole_joints(rows: pd.DataFrame) -> Any:
    """Return which examinations with a weight belong to a joint that such ones show whole.

    They do if they cover it, and if all of them are one spot of the draw, or none was left to
    chance: that several spots of a joint were all drawn is luck, for which no weight is known.
    """
    unit = rows["unit"]
    covered = unit.map(union_length(unit, rows["from_mm"], rows["to_mm"])).fillna(0.0)
    spots = rows.groupby("unit")["spot"].transform("nunique")
    certain = rows.groupby("unit")["weight"].transform("max") == 1.0
    return (covered >= rows["joint_mm"] - SLACK_MM) & ((spots == 1) | certain)
