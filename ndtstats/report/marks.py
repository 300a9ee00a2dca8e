"""What strip pictures show: places along a joint, and what was asked, examined or found there."""

import pandas as pd

#: What can stand at a place, the weaker first: where two meet, the stronger is seen. ``repaired``
#: is a reject whose repair was accepted; :mod:`ndtstats.report.strip_text` finds it.
MARKS = (
    "not done", "re-shoot", "owed", "planned", "accepted", "repaired", "rejected", "found",
)  # fmt: skip

COLUMNS = ["joint", "method", "round", "from_mm", "to_mm", "mark"]

_OF_VERDICT = {"accept": "accepted", "reject": "rejected"}


def marks_of(
    examined: pd.DataFrame, found: pd.DataFrame, planned: pd.DataFrame, owed: pd.DataFrame
) -> pd.DataFrame:
    """Return the marks of joints.

    Parameters
    ----------
    examined : DataFrame
        Columns ``joint``, ``method``, ``round``, ``from_mm``, ``to_mm``, ``verdict``.
    found : DataFrame
        Rejectable indications: ``joint``, ``method``, ``round``, ``start_mm``, ``end_mm`` and
        ``located`` (bool); one whose place is not known is not marked apart from its spot.
    planned : DataFrame
        Spots asked for and not examined: ``joint``, ``method``, ``round``, ``from_mm``, ``to_mm``.
    owed : DataFrame
        Places that a procedure still asks for: ``joint``, ``from_mm``, ``to_mm``.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`; ``mark`` is one of :data:`MARKS`. What is owed has no method.
    """
    seen = examined["verdict"].map(_OF_VERDICT).fillna(examined["verdict"])
    places = found[found["located"]].rename(columns={"start_mm": "from_mm", "end_mm": "to_mm"})
    parts = [
        examined.assign(mark=seen),
        places.assign(mark="found"),
        planned.assign(mark="planned"),
        owed.assign(mark="owed", method="", round=0),
    ]
    marks = pd.concat([part.reindex(columns=COLUMNS) for part in parts], ignore_index=True)
    return marks.astype({"joint": "str", "method": "str", "round": "int64", "mark": "str"})


def marks_sentence(marks: pd.DataFrame) -> str:
    """Return how many of each mark there are, in words.

    Examples
    --------
    >>> marks_sentence(pd.DataFrame({"mark": ["accepted", "rejected", "found", "accepted"]}))
    '3 examined, 1 of them rejected; none planned, none owed.'
    """
    number = marks["mark"].value_counts().reindex(MARKS, fill_value=0)
    judged = number["accepted"] + number["rejected"]
    rejected = f", {_count(number['rejected'])} of them rejected" if judged else ""
    rest = f"{_count(number['planned'])} planned, {_count(number['owed'])} owed"
    return f"{_count(judged)} examined{rejected}; {rest}."


def _count(number: int) -> str:
    return f"{number:,}" if number else "none"


def row_label(marks: pd.DataFrame) -> "pd.Series[str]":
    """Return the row of each mark in the picture of one joint: its method and round.

    Examples
    --------
    >>> row_label(pd.DataFrame({"method": ["RT", "RT", ""], "round": [0, 1, 0]})).tolist()
    ['RT', 'RT R1', 'owed']
    """
    later = " R" + marks["round"].astype("str")
    label: pd.Series[str] = marks["method"] + later.where(marks["round"] > 0, "")
    return label.where(marks["method"] != "", "owed")
