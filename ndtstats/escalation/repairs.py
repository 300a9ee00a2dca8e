"""What each reject owes itself: its repair, and the same place examined again."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.escalation.coverage import covered_mm, named_in_order, overlaps
from ndtstats.escalation.items import ITEM_COLUMNS, as_items, as_places
from ndtstats.numbers import looked_up

#: How far two readings of a tape may differ, in mm: common practice, no source.
TAPE_MM = 10.0

#: No joint was cut out.
_NONE_CUT_OUT = pd.DataFrame(
    {"joint": pd.Series(dtype="str"), "new_joint": pd.Series(dtype="str"),
     "length_mm": pd.Series(dtype="float64")}
)  # fmt: skip


def repairs(
    examinations: pd.DataFrame,
    indications: pd.DataFrame,
    cut_out: pd.DataFrame = _NONE_CUT_OUT,
) -> pd.DataFrame:
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
    cut_out : DataFrame
        Joints that were cut out, as :func:`new_welds` gives them.

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

    Where the joint was cut out, nothing is left to repair. The weld made in its place is examined
    for the first time (``round`` 0) by the method that rejected, over the same place, or whole if
    it ends before that place: chosen here, for a new weld is no better known than a repair.

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
    rejects = rejects_of(examinations)
    if rejects.empty:
        return as_items([])
    bad = bad_places(rejects, indications)
    again = looked_again(examinations)
    shared = looked_over(bad, again)
    told = rejects.assign(
        done=examined_again(bad, shared),
        answered=named_in_order(shared.assign(place=shared["reject"]), rejects),
        astray=_astray(rejects, again[~again["ref"].isin(shared["ref"])]),
    )
    replaced = ~told["done"] & told["joint"].isin(cut_out["joint"])
    items = [_items(told[~replaced]), _items_of_new_welds(told[replaced], examinations, cut_out)]
    both = pd.concat(items, ignore_index=True)
    return as_items(both[list(ITEM_COLUMNS)].itertuples(index=False, name=None))


def new_welds(joints: pd.DataFrame) -> pd.DataFrame:
    """Return the joints that were cut out: ``joint``, ``new_joint`` that stands, ``length_mm``.

    Parameters
    ----------
    joints : DataFrame
        ``joint``, ``replaces``, ``length_mm`` (of one job).

    Examples
    --------
    >>> new_welds(pd.DataFrame({"joint": ["J1", "J1-C", "J1-D"], "replaces": [None, "J1", "J1-C"],
    ...                         "length_mm": [350.0, 350.0, 360.0]}))
      joint new_joint  length_mm
    0    J1      J1-D      360.0
    1  J1-C      J1-D      360.0
    """
    made = joints.dropna(subset=["replaces"]).drop_duplicates("replaces", keep="last")
    next_of = made.set_index("replaces")["joint"]
    last = pd.Series(next_of.to_numpy(), index=next_of.index)
    # A new weld may be cut out in turn. One that names itself, in a ring, leads nowhere further.
    for _ in range(len(next_of)):
        further = last.map(next_of)
        if further.isna().all():
            break
        last = further.fillna(last)
    length = joints.drop_duplicates("joint").set_index("joint")["length_mm"]
    return pd.DataFrame(
        {
            "joint": last.index.astype("str"),
            "new_joint": last.to_numpy(),
            "length_mm": last.map(length).to_numpy(float),
        }
    ).astype({"new_joint": "str"})


def rejects_of(examinations: pd.DataFrame) -> pd.DataFrame:
    """Return the rejects in order of time, indexed from 0."""
    rejects = examinations[examinations["rejected"]]
    return rejects.sort_values("order", ignore_index=True)


def bad_places(rejects: pd.DataFrame, indications: pd.DataFrame) -> pd.DataFrame:
    """Return where each reject is bad, one row an indication; its whole place if none is known."""
    keys = rejects[["ref", "joint", "method", "round", "date", "from_mm", "to_mm"]]
    found = (
        keys.rename(columns={"ref": "reject_ref"})
        .rename_axis("reject")
        .reset_index()
        .merge(
            indications[["ref", "start_mm", "end_mm"]],
            left_on="reject_ref",
            right_on="ref",
            how="left",
        )
        .drop(columns="ref")
    )
    return found.assign(
        from_mm=found["start_mm"].fillna(found["from_mm"]),
        to_mm=found["end_mm"].fillna(found["to_mm"]),
    ).drop(columns=["start_mm", "end_mm"])


def looked_again(examinations: pd.DataFrame, *, first: bool = False) -> pd.DataFrame:
    """Return the places of re-examinations (or first examinations), as ``overlaps`` wants them."""
    rows = examinations[(examinations["round"] == 0) if first else (examinations["round"] > 0)]
    return pd.DataFrame(
        {
            "ref": rows["ref"], "joint": rows["joint"], "again_method": rows["method"],
            "again_round": rows["round"], "again_date": rows["date"],
            "low_mm": rows["from_mm"], "high_mm": rows["to_mm"], "order": rows["order"],
        }
    )  # fmt: skip


def looked_over(bad: pd.DataFrame, again: pd.DataFrame) -> pd.DataFrame:
    """Return which re-examinations look over which bad places: same method, later round and day."""
    shared = overlaps(bad, again)
    over: pd.DataFrame = shared[
        (shared["again_method"] == shared["method"])
        & (shared["again_round"] > shared["round"])
        & (shared["again_date"] >= shared["date"])
    ]
    return over


def examined_again(bad: pd.DataFrame, shared: pd.DataFrame) -> "pd.Series[bool]":
    """Return for each reject whether all its bad places were examined again."""
    done: pd.Series[bool] = _covered(bad, shared).groupby(bad["reject"]).all()
    return done


def _covered(places: pd.DataFrame, shared: pd.DataFrame) -> "pd.Series[bool]":
    """Return which places are covered, but for what two readings of a tape may differ."""
    length = places["to_mm"] - places["from_mm"]
    covered: pd.Series[bool] = covered_mm(places, shared) >= length - np.minimum(
        TAPE_MM, length / 4
    )
    return covered


def _astray(rejects: pd.DataFrame, strays: pd.DataFrame) -> "pd.Series[str]":
    """Return the re-examinations beside each reject that cover no reject at all, "" if none."""
    pairs = (
        rejects[["joint", "method"]]
        .rename_axis("place")
        .reset_index()
        .merge(strays, left_on=["joint", "method"], right_on=["joint", "again_method"])
    )
    return named_in_order(pairs, rejects)


def _items(rejects: pd.DataFrame) -> pd.DataFrame:
    """Return both items of each reject on a joint that stands."""
    done = rejects["done"].to_numpy(bool)
    missed = ~done & (rejects["astray"] != "").to_numpy(bool)
    because = rejects["ref"].where(
        ~missed, rejects["ref"] + "; does not cover the place: " + rejects["astray"]
    )
    base = pd.DataFrame(
        {
            "lot": _lot(rejects),
            "round": rejects["round"] + 1,
            "count": np.where(done, 0, 1),
            "places": as_places(rejects["joint"], rejects["from_mm"], rejects["to_mm"]),
            "because": because,
            "answered_by": rejects["answered"],
            "state": np.where(done, "done", "open"),
        }
    )
    return pd.concat(
        [
            base.assign(what=what, item=rejects["ref"] + "#" + what)
            for what in ("repair", "re-examine")
        ],
        ignore_index=True,
    )


def _lot(rejects: pd.DataFrame) -> Any:
    return "joint " + rejects["joint"] + ", method " + rejects["method"]


def _items_of_new_welds(
    rejects: pd.DataFrame, examinations: pd.DataFrame, cut_out: pd.DataFrame
) -> pd.DataFrame:
    """Return both items of each reject whose joint was cut out."""
    if rejects.empty:
        return _items(rejects)
    place = place_on_new_weld(rejects, cut_out)
    done, answered = first_looks(place, examinations)
    base = pd.DataFrame({"lot": _lot(rejects), "because": rejects["ref"]})
    cut = base.assign(
        item=rejects["ref"] + "#repair", what="repair", round=rejects["round"] + 1, count=0,
        places=as_places(rejects["joint"], rejects["from_mm"], rejects["to_mm"]),
        answered_by="joint " + place["joint"] + " welded in its place", state="cut out",
    )  # fmt: skip
    new = base.assign(
        item=rejects["ref"] + "#re-examine", what="re-examine", round=0,
        count=np.where(done, 0, 1),
        places=as_places(place["joint"], place["from_mm"], place["to_mm"]),
        answered_by=answered, state=np.where(done, "done", "open"),
    )  # fmt: skip
    return pd.concat([cut, new], ignore_index=True)


def place_on_new_weld(rejects: pd.DataFrame, cut_out: pd.DataFrame) -> pd.DataFrame:
    """Return the place of each reject on the weld made in its joint's place, and the method.

    The whole of the new weld where that ends before the place begins.
    """
    known = cut_out.set_index("joint")
    length = looked_up(rejects["joint"], known["length_mm"])
    beyond = rejects["from_mm"] >= length
    return pd.DataFrame(
        {
            "joint": rejects["joint"].map(known["new_joint"]).astype("str"),
            "from_mm": rejects["from_mm"].mask(beyond, 0.0),
            "to_mm": np.minimum(rejects["to_mm"].mask(beyond, length), length),
            "method": rejects["method"],
        }
    )


def first_looks(
    places: pd.DataFrame, examinations: pd.DataFrame
) -> tuple[npt.NDArray[np.bool_], "pd.Series[str]"]:
    """Return which places first examinations by their method cover, and the names of those."""
    shared = overlaps(places, looked_again(examinations, first=True))
    shared = shared[shared["again_method"] == shared["method"]]
    return _covered(places, shared).to_numpy(bool), named_in_order(shared, places)
