"""What each reject owes itself: its repair, and the same place examined again."""

import numpy as np
import pandas as pd

from ndtstats.escalation.coverage import covered_mm, named_in_order, overlaps
from ndtstats.escalation.items import ITEM_COLUMNS, as_items, as_places

#: How far two readings of a tape may differ, in mm: common practice, no source.
_TAPE_MM = 10.0


def repairs(examinations: pd.DataFrame, indications: pd.DataFrame) -> pd.DataFrame:
    """Return the repair and the re-examination that each reject asks for, and what became of them.

    Parameters
    ----------
    examinations : DataFrame
        All that accepted or rejected, of every round, each once: ``ref`` (text that names it),
        ``joint``, ``method``, ``from_mm``, ``to_mm``, ``round``, ``rejected``, ``date``, and
        ``order`` (of time; no two alike).
    indications : DataFrame
        Where the rejectable indications lie: ``ref``, ``start_mm``, ``end_mm``. A reject with none
        can lie anywhere in its place.

    Returns
    -------
    DataFrame
        Columns :data:`~ndtstats.escalation.items.ITEM_COLUMNS`: two items a reject, ``what``
        "repair" and "re-examine", ``round`` the number of the repair.

    Notes
    -----
    A repair is examined again by the same method, over the same place (ASME B31.3, 341.3.3; seen):
    an examination of a later round answers as far as it covers the indications. A defect in a
    repair is a reject that owes the next repair; it starts no new extras (341.3.4(f); seen). That a
    repair was made is known only by its re-examination, so both stay open until then. A
    re-examination that covers no reject of its joint closes none, and is said so.

    Examples
    --------
    >>> films = pd.DataFrame({"ref": ["X1", "X1 R1"], "joint": "B-1", "method": "RT",
    ...     "from_mm": 0.0, "to_mm": 300.0, "round": [0, 1], "rejected": [True, False],
    ...     "date": pd.to_datetime(["2026-03-01", "2026-03-05"]), "order": [0, 1]})
    >>> nowhere = pd.DataFrame({"ref": [], "start_mm": [], "end_mm": []})
    >>> repairs(films, nowhere)[["what", "round", "count", "answered_by", "state"]]
             what  round  count answered_by state
    0      repair      1      0       X1 R1  done
    1  re-examine      1      0       X1 R1  done
    """
    rejects = examinations[examinations["rejected"]].sort_values("order", ignore_index=True)
    if rejects.empty:
        return as_items([])
    bad = _bad_places(rejects, indications)
    again = examinations[examinations["round"] > 0]
    looked = pd.DataFrame(
        {
            "ref": again["ref"],
            "joint": again["joint"],
            "again_method": again["method"],
            "again_round": again["round"],
            "again_date": again["date"],
            "low_mm": again["from_mm"],
            "high_mm": again["to_mm"],
            "order": again["order"],
        }
    )
    shared = overlaps(bad, looked)
    shared = shared[
        (shared["again_method"] == shared["method"])
        & (shared["again_round"] > shared["round"])
        & (shared["again_date"] >= shared["date"])
    ]
    length = bad["to_mm"] - bad["from_mm"]
    closed = covered_mm(bad, shared) >= length - np.minimum(_TAPE_MM, length / 4)
    done = closed.groupby(bad["reject"]).all().reindex(rejects.index).to_numpy(bool)
    answers = shared.assign(place=shared["reject"])
    return _items(
        rejects,
        done,
        named_in_order(answers, rejects),
        _astray(rejects, looked[~looked["ref"].isin(shared["ref"])]),
    )


def _bad_places(rejects: pd.DataFrame, indications: pd.DataFrame) -> pd.DataFrame:
    """Return where each reject is bad, one row an indication; its whole place if none is known."""
    keys = rejects[["ref", "joint", "method", "round", "date", "from_mm", "to_mm"]]
    found = (
        keys.rename(columns={"ref": "reject_ref"})
        .rename_axis("reject")
        .reset_index()
        .merge(indications, left_on="reject_ref", right_on="ref", how="left")
        .drop(columns="ref")
    )
    return found.assign(
        from_mm=found["start_mm"].fillna(found["from_mm"]),
        to_mm=found["end_mm"].fillna(found["to_mm"]),
    ).drop(columns=["start_mm", "end_mm"])


def _astray(rejects: pd.DataFrame, strays: pd.DataFrame) -> "pd.Series[str]":
    """Return the re-examinations beside each reject that cover no reject at all, "" if none."""
    pairs = (
        rejects[["joint", "method"]]
        .rename_axis("place")
        .reset_index()
        .merge(strays, left_on=["joint", "method"], right_on=["joint", "again_method"])
    )
    return named_in_order(pairs, rejects)


def _items(
    rejects: pd.DataFrame,
    done: "np.ndarray[tuple[int], np.dtype[np.bool_]]",
    answered_by: "pd.Series[str]",
    astray: "pd.Series[str]",
) -> pd.DataFrame:
    missed = ~done & (astray != "").to_numpy(bool)
    because = rejects["ref"].where(
        ~missed, rejects["ref"] + "; does not cover the place: " + astray
    )
    base = pd.DataFrame(
        {
            "lot": "joint " + rejects["joint"] + ", method " + rejects["method"],
            "round": rejects["round"] + 1,
            "count": np.where(done, 0, 1),
            "places": as_places(rejects["joint"], rejects["from_mm"], rejects["to_mm"]),
            "because": because,
            "answered_by": answered_by,
            "state": np.where(done, "done", "open"),
        }
    )
    both = pd.concat(
        [
            base.assign(what=what, item=rejects["ref"] + "#" + what)
            for what in ("repair", "re-examine")
        ],
        ignore_index=True,
    )
    return as_items(both[list(ITEM_COLUMNS)].itertuples(index=False, name=None))
