"""What a plan would do: many yards whose truth is known, drawn, shot, followed up and counted."""

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.planning import Yard
from ndtstats.progress import Progress, silent
from ndtstats.rules import Rules
from ndtstats.simulation.chance import blocks
from ndtstats.simulation.check import simple_check
from ndtstats.simulation.counting import counted
from ndtstats.simulation.frame import Floats, Frame, frame_of
from ndtstats.simulation.measures import share
from ndtstats.simulation.result import Costs, Simulated, figures_of, welders_of
from ndtstats.simulation.truth import Assumptions

#: First examinations held at once: bounds the memory, at about a hundred bytes each.
_HELD = 4_000_000
#: Rates of the operating characteristic.
_RATES = 121


def simulate(
    yard: Yard,
    plans: list[Rules],
    assumptions: Assumptions,
    *,
    replicates: int,
    seed: int,
    costs: Costs | None = None,
    progress: Progress = silent,
) -> list[Simulated]:
    """Return what each of some plans does to the same yard.

    Parameters
    ----------
    yard : Yard
        What was welded, by whom, in which order.
    plans : list of Rules
        What each plan examines, and what a reject sets in motion.
    assumptions : Assumptions
        What is taken to be true.
    replicates : int
        How many yards, 2 or more.
    seed : int
        Seed of the chance; the same arguments give the same figures.
    costs : Costs, optional
        Without them no cost is told.
    progress : Progress
        Who listens.

    Raises
    ------
    UseError
        If there are fewer than 2 replicates, or no joint stands under a plan.

    Notes
    -----
    All is welded when the plan is drawn, and the first examinations are read before the first
    extras are shot. A welder is caught by his first examinations, taken in the order in which he
    welded. The same place looked at by two methods is two places here. Every reject is repaired
    once and looked at again whole, with success. What is left counts, by method, all weld that a
    plan of the comparison is about and that this one does not examine.

    Examples
    --------
    >>> from ndtstats.rules import load_rules
    >>> from ndtstats.simulation.yard import invented_setting
    >>> rules = load_rules("process-piping")
    >>> yard = invented_setting(rules, welders=4, joints_each=20, joint_mm=500.0).yard
    >>> [found] = simulate(yard, [rules], Assumptions(), replicates=200, seed=1)
    >>> 0 < found.figures["good_caught"].value < found.figures["bad_caught"].value < 1
    True
    """
    if replicates < 2:
        raise UseError(f"{replicates} replicates tell nothing; write 2 or more, such as 10000")
    frames = [frame_of(yard, rules) for rules in plans]
    beyond = _beyond(frames)
    return [
        _simulated(frame, more, assumptions, replicates, seed, costs, progress)
        for frame, more in zip(frames, beyond, strict=True)
    ]


def _beyond(frames: list[Frame]) -> list[Floats]:
    """Return for each frame how much of each welder's weld only another is about, in mm.

    By joint and method, from the frame that is about most of it.
    """
    tables = [
        frame.cells[["joint", "method"]].assign(plan=number, welder=frame.welder, mm=frame.mm)
        for number, frame in enumerate(frames)
    ]
    keys = ["joint", "method"]
    of_plan = pd.concat(tables).groupby(["plan", *keys], as_index=False)["mm"].sum()
    most = of_plan.loc[of_plan.groupby(keys)["mm"].idxmax()]
    by_welder = pd.concat(tables).groupby(["plan", *keys, "welder"], as_index=False)["mm"].sum()
    widest = by_welder.merge(most, on=["plan", *keys], suffixes=("", "_in_all"))
    found = []
    for number, frame in enumerate(frames):
        own = of_plan[of_plan["plan"] == number].set_index(keys)["mm"]
        held = own.reindex(pd.MultiIndex.from_frame(widest[keys]), fill_value=0.0).to_numpy()
        more = widest["mm"] * (1 - held / widest["mm_in_all"])
        found.append(np.bincount(widest["welder"], more, len(frame.welders)).astype(np.float64))
    return found


def _simulated(
    frame: Frame,
    beyond: Floats,
    assumptions: Assumptions,
    replicates: int,
    seed: int,
    costs: Costs | None,
    progress: Progress,
) -> Simulated:
    chance, truth = np.random.SeedSequence(seed).spawn(2)
    rng = np.random.default_rng(chance)
    # All plans meet the same bad welders.
    luck = np.random.default_rng(truth).random((replicates, len(frame.welders)))
    is_bad = luck < assumptions.bad_share
    people = frame.known & (frame.length_mm + beyond > 0)
    rates = np.linspace(0.0, min(3 * assumptions.bad_rate, 0.99) or 0.3, _RATES).round(9)
    each = max(round(float(frame.pi.sum())), 1)
    parts = []
    for part in blocks(np.full(replicates, each), most=_HELD):
        progress("replicates", part.start, replicates)
        parts.append(counted(frame, beyond, is_bad[part], people, rates, assumptions, rng))
    table = pd.concat([part.table for part in parts], ignore_index=True)
    of = np.full(replicates, float(people.sum()))
    by_rate = np.concatenate([part.by_rate for part in parts])
    curve = pd.DataFrame([share(column, of) for column in by_rate.T.astype(float)])
    welders = welders_of(frame, parts, people, replicates)
    examined, lot = welders["examined"].mean(), people[frame.welder].sum() / people.sum()
    return Simulated(
        figures=figures_of(table, of, costs),
        curve=curve.assign(rate=rates)[["rate", *curve.columns]],
        welders=welders,
        check=_check(float(examined), float(lot), assumptions, replicates, seed),
        nobody_mm=float(frame.length_mm[~frame.known].sum()),
        notes=frame.notes,
    )


def _check(
    examined: float, lot: float, assumptions: Assumptions, replicates: int, seed: int
) -> pd.DataFrame:
    """Check the simulation with as many places of one welder as the plan examines on average."""
    places = max(round(lot), 1)
    number = min(max(round(examined), 1), places)
    found = simple_check(
        number,
        places,
        assumptions.bad_rate,
        assumptions.allowed,
        replicates=replicates,
        seed=seed,
    )
    return found.assign(examined=number, lot=places)
