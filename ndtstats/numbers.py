"""Names by number: whole numbers are compared and joined many times quicker than text."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

_Ints = npt.NDArray[np.int64]


def numbered(*frames: pd.DataFrame, by: Sequence[str] = ("job", "joint")) -> list[_Ints]:
    """Return the number of the joint of each row of some frames, from 0, the same in all of them.

    Parameters
    ----------
    *frames : DataFrame
        Columns ``by``.
    by : sequence of str
        What must agree for two rows to have one number; what is missing agrees with itself.

    Examples
    --------
    >>> one = pd.DataFrame({"job": ["H1", "H2"], "joint": ["B-1", "B-1"]})
    >>> [numbers.tolist() for numbers in numbered(one, one[::-1])]
    [[0, 1], [1, 0]]
    """
    number = np.zeros(sum(map(len, frames)), dtype=np.int64)
    for name in by:
        codes, distinct = pd.factorize(
            np.concatenate([frame[name].to_numpy(dtype=object) for frame in frames]),
            use_na_sentinel=False,
        )
        if len(distinct) > 1:
            number = pd.factorize(number * len(distinct) + codes)[0].astype(np.int64)
    return np.split(number, np.cumsum([len(frame) for frame in frames])[:-1])


def positions(number: _Ints, wanted: _Ints) -> Any:
    """Return where each number that is wanted stands among others, -1 where it does not."""
    at = np.full(max(int(part.max(initial=-1)) for part in (number, wanted)) + 1, -1)
    at[number[::-1]] = np.arange(len(number))[::-1]
    return at[wanted]


def looked_up(names: "pd.Series[Any]", known: "pd.Series[Any]") -> "pd.Series[float]":
    """Return the number that each name stands for, missing where there is none.

    Parameters
    ----------
    names : Series
        The names.
    known : Series
        Numbers by name, each name once. Where nothing is known :meth:`pandas.Series.map` would
        give text, and not numbers.

    Examples
    --------
    >>> looked_up(pd.Series(["B-1", "B-9"]), pd.Series({"B-1": 900})).tolist()
    [900.0, nan]
    """
    found = known.astype("float64").reindex(pd.Index(names)).to_numpy()
    return pd.Series(found, names.index, name=known.name)
