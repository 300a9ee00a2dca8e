"""The least whole number that is enough, for many questions at once."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from ndtstats.statistics.acceptance.arguments import CountArray

#: Says of each number whether it is too small still.
Short = Callable[[CountArray], npt.NDArray[np.bool_]]


def least_enough(short: Short, low: CountArray, high: CountArray) -> CountArray:
    """Return the least numbers that are not short, by halving all ranges at once.

    Parameters
    ----------
    short : callable
        Whether numbers are too small; never true again once it is false.
    low, high : ndarray of int64
        Ranges, ends included, of one shape; ``high`` is taken to be enough.

    Examples
    --------
    >>> squares = np.array([10, 16, 17])
    >>> ends = np.full(3, 1), np.full(3, 100)
    >>> least_enough(lambda n: n * n < squares, *ends).tolist()
    [4, 4, 5]
    """
    while np.any(low < high):
        middle = (low + high) // 2
        missing = short(middle)
        low, high = np.where(missing, middle + 1, low), np.where(missing, high, middle)
    return np.asarray(high, np.int64)
