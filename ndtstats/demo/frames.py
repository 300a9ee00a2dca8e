"""Small helpers of the generator: frames of the shape of the yard's tables, days as numbers."""

from typing import Any, overload

import numpy as np
import pandas as pd

from ndtstats.columns import TABLES
from ndtstats.register.frames import typed

_EPOCH = pd.Timestamp("2026-01-01")


def shaped(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame with exactly the columns of a table, each in its type, rows renumbered."""
    return typed(frame, TABLES[table].columns).reset_index(drop=True)


@overload
def days(when: pd.Timestamp) -> float: ...
@overload
def days(when: Any) -> Any: ...
def days(when: Any) -> Any:
    """Return days since the beginning of 2026, of one day or of a column of them."""
    return (when - _EPOCH) / pd.Timedelta(days=1)


def working_day(start: pd.Timestamp, number: Any) -> Any:
    """Return the days that are each a number of working days after a start.

    Examples
    --------
    >>> working_day(pd.Timestamp("2026-01-12"), pd.Series([0, 5])).astype(str).tolist()
    ['2026-01-12', '2026-01-19']
    """
    return later(pd.Series(start, index=number.index), number)


def later(date: Any, working_days: Any) -> Any:
    """Return days moved on by a number of working days, the same for all or one for each."""
    base = date.to_numpy().astype("datetime64[D]")
    moved = np.busday_offset(base, np.asarray(working_days, dtype=np.int64), roll="forward")
    return pd.Series(moved.astype("datetime64[s]"), index=date.index)
