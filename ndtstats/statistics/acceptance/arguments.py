"""What the planning functions accept, checked in one place and refused in a sentence."""

from typing import Any

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError

FloatArray = npt.NDArray[np.float64]
CountArray = npt.NDArray[np.int64]

#: Exact probabilities often equal the risk asked for (0.9 x 0.9 against 0.81), and the last bit
#: must not decide a plan. So much, relative to the risk, counts as equal.
TIE = 1e-10

#: Up to here every whole number is one that a float can hold.
_MOST = 2**53


def shares(value: Any, name: str, *, zero: bool = True, one: bool = True) -> FloatArray:
    """Return ``value`` as an array of shares between 0 and 1; the ends only if allowed.

    Examples
    --------
    >>> shares(5, "rate")
    Traceback (most recent call last):
    ndtstats.errors.UseError: rate 5 is not a share; write it between 0 and 1: 5 % is 0.05
    """
    array = np.asarray(value, float)
    inside = (array >= 0 if zero else array > 0) & (array <= 1 if one else array < 1)
    if not np.all(inside):
        wrong = float(array[~inside].flat[0])
        hint = "it must lie between 0 and 1" + _ends(zero, one)
        if 1 < wrong <= 100:
            hint = f"write it between 0 and 1: {wrong:g} % is {wrong / 100:g}"
        raise UseError(f"{name} {wrong:g} is not a share; {hint}")
    return array


def _ends(zero: bool, one: bool) -> str:
    if zero and one:
        return ""
    return ", and be neither" if not (zero or one) else f", and not be {0 if one else 1}"


def counts(value: Any, name: str, *, least: int = 0) -> CountArray:
    """Return ``value`` as an array of whole numbers of at least ``least``.

    Examples
    --------
    >>> counts(2.5, "examined")
    Traceback (most recent call last):
    ndtstats.errors.UseError: examined 2.5 is not a whole number of at least 0
    """
    array = np.asarray(value, float)
    whole = np.isfinite(array) & (array == np.floor(array)) & (array >= least)
    if not np.all(whole):
        wrong = float(array[~whole].flat[0])
        raise UseError(f"{name} {wrong:g} is not a whole number of at least {least}")
    if np.any(array > _MOST):
        raise UseError(f"{name} {array.max():g} is more than can be counted")
    return array.astype(np.int64)
