"""The arithmetic of intermittent fillet welds: how many beads, how much weld, how thick."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: A quotient nearer to a whole number than this is that number.
_SLACK = 1e-9


class Beads(NamedTuple):
    """What a specified intermittent weld amounts to on one side of each member."""

    beads: Floats
    length_mm: Floats
    share: Floats


def beads_specified(
    member_mm: npt.ArrayLike, bead_mm: npt.ArrayLike, pitch_mm: npt.ArrayLike
) -> Beads:
    """Return number of beads, welded length and its share of the member, on one side.

    Parameters
    ----------
    member_mm, bead_mm, pitch_mm : array_like
        Length of the member, of a bead, and the distance from the start of a bead to the start of
        the next. A member shorter than a bead has none.

    Notes
    -----
    n = floor((member - bead) / pitch) + 1: common practice, no source.

    Examples
    --------
    >>> weld = beads_specified(2400, 75, [225, 150])
    >>> weld.beads.tolist(), weld.length_mm.tolist()
    ([11.0, 16.0], [825.0, 1200.0])
    """
    member, bead, pitch = (np.asarray(v, dtype=np.float64) for v in (member_mm, bead_mm, pitch_mm))
    count = np.maximum(np.floor((member - bead) / pitch + _SLACK) + 1, 0.0)
    return Beads(count, count * bead, count * bead / member)


def throat_mm(
    thickness_mm: npt.ArrayLike,
    weld_factor: float,
    pitch_mm: npt.ArrayLike,
    bead_mm: npt.ArrayLike,
    *,
    least_mm: float = 3.0,
) -> Floats:
    """Return the throat of an intermittent fillet, not less than ``least_mm``.

    Notes
    -----
    thickness x weld factor x pitch / bead, as in the weld tables of hull rules, which also set the
    least throat, 3.0 mm in the table that was seen.

    Examples
    --------
    >>> throat_mm([6, 10], 0.15, 225, 75).tolist()
    [3.0, 4.5]
    """
    thickness, pitch, bead = (
        np.asarray(v, dtype=np.float64) for v in (thickness_mm, pitch_mm, bead_mm)
    )
    return np.maximum(thickness * weld_factor * pitch / bead, least_mm)
