"""How many to examine to know a rate within a margin."""

from typing import Any, NamedTuple

import numpy as np

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance.arguments import CountArray, FloatArray, counts, shares


class MarginSize(NamedTuple):
    """Number to examine, and the same before it was rounded up."""

    examine: CountArray
    unrounded: FloatArray


def examinations_for_margin(
    rate: Any, margin: Any, *, level: Any = 0.95, lot: Any = None
) -> MarginSize:
    """Return the number to examine so that the rate is known within plus or minus ``margin``.

    Parameters
    ----------
    rate : array_like
        Rate expected, 0 < rate < 1; 0.5 is the worst case.
    margin : array_like
        Half the width of the interval, 0 < margin < 1.
    level : array_like
        Confidence level, 0 < level < 1.
    lot : array_like, optional
        Places in the lot; None: a stream without end.

    Returns
    -------
    MarginSize
        Arrays of the broadcast shape; never more than the lot.

    Raises
    ------
    UseError
        If an argument is impossible, or the margin reaches below 0 or above 1: then the normal
        curve behind the method means nothing, and :func:`examinations_needed` is the question.

    Notes
    -----
    Cochran 1977, *Sampling Techniques*, sect. 4.4: n0 = z^2 p (1 - p) / e^2 and, in a finite lot,
    n = n0 / (1 + (n0 - 1) / N). It rests on the normal curve and on a guess of the rate: state the
    exact interval (:func:`ndtstats.statistics.proportion_interval`) when the results are in.

    Checked against Cochran's example (3,200 islanders, 50 % within 5 points, t = 2: 356).

    Examples
    --------
    >>> examinations_for_margin(0.1, 0.05).examine.item()
    139
    >>> examinations_for_margin(0.1, 0.05, lot=300).examine.item()
    95
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    p = shares(rate, "rate", zero=False, one=False)
    e = shares(margin, "margin", zero=False, one=False)
    z = -special.ndtri((1 - shares(level, "level", zero=False, one=False)) / 2)
    if np.any((e > p) | (e > 1 - p)):
        raise UseError(
            "the margin reaches below 0 % or above 100 %; ask for a smaller margin, or how many to "
            "examine to show a rate below a limit"
        )
    unrounded = np.asarray(z**2 * p * (1 - p) / e**2, float)
    if lot is not None:
        unrounded = unrounded / (1 + (unrounded - 1) / counts(lot, "lot", least=1))
    # A number that is whole but for the last bits is that number, not the next.
    examine = np.maximum(np.ceil(unrounded * (1 - 1e-12)), 1)
    if lot is not None:
        examine = np.minimum(examine, lot)
    return MarginSize(np.asarray(examine, np.int64), np.asarray(unrounded, float))
