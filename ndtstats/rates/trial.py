"""How good a method is: what a trial on known flaws says, and what it does to a reject rate."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.statistics import PodCurve, hit_miss_pod, true_rate

#: Flaws that a hit/miss trial ought to have (MIL-HDBK-1823A, from memory).
ENOUGH_FLAWS = 60


class Trial(NamedTuple):
    """What a trial says.

    Parameters
    ----------
    table : DataFrame
        ``what`` (a50, a90, a90/95), ``pod``, ``confidence`` (missing for the first two) and
        ``size_mm``; infinite where the trial shows no such size.
    curve : PodCurve
        Of the logarithm of the size.
    found, looked_at : int
        Flaws.
    remarks : tuple of str
        What has to be known to read it rightly.
    """

    table: pd.DataFrame
    curve: PodCurve
    found: int
    looked_at: int
    remarks: tuple[str, ...]


def trial_of(flaws: pd.DataFrame) -> Trial:
    """Return which sizes a method finds.

    Parameters
    ----------
    flaws : DataFrame
        ``size_mm``, above 0, and ``found`` (bool); each flaw looked at once.

    Raises
    ------
    UseError
        If found and missed flaws do not overlap in size, or the larger were not found oftener.

    Notes
    -----
    Hit/miss logistic regression on the logarithm of the size; a90/95 by the likelihood ratio
    (:func:`ndtstats.statistics.hit_miss_pod`; MIL-HDBK-1823A).
    """
    found = flaws["found"].astype(bool).to_numpy()
    size = flaws["size_mm"].to_numpy(float)
    curve = hit_miss_pod(size, found)
    table = pd.DataFrame(
        {
            "what": ["a50", "a90", "a90/95"],
            "pod": [0.5, 0.9, 0.9],
            "confidence": [np.nan, np.nan, 0.95],
            "size_mm": [curve.a50, curve.a90, curve.a90_95],
        }
    )
    return Trial(table, curve, int(found.sum()), len(found), _remarks(curve, size))


def _remarks(curve: PodCurve, size: npt.NDArray[np.float64]) -> tuple[str, ...]:
    remarks = []
    if len(size) < ENOUGH_FLAWS:
        remarks.append(
            f"{len(size):,} flaws are few; {ENOUGH_FLAWS} or more are usual for a trial of this "
            "kind (MIL-HDBK-1823A, from memory)."
        )
    if np.isfinite(curve.a90_95) and curve.a90_95 > size.max():
        remarks.append(
            f"a90/95 lies beyond the largest flaw tried, {size.max():.3g} mm: there the curve is a "
            "guess."
        )
    remarks.append(
        "The sizes hold for the thickness, access and technique of the trial, and not for others."
    )
    return tuple(remarks)


def trial_sentence(trial: Trial) -> str:
    """Return the conclusion of a trial."""
    told = (
        f"{trial.found:,} of {trial.looked_at:,} known flaws found. Half of the flaws of "
        f"{trial.curve.a50:.3g} mm are found (a50), nine of ten of {trial.curve.a90:.3g} mm (a90); "
    )
    if np.isinf(trial.curve.a90_95):
        return told + "the trial shows with 95 % confidence no size of which nine of ten are."
    return told + f"with 95 % confidence, nine of ten of {trial.curve.a90_95:.3g} mm (a90/95)."


class TrueRateOf(NamedTuple):
    """A reject rate set right for misses and false calls; one row, and its sentence."""

    table: pd.DataFrame
    sentence: str


def corrected_rate(
    rejected: int, examined: int, *, sensitivity: float, specificity: float, level: float = 0.95
) -> TrueRateOf:
    """Return the rate of bad places behind a rate of rejected ones.

    Parameters
    ----------
    rejected, examined : int
        As found; examined above 0.
    sensitivity, specificity : float
        Share of the bad places that are rejected, and of the good ones that are accepted.
    level : float
        Of the bounds.

    Returns
    -------
    TrueRateOf
        ``rejected``, ``examined``, ``rate``, ``true_rate``, ``lower``, ``upper``, ``level``; not
        cut off at 0 and 1.

    Notes
    -----
    Rogan & Gladen 1978 (:func:`ndtstats.statistics.true_rate`).

    Examples
    --------
    >>> corrected_rate(45, 150, sensitivity=0.96, specificity=0.89).sentence
    '45 of 150 rejected, 30.0 %; behind it lie 22.4 % bad places, 95 % bounds 13.9 % and 31.8 %, if
    the method finds and passes what is stated: an error of that is not in the bounds.'
    """
    found = true_rate(
        rejected, examined, sensitivity=sensitivity, specificity=specificity, level=level
    )
    value, lower, upper = (float(part) for part in found[:3])
    rate = rejected / examined
    table = pd.DataFrame(
        {"rejected": [rejected], "examined": [examined], "rate": [rate], "true_rate": [value],
         "lower": [lower], "upper": [upper], "level": [level]}
    )  # fmt: skip
    low, mid, high = (f"{100 * min(max(part, 0.0), 1.0):.1f} %" for part in (lower, value, upper))
    told = f"{rejected:,} of {examined:,} rejected, {100 * rate:.1f} %; "
    if value < 0:
        return TrueRateOf(
            table,
            f"{told}false calls alone would reject more, so that no bad place is shown; at most "
            f"{high} with {100 * level:g} % bounds. Does the specificity fit this work?",
        )
    bounds = f"{100 * level:g} % bounds {low} and {high}"
    known = "if the method finds and passes what is stated: an error of that is not in the bounds"
    return TrueRateOf(table, f"{told}behind it lie {mid} bad places, {bounds}, {known}.")
