"""How long something takes to be answered, while some are still waiting.

To leave out those who wait would make the time look shorter than it is; to take their time so far
as the whole would too. The product-limit estimate does neither.
"""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.statistics.proportions import tail_probability

#: Columns of the curve.
COLUMNS = ("days", "waiting", "answered", "share", "lower", "upper")


def answered_within(days: Any, answered: Any, *, level: float = 0.95) -> pd.DataFrame:
    """Return the share that is answered within so many days, with bounds.

    Parameters
    ----------
    days : array_like of shape (n,)
        Days from the question to its answer, or so far where there is none; not negative.
    answered : array_like of bool, shape (n,)
        Whether there is an answer.
    level : float
        Confidence level of the two-sided bounds, day by day.

    Returns
    -------
    DataFrame
        A row for each number of days at which answers came, of :data:`COLUMNS`: ``waiting`` that
        long or longer, ``answered`` then, ``share`` answered by then, and its bounds.

    Raises
    ------
    UseError
        If the level is no probability.

    Notes
    -----
    Product-limit estimate (Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457); variance of Greenwood
    1926; bounds on the scale log(-log) (Kalbfleisch & Prentice 1980, section 1.3), which never
    leave 0 and 1. Where the last one is answered the variance is not defined: the lower bound is
    that of the day before and the upper one 1. Questions count as independent of one another.

    Examples
    --------
    >>> answered_within([1, 2, 2, 5], [True, True, False, True])[["days", "share"]].values.tolist()
    [[1.0, 0.25], [2.0, 0.5], [5.0, 1.0]]
    """
    tail = tail_probability(level, "two")
    table = pd.DataFrame({"days": np.asarray(days, float), "answered": np.asarray(answered, bool)})
    by = table.groupby("days")["answered"].agg(["sum", "size"])
    at_risk = by["size"][::-1].cumsum()[::-1]
    events = by["sum"]
    kept = (events > 0).to_numpy()
    d, n = events.to_numpy(float)[kept], at_risk.to_numpy(float)[kept]
    open_share = np.cumprod(1 - d / n)
    lower, upper = _bounds(open_share, d, n, tail)
    return pd.DataFrame(
        {
            "days": events.index.to_numpy(float)[kept], "waiting": n.astype("int64"),
            "answered": d.astype("int64"), "share": 1 - open_share, "lower": lower, "upper": upper,
        }
    )  # fmt: skip


def _bounds(left: Any, d: Any, n: Any, tail: float) -> tuple[Any, Any]:
    """Return bounds of the share answered, from the share ``left`` and its steps."""
    from scipy import special  # noqa: PLC0415  (slow to import)

    z = float(special.ndtri(1 - tail))
    with np.errstate(divide="ignore", invalid="ignore"):
        deviation = np.sqrt(np.cumsum(d / (n * (n - d)))) / -np.log(left)
        lower = 1 - left ** np.exp(-z * deviation)
        upper = 1 - left ** np.exp(z * deviation)
    # Only the last step can leave none.
    none_left = left <= 0
    before = np.concatenate([[0.0], lower])[: len(lower)]
    return np.where(none_left, before, lower), np.where(none_left, 1.0, upper)


def days_until(curve: pd.DataFrame, share: float) -> tuple[float, float, float]:
    """Return the days within which a share is answered, with bounds.

    Parameters
    ----------
    curve : DataFrame
        As :func:`answered_within` gives it.
    share : float
        Such as 0.5 for the median.

    Returns
    -------
    (float, float, float)
        Days, lower and upper bound; infinite where so many are not answered yet.

    Notes
    -----
    The bounds invert those of the curve (Brookmeyer & Crowley 1982, Biometrics 38:29).

    Examples
    --------
    >>> days_until(answered_within([1, 2, 2, 5], [True, True, False, True]), 0.5)
    (2.0, 1.0, inf)
    """
    first = (_first(curve, column, share) for column in ("share", "upper", "lower"))
    days, low, high = first
    return days, low, high


def _first(curve: pd.DataFrame, column: str, share: float) -> float:
    # A share of steps that multiply to exactly one half misses it by rounding.
    reached = (curve[column] >= share - 1e-12).to_numpy()
    return float(curve["days"].to_numpy()[reached.argmax()]) if reached.any() else np.inf
