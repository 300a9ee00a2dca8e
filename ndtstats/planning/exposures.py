"""How many exposures it takes to examine a place."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.rules import ExtentRule

#: An image is not asked for a bare millimetre that a tape may be off by.
_TAPE_MM = 1.0


def exposures_of(cells: pd.DataFrame, rule: ExtentRule) -> npt.NDArray[np.int64]:
    """Return how many exposures each cell under a rule takes.

    Parameters
    ----------
    cells : DataFrame
        Columns ``from_mm``, ``to_mm``, and ``joint_mm`` (length of the joint).
    rule : ExtentRule
        Its ``image_length_mm`` is what one exposure shows. Where it states none, a spot is one
        exposure, however the joint was cut, and a joint examined whole takes one for each spot
        length or part of it.

    Returns
    -------
    ndarray of int
        One or more for each cell.

    Notes
    -----
    A whole circumference may be shown by fewer exposures than its length says (panoramic source,
    two walls at once): then state what one exposure shows as ``image_length_mm``.

    Examples
    --------
    >>> rule = ExtentRule(name="butts", categories=("A",), method="RT", spot_length_mm=300.0,
    ...                   amount={"family": "share-of-length", "percent": 10.0})
    >>> cells = pd.DataFrame({"from_mm": [0.0, 420.0, 0.0], "to_mm": [420.0, 840.0, 700.0],
    ...                       "joint_mm": [840.0, 840.0, 700.0]})
    >>> exposures_of(cells, rule).tolist()
    [1, 1, 3]
    """
    length: Any = (cells["to_mm"] - cells["from_mm"]).to_numpy(float)
    if rule.image_length_mm is not None:
        shown, several = rule.image_length_mm, np.ones(len(cells), dtype=bool)
    else:
        shown = rule.spot_length_mm
        several = length >= cells["joint_mm"].to_numpy(float) - _TAPE_MM
    number = np.maximum(np.ceil((length - _TAPE_MM) / shown), 1)
    return np.asarray(np.where(several, number, 1), dtype=np.int64)
