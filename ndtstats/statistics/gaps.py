"""The chart of gaps: metres or spots from one reject to the next, where rejects are rare.

With a reject in fifty spots, months of twenty spots are nearly all 0, and a p chart of them says
little. The gap between rejects has something to say at each reject.
"""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.statistics.charts import laney_spread

#: An exponential gap to this power is nearly normal (Nelson 1994, J. Qual. Technol. 26:239).
POWER = 0.2777


def gap_chart(gaps: Any, *, labels: Any = None) -> pd.DataFrame:
    """Return the chart of the gaps between rejects; a low point is rejects close together.

    Parameters
    ----------
    gaps : array_like of shape (n,)
        Spots, metres or days from one reject to the next, above 0, in order of time; 3 or more.
    labels : array_like of shape (n,), optional
        Names of the points.

    Returns
    -------
    DataFrame
        In the unit of the gaps: ``value``, ``centre``, ``lower``, ``upper``; ``transformed``, to
        the power 0.2777, with ``transformed_centre``, ``transformed_lower`` and
        ``transformed_upper``; ``signal``: "close" (rejects come too fast), "far" or "".

    Raises
    ------
    UseError
        If there are fewer than 3 gaps, or one that is not above 0.

    Notes
    -----
    Limits of single values, three standard deviations by the moving range, on the transformed gaps
    (Nelson 1994; Montgomery ch. 7, from memory). Checked against Montgomery's valve failures. With
    a few gaps only, the lower limit is often 0 and nothing can be too close: the Bernoulli CUSUM is
    quicker then.

    Examples
    --------
    >>> gap_chart([40, 55, 61, 38, 50])["signal"].tolist()
    ['', '', '', '', '']
    """
    known = np.asarray(gaps, float)
    if len(known) < 3 or not bool(np.all(known > 0)):
        raise UseError("a chart of gaps needs 3 gaps or more, each above 0")
    transformed = known**POWER
    centre, spread = float(transformed.mean()), laney_spread(transformed)
    lower, upper = max(centre - 3 * spread, 0.0), centre + 3 * spread
    signal = np.where(transformed < lower, "close", np.where(transformed > upper, "far", ""))
    back = 1 / POWER
    return pd.DataFrame(
        {"value": known, "centre": centre**back, "lower": lower**back, "upper": upper**back,
         "transformed": transformed, "transformed_centre": centre, "transformed_lower": lower,
         "transformed_upper": upper, "signal": signal},
        index=pd.Index(range(len(known)) if labels is None else labels),
    )  # fmt: skip
