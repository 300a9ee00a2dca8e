"""The owed item: one row for each thing that a reject asks for, open or answered."""

import hashlib
from collections.abc import Collection, Iterable
from typing import Any

import pandas as pd

#: Columns of the items that ``decide`` and ``repairs`` give.
#:
#: ``item`` is a name that stays; ``round`` the stage of the extras, or the number of the repair;
#: ``what`` extra, repair, re-examine or whole lot; ``count`` what is still owed; ``places`` a list
#: of joint, from_mm, to_mm where the rule fixes them; ``because`` names the examinations that asked
#: for it and ``answered_by`` those that answered it; ``state`` is
#:
#: - open: something is still owed;
#: - done: all of it is examined;
#: - exhausted: the lot has fewer places left than are owed; what is left is owed, and once that is
#:   examined so is the whole lot;
#: - whole lot: the whole lot is owed, and this with it;
#: - cut out: the joint was cut out, so that there is nothing left to repair;
#: - waived: a named person does not ask for it any more;
#: - overturned: a second reading does not share the reject that asked for it.
ITEM_COLUMNS = (
    "item", "lot", "round", "what", "count", "places", "because", "answered_by", "state",
)  # fmt: skip

#: What is left of a joint beyond a place is not worth an exposure if shorter than this, in mm:
#: common practice, no source.
SLIVER_MM = 25.0


def as_places(joints: Any, low: Any, high: Any) -> "pd.Series[Any]":
    """Return places as lists of one, in the form that machines get.

    Parameters
    ----------
    joints : Series
        Its index is that of the result.
    low, high : array_like of the same length
        In mm from the joint's datum.
    """
    rows = zip(joints, low, high, strict=True)
    return pd.Series(
        [[{"joint": str(j), "from_mm": float(a), "to_mm": float(b)}] for j, a, b in rows],
        index=joints.index,
        dtype=object,
    )


def waive_items(items: pd.DataFrame, waived: Collection[str]) -> pd.DataFrame:
    """Return items with nothing owed of those that were waived; what is done stays done."""
    if not len(waived):
        return items
    given_up = items["item"].isin(list(waived)) & items["state"].isin(["open", "exhausted"])
    return items.assign(
        count=items["count"].mask(given_up, 0), state=items["state"].mask(given_up, "waived")
    )


def handles_of(jobs: Iterable[str], items: Iterable[str]) -> list[str]:
    """Return a short name for each item of each job, that can be typed.

    The first eight figures of the SHA-256 of both, so that it stays as long as the item does.

    Examples
    --------
    >>> handles_of(["L1"], ["RT R-1, J1 0-350 mm, 2026-03-02#repair"])
    ['30a46ea1']
    """
    return [
        hashlib.sha256(f"{job}\n{item}".encode()).hexdigest()[:8]
        for job, item in zip(jobs, items, strict=True)
    ]


def as_items(rows: Iterable[tuple[Any, ...]]) -> pd.DataFrame:
    """Return rows in the order of :data:`ITEM_COLUMNS` as a frame with its types, empty or not."""
    frame = pd.DataFrame(list(rows), columns=list(ITEM_COLUMNS))
    text = ["item", "lot", "what", "because", "answered_by", "state"]
    return frame.astype({**dict.fromkeys(text, "str"), "round": "int64", "count": "int64"})
