"""The result of a simulation: its figures, its curve, and who would be caught."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.simulation.counting import Counted
from ndtstats.simulation.frame import Floats, Frame
from ndtstats.simulation.measures import Figure, mean, percentile, ratio, share
from ndtstats.simulation.truth import Flags


@dataclass(frozen=True, slots=True)
class Costs:
    """Cost of an exposure and of a repair, in one currency."""

    exposure: float
    repair: float = 0.0


@dataclass(frozen=True, slots=True)
class Simulated:
    """What a plan does.

    Attributes
    ----------
    figures : dict
        Each figure by its name (:data:`FIGURES`).
    curve : DataFrame
        Chance of catching a welder by his true rate: ``rate``, ``value``, ``standard_error``,
        ``lower``, ``upper``.
    welders : DataFrame
        Who would be caught: ``welder``, ``welded_mm``, ``examined`` (first examinations expected),
        ``caught_if_bad``, ``caught_if_good``, and their standard errors.
    check : DataFrame
        Simple random draws without escalation against the exact chance
        (:func:`~ndtstats.simulation.check.simple_check`), with ``examined`` and ``lot``.
    nobody_mm : float
        Weld that nobody is known to have made; it is no welder's.
    notes : tuple of str
        What the planner has to say of the frame.
    """

    figures: dict[str, Figure]
    curve: pd.DataFrame
    welders: pd.DataFrame
    check: pd.DataFrame
    nobody_mm: float
    notes: tuple[str, ...]


#: The figures in the order in which they are told, and their units.
FIGURES = {
    "bad_caught": "share",
    "bad_caught_after_mm": "m",
    "bad_caught_after_exposures": "number",
    "good_caught": "share",
    "bad_extra": "share",
    "good_extra": "share",
    "bad_whole_lot": "share",
    "good_whole_lot": "share",
    "first_exposures": "number",
    "extra_exposures": "number",
    "again_exposures": "number",
    "exposures": "number",
    "exposures_95": "whole",
    "rejected": "number",
    "cost": "money",
    "cost_95": "money",
    "left": "number",
}


def figures_of(table: pd.DataFrame, people: Floats, costs: Costs | None) -> dict[str, Figure]:
    """Return the figures from what was counted in each replicate.

    Parameters
    ----------
    table : DataFrame
        As of :class:`~ndtstats.simulation.counting.Counted`.
    people : ndarray, shape (replicates,)
        How many welders there are.
    costs : Costs, optional
        Without them no cost is told.
    """
    column = {str(name): table[name].to_numpy(float) for name in table}
    exposures = column["first_exposures"] + column["extra_exposures"] + column["again_exposures"]
    figures = {
        "bad_caught": share(column["bad_caught"], people),
        "bad_caught_after_mm": ratio(column["bad_caught_mm"], column["bad_caught"]),
        "bad_caught_after_exposures": ratio(column["bad_caught_exposures"], column["bad_caught"]),
        "good_caught": share(column["good_caught"], people),
        **{
            f"{kind}_{what}": share(column[f"{kind}_{what}"], column[kind])
            for what in ("extra", "whole_lot")
            for kind in ("bad", "good")
        },
        **{
            name: mean(column[name])
            for name in ("first_exposures", "extra_exposures", "again_exposures", "rejected")
        },
        "exposures": mean(exposures),
        "exposures_95": percentile(exposures),
        "left": mean(column["left"]),
    }
    if costs is not None:
        money = costs.exposure * exposures + costs.repair * column["rejected"]
        figures |= {"cost": mean(money), "cost_95": percentile(money)}
    return {name: figures[name] for name in FIGURES if name in figures}


def welders_of(
    frame: Frame, parts: Sequence[Counted], people: Flags, replicates: int
) -> pd.DataFrame:
    """Return by welder what is examined of him and how often he is caught."""
    welded = np.zeros(len(people))
    np.maximum.at(welded, frame.welder, frame.welded_mm)
    columns: dict[str, Any] = {"welder": frame.welders, "welded_mm": welded}
    for name in ("examined", "if_bad", "if_good"):
        columns[name] = sum(getattr(part, name) for part in parts) / replicates
    table = pd.DataFrame(columns)[people].reset_index(drop=True)
    for name in ("if_bad", "if_good"):
        share_ = table[name]
        table[f"{name}_error"] = np.sqrt(share_ * (1 - share_) / replicates)
    return table.rename(columns=lambda name: f"caught_{name}" if name[:3] == "if_" else name)
