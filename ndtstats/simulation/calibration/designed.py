"""Rates from planned yards: how often their bounds cover, and what careless pooling does."""

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ndtstats.simulation.calibration.yards import Yards, with_extras, with_targeted
from ndtstats.simulation.chance import SURE
from ndtstats.simulation.frame import Floats, Ints
from ndtstats.simulation.measures import ratio, share
from ndtstats.simulation.truth import Flags
from ndtstats.statistics import proportion_interval, weighted_rate, weighted_ratio
from ndtstats.units import MM_PER_M

#: Places aimed at, as a share of those that rule and chance examine: common practice, no source.
TARGETED_SHARE = 0.2


def design_coverage(yards: Yards, levels: tuple[float, ...] = (0.90, 0.95)) -> pd.DataFrame:
    """Return how often bounds on weighted rates cover, of whole yards and of each welder.

    Parameters
    ----------
    yards : Yards
        Planned and drawn.
    levels : tuple of float
        Nominal levels.

    Returns
    -------
    DataFrame
        A row for each ``of`` ("yard", "welder"), ``measure`` ("spots", "per metre"), ``truth``
        ("of the welding", "of this structure"), ``sides`` and ``level``, with the coverage as
        :func:`ndtstats.simulation.measures.share` gives it, and ``reach``, the median of the upper
        bound over the true rate.
    """
    asked = [
        (of, measure, truth, sides, level)
        for of in ("yard", "welder")
        for measure, truth, each in _QUESTIONS
        for sides in each
        for level in levels
    ]
    found = [_coverage(yards, *question) for question in asked]
    names = ["of", "measure", "truth", "sides", "level"]
    return pd.DataFrame(asked, columns=names).join(pd.DataFrame(found))


_QUESTIONS = (
    ("spots", "of the welding", ("two", "upper")),
    ("per metre", "of the welding", ("two", "upper")),
    ("spots", "of this structure", ("two",)),
)


def _coverage(
    yards: Yards, of: str, measure: str, truth: str, sides: str, level: float
) -> dict[str, float]:
    replicate, cell = np.nonzero(yards.drawn & yards.planned.counts)
    groups = len(yards.planned.frame.welders) if of == "welder" else 1
    group = replicate * groups + (yards.planned.frame.welder[cell] if groups > 1 else 0)
    table = _weighted(yards, replicate, cell, group, measure, sides, level)
    true = _truth(yards, groups, measure, truth).ravel()[table.index]
    covered = (table["lower"] <= true) & (true <= table["upper"])
    of_yard = table.index.to_numpy() // groups
    number = len(yards.drawn)
    found = share(
        np.bincount(of_yard, covered, number).astype(float),
        np.bincount(of_yard, minlength=number).astype(float),
    )
    some = true > 0
    reach = float(np.median(table["upper"][some] / true[some]))
    return found._asdict() | {"reach": reach}


def _weighted(
    yards: Yards, replicate: Ints, cell: Ints, group: Ints, measure: str, sides: str, level: float
) -> pd.DataFrame:
    """Return rates and bounds as the rates of a job are made: joints as clusters, strata."""
    planned = yards.planned
    chosen = _design(yards, replicate, cell) | {"group": group, "level": level, "sides": sides}
    count = yards.count[replicate, cell]
    if measure == "per metre":
        return weighted_rate(count, planned.frame.mm[cell] / MM_PER_M, **chosen)
    return weighted_ratio(count > 0, np.ones(len(cell)), **chosen)


def _design(yards: Yards, replicate: Ints, cell: Ints) -> dict[str, Any]:
    """Return weights, joints and strata; what a stratum requires is one apart, as in the rates."""
    planned = yards.planned
    frame = planned.frame
    stratum = 2 * frame.stratum + (frame.pi >= 1 - SURE)
    return {
        "weights": 1 / frame.pi[cell],
        "clusters": replicate * (int(planned.joint.max()) + 1) + planned.joint[cell],
        "strata": replicate * (int(stratum.max()) + 1) + stratum[cell],
    }


def design_gains(yards: Yards, level: float = 0.95) -> pd.DataFrame:
    """Return what strata and the finite structure do to bounds on the share of rejected spots.

    Parameters
    ----------
    yards : Yards
        Planned and drawn.
    level : float
        Of the two-sided bounds.

    Returns
    -------
    DataFrame
        A row for each ``of`` ("yard", "welder") and ``design`` ("joints alone", "joints and
        strata", as the rates of a job have it, and "joints, strata and finite structure"):
        ``error`` and ``width``, mean standard error and mean width of the bounds over those of
        joints alone; ``welding`` and ``structure``, coverage of the rate in the long run and of the
        share that is bad in the yard as it stands.
    """
    replicate, cell = np.nonzero(yards.drawn & yards.planned.counts)
    planned, full = yards.planned, _design(yards, replicate, cell)
    designs = {
        "joints alone": full | {"strata": None},
        "joints and strata": full,
        "joints, strata and finite structure": full | {"finite_share": planned.frame.pi[cell]},
    }
    bad = yards.count[replicate, cell] > 0
    rows = []
    for of, groups in (("yard", 1), ("welder", len(planned.frame.welders))):
        group = replicate * groups + (planned.frame.welder[cell] if groups > 1 else 0)
        tables = {
            name: weighted_ratio(bad, np.ones(len(cell)), group=group, level=level, **design)
            for name, design in designs.items()
        }
        rows += [
            {"of": of, "design": name} | _gain(yards, groups, table, tables["joints alone"])
            for name, table in tables.items()
        ]
    return pd.DataFrame(rows)


def _gain(yards: Yards, groups: int, table: pd.DataFrame, alone: pd.DataFrame) -> dict[str, float]:
    truths = {"welding": "of the welding", "structure": "of this structure"}
    width, usual = (float((each["upper"] - each["lower"]).mean()) for each in (table, alone))
    held = {}
    for name, truth in truths.items():
        true = _truth(yards, groups, "spots", truth).ravel()[table.index]
        held[name] = float(((table["lower"] <= true) & (true <= table["upper"])).mean())
    error = float(table["standard_error"].mean() / alone["standard_error"].mean())
    return {"error": error, "width": width / usual} | held


def _truth(yards: Yards, groups: int, measure: str, truth: str) -> Floats:
    """Return the true rate of each group of each yard, shape (yards, groups)."""
    planned = yards.planned
    metres = planned.frame.mm / MM_PER_M if measure == "per metre" else np.ones(len(planned.factor))
    expected = yards.mean if measure == "per metre" else yards.chance_bad
    number = yards.bad.astype(float) if truth == "of this structure" else expected
    member = _members(yards, groups).astype(float)
    with np.errstate(invalid="ignore"):
        return np.asarray(number @ member / (metres @ member), float)


def _members(yards: Yards, groups: int) -> Flags:
    """Return which cells that count belong to which group, shape (cells, groups)."""
    planned = yards.planned
    whose = planned.frame.welder if groups > 1 else np.zeros_like(planned.frame.welder)
    return np.asarray(np.equal.outer(whose, np.arange(groups)) & planned.counts[:, None])


def pooled_bias(yards: Yards, rng: np.random.Generator) -> pd.DataFrame:
    """Return how far rates lie from the truth, weighted and pooled carelessly.

    Parameters
    ----------
    yards : Yards
        Planned and drawn.
    rng : Generator
        For what is examined beyond the draw.

    Returns
    -------
    DataFrame
        A row for each ``of`` ("yard", "welder"), ``rests_on`` and ``way`` ("weighted", "pooled"):
        ``value`` is the mean rate over the mean true share of bad places, less 1, with
        ``standard_error``, ``lower`` and ``upper``; ``covered`` is how often the 95 % bound holds
        the true rate of the welding, with ``covered_lower`` and ``covered_upper``.
    """
    aimed, extras = with_targeted(yards, TARGETED_SHARE, rng), with_extras(yards, rng)
    ways = {
        "places drawn": yards.drawn,
        "places drawn and aimed at": aimed,
        "places drawn, extras and completed lots": extras,
        "everything": aimed | extras,
    }
    if (extras == yards.drawn).all():
        ways = dict(list(ways.items())[:2])
    rows = []
    for groups, of in ((1, "yard"), (len(yards.planned.frame.welders), "welder")):
        rows.append(_bias(yards, of, "places drawn", "weighted", _of_sample(yards, groups)))
        rows += [
            _bias(yards, of, name, "pooled", _pooled(yards, seen, groups))
            for name, seen in ways.items()
        ]
    return pd.DataFrame(rows)


class _Rates(NamedTuple):
    """Rates with their 95 % bounds, of shape (yards, groups); missing where nothing was seen."""

    value: Floats
    lower: Floats
    upper: Floats


def _of_sample(yards: Yards, groups: int) -> _Rates:
    replicate, cell = np.nonzero(yards.drawn & yards.planned.counts)
    group = replicate * groups + (yards.planned.frame.welder[cell] if groups > 1 else 0)
    table = _weighted(yards, replicate, cell, group, "spots", "two", 0.95)
    every = table.reindex(np.arange(len(yards.drawn) * groups))
    return _Rates(*(every[name].to_numpy().reshape(-1, groups) for name in _Rates._fields))


def _pooled(yards: Yards, seen: Flags, groups: int) -> _Rates:
    """Return rejected over examined and its bound, as if all had been drawn alike."""
    member = _members(yards, groups).astype(float)
    rejected, examined = (seen & yards.bad) @ member, seen @ member
    bounds = proportion_interval(rejected, examined, level=0.95)
    return _Rates(rejected / np.where(examined > 0, examined, np.nan), *bounds)


def _bias(yards: Yards, of: str, rests_on: str, way: str, rates: _Rates) -> dict[str, float | str]:
    groups = rates.value.shape[1]
    there = _truth(yards, groups, "spots", "of this structure")
    welding = _truth(yards, groups, "spots", "of the welding")
    known = np.isfinite(rates.value) & np.isfinite(there)
    found = ratio(
        np.where(known, rates.value, 0.0).sum(axis=1), np.where(known, there, 0.0).sum(axis=1)
    )
    held = known & (rates.lower <= welding) & (welding <= rates.upper)
    covered = share(held.sum(axis=1).astype(float), known.sum(axis=1).astype(float))
    return {
        "of": of,
        "rests_on": rests_on,
        "way": way,
        "value": found.value - 1,
        "standard_error": found.standard_error,
        "lower": found.lower - 1,
        "upper": found.upper - 1,
        "covered": covered.value,
        "covered_lower": covered.lower,
        "covered_upper": covered.upper,
    }


def completed_lots(places: int, examined: int, rates: Any) -> tuple[float, float]:
    """Return what careless rates come to in the long run, if each lot with a reject is completed.

    Parameters
    ----------
    places, examined : int
        Places of each lot, and how many of them are examined first, by chance.
    rates : array_like
        True share of bad places of each kind of lot, the kinds equally many; each place is bad by
        chance alone.

    Returns
    -------
    pooled, own : float
        All that was found over all that was examined; and the mean of the lots' own rates.

    Notes
    -----
    A clean sample is never completed. Of n of N places examined and q = (1 - p)^n the chance of a
    clean sample, p (N - q (N - n)) are found in n q + N (1 - q) examined. In lots that are alike
    the pooled rate is right, since whether to go on is decided before what comes is seen (Wald
    1944, Ann. Math. Stat. 15:283, from memory); in lots that differ it is too high, for the bad
    ones count more. A lot's own rate, 0 if its sample is clean, is too low by q (N - n) / N.
    The weighted rate rests on the samples alone, and is right in each.

    Examples
    --------
    >>> [round(rate, 4) for rate in completed_lots(10, 2, [0.05])]
    [0.05, 0.0139]
    >>> [round(rate, 4) for rate in completed_lots(10, 2, [0.0, 0.1])]
    [0.0638, 0.0176]
    """
    p = np.asarray(rates, float)
    clean = (1 - p) ** examined
    found = p * (places - clean * (places - examined))
    looked = examined * clean + places * (1 - clean)
    return float(found.sum() / looked.sum()), float(found.mean() / places)
