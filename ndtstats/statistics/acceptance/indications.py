"""Plans that count indications over a length, several of which may lie in one place."""

from typing import Any

import numpy as np

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance.arguments import FloatArray, counts, shares


def accept_probability_indications(rate_per_m: Any, examined_m: Any, allowed: Any) -> FloatArray:
    """Return the chance of finding no more than the indications allowed in a length examined.

    Parameters
    ----------
    rate_per_m : array_like
        True indications per metre, 0 or more.
    examined_m : array_like
        Metres examined, chosen by chance, more than 0.
    allowed : array_like
        Indications with which the work passes.

    Notes
    -----
    The Poisson OC curve, as public attribute plans use for defects per hundred units; indications
    are taken to lie independently of each other, which porosity does not. Checked against
    7 CFR 42.140 (500 units, 3 defects).

    Examples
    --------
    >>> accept_probability_indications(0.01, 500, 3).round(3).item()
    0.265
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    per_m, length = _not_negative(rate_per_m, "rate"), _not_negative(examined_m, "examined length")
    return np.asarray(special.pdtr(counts(allowed, "allowed"), per_m * length), float)


def indication_rate_accepted(probability: Any, examined_m: Any, allowed: Any) -> FloatArray:
    """Return the indications per metre with which work passes with a given probability.

    Parameters
    ----------
    probability : array_like
        Probability of passing, 0 < probability < 1.
    examined_m, allowed : array_like
        As in :func:`accept_probability_indications`; more than 0 metres.

    Notes
    -----
    A gamma quantile of shape allowed + 1. Checked against MIL-STD-105E Table X-K-1 and against
    Birolini, *Reliability Engineering*, sect. 7.1 (2 %, one allowed, risk 10 %: 195).

    Examples
    --------
    >>> (100 * indication_rate_accepted([0.95, 0.10], 125, 3)).round(2).tolist()
    [1.09, 5.34]
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    chance = shares(probability, "probability", zero=False, one=False)
    length = _not_negative(examined_m, "examined length")
    if np.any(length == 0):
        raise UseError("examined length 0: nothing follows from nothing examined")
    return np.asarray(
        special.gammaincinv(counts(allowed, "allowed") + 1.0, 1 - chance) / length, float
    )


def _not_negative(value: Any, name: str) -> FloatArray:
    array = np.asarray(value, float)
    sound = np.isfinite(array) & (array >= 0)
    if not np.all(sound):
        raise UseError(f"{name} {array[~sound].flat[0]:g} is not a number of at least 0")
    return array
