"""The check of the simulation: where the answer is known exactly, it must give it."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.simulation.catching import catch
from ndtstats.simulation.chance import blocks, draw_simple
from ndtstats.simulation.measures import share
from ndtstats.statistics.acceptance import accept_probability, bad_in_lot


def simple_check(
    examined: int, lot: int, rate: float, allowed: int, *, replicates: int, seed: int
) -> pd.DataFrame:
    """Return how often one welder is caught by simple random draws, simulated and exact.

    There is no escalation, and every place is drawn with the same probability, so the exact chance
    is that of a single plan of acceptance sampling.

    Parameters
    ----------
    examined, lot : int
        Places examined, of how many.
    rate : float
        Share that is bad.
    allowed : int
        Rejects with which he is not yet caught.
    replicates, seed : int
        Of the simulation.

    Returns
    -------
    DataFrame
        Two rows, ``model`` "binomial" (each place bad by chance) and "hypergeometric" (so many of
        the lot bad, rounded up); columns ``exact``, ``value``, ``standard_error``, ``lower``,
        ``upper``, ``deviation`` (in standard errors of the exact chance).

    Notes
    -----
    Dodge & Romig 1929, type B and type A curve; the exact chances are those of
    :func:`ndtstats.statistics.acceptance.accept_probability`, which is checked against published
    plans.

    Examples
    --------
    >>> found = simple_check(10, 100, 0.05, 0, replicates=2000, seed=1)
    >>> found["exact"].round(3).tolist(), bool((found["deviation"].abs() < 3).all())
    ([0.401, 0.416], True)
    """
    rows = []
    for model, lot_of in (("binomial", None), ("hypergeometric", lot)):
        caught = _caught(examined, lot, rate, allowed, model, replicates, seed)
        found = share(caught, np.ones(replicates))
        exact = 1 - float(accept_probability(rate, examined, allowed, lot=lot_of))
        error = np.sqrt(exact * (1 - exact) / replicates)
        deviation = (found.value - exact) / error if error > 0 else 0.0
        rows.append({"model": model, "exact": exact, **found._asdict(), "deviation": deviation})
    return pd.DataFrame(rows)


def _caught(
    examined: int, lot: int, rate: float, allowed: int, model: str, replicates: int, seed: int
) -> Any:
    """Return in which replicates the welder is caught, by the same code as that of a plan."""
    rng = np.random.default_rng(np.random.SeedSequence(seed))
    caught = np.zeros(replicates)
    bad_ones = int(bad_in_lot(rate, lot))
    for part in blocks(np.full(replicates, lot)):
        number = part.stop - part.start
        replicate, place = np.nonzero(draw_simple(examined, lot, number, rng))
        by_chance = rng.random(len(place)) < rate
        bad = by_chance if model == "binomial" else place < bad_ones
        found = catch(
            replicate,
            bad,
            (place + 1).astype(np.float64),
            np.ones(len(place), dtype=np.int64),
            allowed=allowed,
            shape=(number, 1),
        )
        caught[part] = found.caught[:, 0]
    return caught
