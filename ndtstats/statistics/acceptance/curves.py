"""Plans as tables over the true rate, for the eye: what a picture or a page shows."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.statistics.acceptance.arguments import FloatArray, counts
from ndtstats.statistics.acceptance.chance import accept_probability
from ndtstats.statistics.acceptance.double import DoublePlan, double_outcome
from ndtstats.statistics.acceptance.sequential import (
    SequentialPlan,
    sequential_outcome,
    wald_outcome,
)
from ndtstats.statistics.acceptance.single import average_examined, outgoing_rate

#: A curve is shown as far as the chance of passing is above this.
SELDOM = 0.02


def telling_rates(
    passes: Callable[[FloatArray], FloatArray], *, points: int, lot: int | None = None
) -> FloatArray:
    """Return even steps of the rate from 0 to where work hardly passes any more.

    Parameters
    ----------
    passes : callable
        Chance of passing of an array of rates, falling as the rate rises.
    points : int
        Number of rates wanted, about; steps are 1, 2 or 5 times a power of ten.
    lot : int, optional
        Places in the lot: rates are then whole numbers of it.

    Examples
    --------
    >>> telling_rates(lambda p: accept_probability(p, 52, 3), points=8)[:3].tolist()
    [0.0, 0.02, 0.04]
    """
    rates = np.geomspace(1 / lot if lot else 1e-7, 1, 701)
    if lot:
        rates = np.unique(np.ceil(rates * lot * (1 - 1e-12))) / lot
    seldom = passes(rates) <= SELDOM
    end = float(rates[np.argmax(seldom)]) if seldom.any() else 1.0
    if lot:
        places = max(1, round(_even_step(end * lot / max(points - 1, 1))))
        steps = np.arange(0, min(lot, round(end * lot) + places) + 1, places) / lot
    else:
        step = _even_step(end / max(points - 1, 1))
        steps = np.minimum(np.arange(np.ceil(end / step * (1 - 1e-9)) + 1) * step, 1.0)
    return np.asarray(steps, float)


def _even_step(about: float) -> float:
    power = 10 ** np.floor(np.log10(about))
    return float(min((1, 2, 5, 10), key=lambda m: abs(np.log(m * power / about))) * power)


def single_curve(
    examined: int,
    allowed: int,
    *,
    points: int = 12,
    lot: int | None = None,
    detection: float = 1.0,
) -> pd.DataFrame:
    """Return the curves of a single plan over the true rate.

    Parameters
    ----------
    examined, allowed, lot, detection
        As in :func:`accept_probability`.
    points : int
        Rates wanted, about.

    Returns
    -------
    DataFrame
        Columns ``rate`` and ``pass_probability``; where all that is bad is found
        (``detection=1``) also ``outgoing_rate``, and with a lot ``average_examined``. These two
        are averages over many lots from a stream of that rate.

    Examples
    --------
    >>> single_curve(5, 0, lot=100, points=5).round(2)["pass_probability"].tolist()
    [1.0, 0.58, 0.32, 0.16, 0.07, 0.03, 0.01]
    """

    def passes(rate: FloatArray) -> FloatArray:
        return accept_probability(rate, examined, allowed, lot=lot, detection=detection)

    rate = telling_rates(passes, points=points, lot=lot)
    columns: dict[str, Any] = {"rate": rate, "pass_probability": passes(rate)}
    if detection == 1:
        columns["outgoing_rate"] = outgoing_rate(rate, examined, allowed, lot=lot)
        if lot:
            columns["average_examined"] = average_examined(rate, examined, allowed, lot=lot)
    return pd.DataFrame(columns)


def double_curve(plan: DoublePlan, *, points: int = 12, lot: int | None = None) -> pd.DataFrame:
    """Return the curves of a double plan over the true rate.

    Returns
    -------
    DataFrame
        Columns ``rate``, ``pass_first_probability``, ``pass_probability`` and
        ``average_examined``.
    """
    rate = telling_rates(lambda p: double_outcome(p, plan, lot=lot).passed, points=points, lot=lot)
    outcome = double_outcome(rate, plan, lot=lot)
    return pd.DataFrame(
        {
            "rate": rate,
            "pass_first_probability": outcome.passed_first,
            "pass_probability": outcome.passed,
            "average_examined": outcome.average_examined,
        }
    )


def sequential_curve(plan: SequentialPlan, *, most: int, points: int = 12) -> pd.DataFrame:
    """Return the curves of a sequential plan, broken off after ``most``, over the true rate.

    Returns
    -------
    DataFrame
        Columns ``rate``, ``pass_probability``, ``fail_probability``, ``undecided_probability``
        and ``average_examined``.
    """
    # Wald's formula is quick, and near enough to find where the curve ends.
    rate = telling_rates(lambda p: wald_outcome(p, plan).passed, points=points)
    outcome = sequential_outcome(rate, plan, most=most)
    return pd.DataFrame(
        {
            "rate": rate,
            "pass_probability": outcome.passed,
            "fail_probability": outcome.failed,
            "undecided_probability": outcome.undecided,
            "average_examined": outcome.average_examined,
        }
    )


def sequential_card(plan: SequentialPlan, *, most: int) -> pd.DataFrame:
    """Return the card to work from: what to do after so many examinations.

    Returns
    -------
    DataFrame
        One row per number examined at which a limit changes, and the last. Columns
        ``examined``; ``accept``, the rejects with which the work passes; ``reject``, those with
        which it fails. Both are nullable: no such number yet.

    Examples
    --------
    >>> sequential_card(SequentialPlan(0.01, 0.10), most=30).fillna(-1).to_numpy().tolist()
    [[2, -1, 2], [20, -1, 3], [24, 0, 3], [30, 0, 3]]
    """
    n = np.arange(1, int(counts(most, "examinations at most", least=1)) + 1)
    accept = pd.Series(plan.acceptance_number(n), dtype="Int64").mask(lambda a: a < 0)
    reject = pd.Series(plan.rejection_number(n), dtype="Int64").mask(lambda r: r > n)
    card = pd.DataFrame({"examined": n, "accept": accept, "reject": reject})
    known = card[["accept", "reject"]].fillna(-1)
    changed = known.ne(known.shift(fill_value=-1)).any(axis="columns")
    changed.iloc[-1] = True
    return card[changed].reset_index(drop=True)
