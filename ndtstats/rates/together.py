"""What is said of spots that lie on the same joints."""

import numpy as np
import pandas as pd

from ndtstats.statistics import Clustering


def clusters_told(seen: pd.DataFrame, together: Clustering, *, allowed: bool = True) -> list[str]:
    """Return in a sentence how much spots of a joint go together, and what limits make of it.

    Parameters
    ----------
    seen : DataFrame
        Spots as charged: ``row`` (the examination) and ``unit`` (number of the joint).
    together : Clustering
        Of these spots.
    allowed : bool
        Whether the limits allow for it.
    """
    spots, joints = seen["row"].nunique(), seen["unit"].nunique()
    if not together.several:
        return []
    lie = f"The {spots:,} spots lie on {joints:,} joint{'' if joints == 1 else 's'}"
    if np.isnan(together.correlation):
        return [
            f"{lie}; nothing tells yet how much spots of a joint go together, so these limits do "
            "not allow for it."
        ]
    if together.correlation <= 0:
        return [
            f"{lie}; spots of a joint were no more alike than others (correlation "
            f"{together.correlation:.2f}), so each counts in full."
        ]
    effect = together.design_effect
    made = (
        f"there are {effect:.2f} times more than they are worth (design effect), and all limits "
        "rest on what they are worth"
        if allowed
        else f"chance spreads wider than these limits take it to, by about {effect**0.5:.2f} "
        f"(square root of the design effect, {effect:.2f})"
    )
    return [
        f"{lie}; spots of a joint go together (correlation {together.correlation:.2f}), so {made}."
    ]
