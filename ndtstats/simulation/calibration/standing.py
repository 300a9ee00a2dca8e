"""Where welders stand: bounds on observed over expected, on ranks, and who is named.

Comparisons are asked one yard at a time, as their users ask them.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.simulation.frame import Floats, Ints
from ndtstats.simulation.measures import share
from ndtstats.simulation.truth import Flags
from ndtstats.statistics import compare_groups, joint_clustering, proportion_interval
from ndtstats.statistics.wide_ranks import ranks_widely
from ndtstats.statistics.wide_shrinkage import likely_shares

#: Welders of a yard.
WELDERS = (5, 20)
#: Reject rates of easy and of hard work, and shape of the gamma distribution of welders' rates.
EASY, HARD, SHAPE = 0.03, 0.10, 4.0
#: Least and most spots of a welder in either kind of work.
SPOTS = (10, 60)
#: Joints of a welder, least and most, spots on each, reject rate, and how far spots go together.
JOINTS, ON_A_JOINT, RATE, ALIKE = (10, 40), 3, 0.10, 0.3


def ratio_coverage(
    yards: int,
    rng: np.random.Generator,
    levels: tuple[float, ...] = (0.90, 0.95),
    kinds: Sequence[int] = WELDERS,
) -> pd.DataFrame:
    """Return how often bounds on observed over expected hold the true ratio of a welder.

    Parameters
    ----------
    yards : int
        Simulated yards of each kind.
    rng : Generator
        Source of chance.
    levels : tuple of float
        Nominal levels.
    kinds : sequence of int
        Welders of a yard.

    Returns
    -------
    DataFrame
        A row for each kind of yard and ``level``: ``bound`` ("expectation known" or "expectation
        estimated", as comparisons have it), ``sample``, and the coverage as
        :func:`ndtstats.simulation.measures.share` gives it.

    Notes
    -----
    The true ratio is what a welder's own rates make of his work, over what the rates of all (his
    own among them, by what each did) make of it.
    """
    rows = []
    for welders in kinds:
        spots, rate, count = _work(yards, welders, rng)
        usual = (spots * rate).sum(axis=1, keepdims=True) / spots.sum(axis=1, keepdims=True)
        expected = (spots * usual).sum(axis=2)
        truth = (spots * rate).sum(axis=2) / expected
        n, k = spots.sum(axis=2).astype(float), count.sum(axis=2)
        for level in levels:
            known = np.stack(proportion_interval(k, n, level=level)) * n / expected
            told = np.array([_compared(*both, level) for both in zip(count, spots, strict=True)])
            for name, lower, upper in (
                ("expectation known", *known),
                ("expectation estimated", *np.moveaxis(told, 1, 0)),
            ):
                rows.append(
                    row(f"observed / expected, {name}", f"{welders} welders", level,
                        (lower <= truth) & (truth <= upper))
                )  # fmt: skip
    return pd.DataFrame(rows)


def row(bound: str, sample: str, level: float, held: Flags) -> dict[str, object]:
    """Return one row of a table of coverages; ``held`` is of shape (yards, bounds of each)."""
    number = held.sum(axis=1).astype(float)
    found = share(number, np.full(len(held), float(held.shape[1])))
    return {"bound": bound, "sample": sample, "level": level, **found._asdict(), "told": 1.0}


def _work(yards: int, welders: int, rng: np.random.Generator) -> tuple[Ints, Floats, Ints]:
    """Return spots, true rates and rejects by yard, welder and kind of work."""
    spots = rng.integers(*SPOTS, (yards, welders, 2))
    own = rng.gamma(SHAPE, 1 / SHAPE, (yards, welders, 1))
    rate = np.minimum(own * np.array([EASY, HARD]), 0.9)
    return spots, rate, rng.binomial(spots, rate)


def _compared(rejected: Ints, spots: Ints, level: float) -> Any:
    """Return lower and upper bounds of the ratios of one yard, shape (2, welders)."""
    welders = len(spots)
    counts = pd.DataFrame(
        {
            "welder": np.repeat(np.arange(welders), 2),
            "position": np.tile(["PA", "PE"], welders),
            "rejected": rejected.ravel(),
            "examined": spots.ravel(),
        }
    )
    table = compare_groups(counts, "welder", ["position"], level=level).table
    # Without a reject in the yard there is no ratio, and no bound that could be wrong.
    ordered = table.set_axis(table.index.astype(int)).sort_index()
    return np.stack([ordered["lower"].fillna(0.0), ordered["upper"].fillna(np.inf)])


def rank_coverage(
    yards: int,
    rng: np.random.Generator,
    levels: tuple[float, ...] = (0.90, 0.95),
    kinds: Sequence[int] = WELDERS,
) -> pd.DataFrame:
    """Return how often bounds on the rank of a welder's rate hold his true rank.

    Parameters and result as of :func:`ratio_coverage`.
    """
    rows = []
    for welders in kinds:
        rate = rng.beta(2.0, 38.0, (yards, welders))
        spots = rng.integers(*SPOTS, (yards, welders)) * 2
        count = rng.binomial(spots, rate)
        true = 1 + np.argsort(np.argsort(-rate, axis=1), axis=1)
        for level in levels:
            bounds = np.array([_ranked(*both, level) for both in zip(count, spots, strict=True)])
            held = (bounds[:, 0] <= true) & (true <= bounds[:, 1])
            rows.append(row("rank by reject rate", f"{welders} welders", level, held))
    return pd.DataFrame(rows)


def _ranked(count: Ints, spots: Ints, level: float) -> Any:
    priors = likely_shares(count, spots)
    table = ranks_widely(count, spots, priors=priors, seed=0, level=level, replicates=2000)
    return table[["lower", "upper"]].to_numpy().T


def clustered_alarms(
    yards: int, rng: np.random.Generator, welders: int = 20
) -> dict[str, tuple[Flags, Flags]]:
    """Return who is beyond the funnel and who is named, where only the spots of a joint are alike.

    Returns
    -------
    dict
        For "each counted in full" and "counted as what they are worth", two arrays of shape (yards,
        welders): beyond the funnel of 95 %, and named after correction.
    """
    found: dict[str, list[tuple[Any, Any]]] = {"each counted in full": [],
                                               "counted as what they are worth": []}  # fmt: skip
    spread = (1 - ALIKE) / ALIKE
    for _ in range(yards):
        joints = rng.integers(*JOINTS, welders)
        welder = np.repeat(np.repeat(np.arange(welders), joints), ON_A_JOINT)
        joint = np.repeat(np.arange(joints.sum()), ON_A_JOINT)
        chance = rng.beta(RATE * spread, (1 - RATE) * spread, joints.sum())[joint]
        rejected = rng.random(len(joint)) < chance
        counts = pd.DataFrame({"welder": welder, "rejected": rejected, "examined": 1})
        worth = joint_clustering(rejected, joint, welder).groups["design_effect"]
        for name, effect in zip(found, (None, worth), strict=True):
            table = compare_groups(counts, "welder", design_effect=effect).table
            found[name].append((table["p"] < 0.05, table["stands_out"] != ""))
    return {
        name: (np.array([beyond for beyond, _ in each]), np.array([out for _, out in each]))
        for name, each in found.items()
    }
