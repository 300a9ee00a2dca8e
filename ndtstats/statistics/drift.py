"""Charts that gather what single points do not show: small shifts that last.

EWMA and tabular CUSUM of a series (Montgomery, Statistical Quality Control, ch. 9, from memory).
How long they run to a signal is in :mod:`ndtstats.statistics.run_length`.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError

_Floats = npt.NDArray[np.float64]


def ewma_chart(
    values: Any,
    *,
    target: float,
    deviation: Any,
    weight: float = 0.2,
    width: float = 3.0,
    labels: Any = None,
) -> pd.DataFrame:
    """Return the exponentially weighted average of a series, with its limits.

    Parameters
    ----------
    values : array_like of shape (n,)
        The series in order of time.
    target : float
        What it ought to be; the average begins there.
    deviation : array_like
        Standard deviation, of all values or of each: months are of unlike size.
    weight : float
        Weight of the newest value, above 0 and at most 1.
    width : float
        Limits in standard deviations of the average.
    labels : array_like of shape (n,), optional
        Names of the points.

    Returns
    -------
    DataFrame
        ``value``, ``ewma``, ``lower``, ``upper``, ``signal`` ("above", "below" or "").

    Notes
    -----
    Roberts 1959, Technometrics 1:239; limits by the variance at each point, not only the final one.
    Checked against NIST/SEMATECH e-Handbook 6.3.2.4. How long it runs to a signal:
    :func:`ndtstats.statistics.run_length.ewma_run_length`.

    Examples
    --------
    >>> ewma_chart([52.0, 47.0], target=50.0, deviation=2.0539, weight=0.3)["ewma"].tolist()
    [50.6, 49.52]
    """
    if not 0 < weight <= 1:
        raise UseError(f"weight {weight:g} must be above 0 and at most 1, such as 0.2")
    series = np.asarray(values, float)
    spread = np.broadcast_to(np.asarray(deviation, float), series.shape)
    keep = 1 - weight
    ewma = _weighted(series, keep, target)
    # Independent values: variances average with the squares of their weights.
    share = weight**2 / (1 - keep**2)
    half = width * np.sqrt(share * _weighted(spread**2, keep**2, 0.0))
    signal = np.where(ewma > target + half, "above", np.where(ewma < target - half, "below", ""))
    return pd.DataFrame(
        {"value": series, "ewma": ewma, "lower": target - half, "upper": target + half,
         "signal": signal},
        index=pd.Index(range(len(series)) if labels is None else labels),
    )  # fmt: skip


def _weighted(values: _Floats, keep: float, first: float) -> _Floats:
    """Return the averages of a series so far, each value counting ``keep`` times the next one."""
    series = pd.Series(np.concatenate([[first], values]))
    return series.ewm(alpha=1 - keep, adjust=False).mean().to_numpy()[1:]


def cusum_chart(
    values: Any, *, target: float, reference: float, limit: float, labels: Any = None
) -> pd.DataFrame:
    """Return the tabular CUSUM of a series: what has gathered above and below its target.

    Parameters
    ----------
    values : array_like of shape (n,)
        The series in order of time.
    target : float
        What it ought to be.
    reference, limit : float
        k and h, in the unit of the series: what is let pass each time, and the sum that signals.
        In standard deviations k is half the shift to be found.
    labels : array_like of shape (n,), optional
        Names of the points.

    Returns
    -------
    DataFrame
        ``value``, ``high``, ``low`` (both sums, 0 or more), ``signal`` ("above", "below" or "").

    Notes
    -----
    Page 1954; Montgomery ch. 9. Checked against NIST/SEMATECH e-Handbook 6.3.2.3. How long it runs:
    :func:`ndtstats.statistics.run_length.cusum_run_length`.

    Examples
    --------
    >>> cusum_chart([1.0, 2.0, 0.0], target=0.0, reference=0.5, limit=1.5)["high"].tolist()
    [0.5, 2.0, 1.5]
    """
    series = np.asarray(values, float)
    high, low = _gathered(series - target - reference), _gathered(target - series - reference)
    signal = np.where(high > limit, "above", np.where(low > limit, "below", ""))
    return pd.DataFrame(
        {"value": series, "high": high, "low": low, "signal": signal},
        index=pd.Index(range(len(series)) if labels is None else labels),
    )


def _gathered(steps: _Floats) -> _Floats:
    total = np.cumsum(steps)
    return np.asarray(total - np.minimum.accumulate(np.minimum(total, 0.0)), float)
