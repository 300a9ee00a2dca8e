"""Bands of thickness in which welds are compared."""

import numpy as np
import pandas as pd

#: Bounds of the thickness bands in mm: common practice, no source.
THICKNESS_BOUNDS_MM = (0.0, 3.0, 6.0, 12.0, 25.0, np.inf)
THICKNESS_NAMES = ("to 3 mm", "3 to 6 mm", "6 to 12 mm", "12 to 25 mm", "over 25 mm")


def thickness_band(thickness_mm: "pd.Series[float]") -> "pd.Series[str]":
    """Return the band of each thickness, missing where it is not known.

    Examples
    --------
    >>> thickness_band(pd.Series([5.0, 6.0, 40.0])).tolist()
    ['3 to 6 mm', '3 to 6 mm', 'over 25 mm']
    """
    names = pd.Series([*THICKNESS_NAMES, None], dtype="str")
    code = pd.cut(thickness_mm, THICKNESS_BOUNDS_MM, labels=False).fillna(len(THICKNESS_NAMES))
    return names.take(code.to_numpy(int)).set_axis(thickness_mm.index)
