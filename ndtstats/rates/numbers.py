"""Joints by number: whole numbers are compared and joined many times quicker than text."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

_Ints = npt.NDArray[np.int64]


def numbered(*frames: pd.DataFrame) -> list[_Ints]:
    """Return the number of the joint of each row of some frames, from 0, the same in all of them.

    Parameters
    ----------
    *frames : DataFrame
        Columns ``job`` and ``joint``.

    Examples
    --------
    >>> one = pd.DataFrame({"job": ["H1", "H2"], "joint": ["B-1", "B-1"]})
    >>> [numbers.tolist() for numbers in numbered(one, one[::-1])]
    [[0, 1], [1, 0]]
    """
    job, joint = (
        pd.factorize(
            np.concatenate([frame[name].to_numpy(dtype=object) for frame in frames]),
            use_na_sentinel=False,
        )[0]
        for name in ("job", "joint")
    )
    number = pd.factorize(job * (int(joint.max(initial=0)) + 1) + joint)[0].astype(np.int64)
    return np.split(number, np.cumsum([len(frame) for frame in frames])[:-1])


def positions(number: _Ints, wanted: _Ints) -> Any:
    """Return where each number that is wanted stands among others, -1 where it does not."""
    at = np.full(max(int(part.max(initial=-1)) for part in (number, wanted)) + 1, -1)
    at[number[::-1]] = np.arange(len(number))[::-1]
    return at[wanted]
