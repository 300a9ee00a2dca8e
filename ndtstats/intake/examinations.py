"""Rows of an examination file: one row per imperfection becomes one examination with several."""

from typing import Any, NamedTuple

import pandas as pd

from ndtstats.columns import IMPERFECTION_COLUMNS
from ndtstats.intake.draft import Draft, summary
from ndtstats.register.frames import differs, natural_key, typed


class Rows(NamedTuple):
    """Rows ready for the register; ``members`` gives for each row of the draft its row here."""

    frame: pd.DataFrame
    imperfections: pd.DataFrame | None
    members: Any


def gather(draft: Draft) -> Rows:
    """Return the rows of a draft by their natural key, and tell the keys that clash.

    Rows of one examination that differ only in the imperfection are its imperfections. For every
    other table a row that stands twice word for word is taken once.
    """
    name = draft.table.name
    frame = typed(draft.frame, draft.table.columns)
    if name == "examinations":
        frame["round"] = frame["round"].fillna(0)
    keys = natural_key(name, frame)
    first = keys.drop_duplicates()
    first_row = pd.Series(first.index, index=first.to_numpy())
    members = keys.map(first_row)
    repeated = keys.duplicated(keep="first")
    plain = [c for c in frame.columns if name != "examinations" or c not in IMPERFECTION_COLUMNS]
    clash, columns = _clashes(frame.loc[repeated, plain], frame.loc[members[repeated], plain])
    places = draft.places.loc[members].astype("str").to_numpy()
    wrong = repeated.copy()
    wrong[repeated] = clash
    reason = "the same key stands in row " + pd.Series(places, index=frame.index)
    told = pd.Series("", index=frame.index)
    told[repeated] = pd.Series(columns, told.index[repeated], "str")
    remedy = "with another " + told + "; keep one of them, or mend the key"
    draft.tell("TWICE", wrong, None, reason, remedy)
    if name != "examinations":
        _note_doubles(draft, repeated & ~wrong)
        return Rows(frame.loc[first.index], None, members)
    return Rows(frame.loc[first.index, plain], _imperfections(frame, members, draft), members)


def _clashes(again: pd.DataFrame, before: pd.DataFrame) -> tuple[Any, list[str]]:
    """Return which repeated rows differ from the first of their key, and in what columns."""
    different = pd.DataFrame(
        {name: differs(again[name], before[name]) for name in again.columns}, index=again.index
    )
    names = different.columns.to_numpy()
    listed = [summary(names[row]) for row in different.to_numpy(dtype=bool)]
    return different.any(axis=1), listed


def _note_doubles(draft: Draft, doubles: Any) -> None:
    number = int(doubles.sum())
    if number:
        rows = summary(draft.places[doubles].astype("str"))
        draft.notes.append(f"{number} row{'s' if number > 1 else ''} stood twice: row {rows}")


def _imperfections(frame: pd.DataFrame, members: Any, draft: Draft) -> pd.DataFrame:
    """Return the imperfections with the row of their examination, each once."""
    columns = list(IMPERFECTION_COLUMNS)
    rows = frame[columns].assign(examination=members)
    rows = rows[frame[columns].notna().any(axis=1)]
    # Beyond the acceptance level unless the file says otherwise, on a rejected spot only.
    rejected = (frame["verdict"] == "reject").reindex(rows.index)
    unsaid = rows["imp_rejectable"].isna()
    rows["imp_rejectable"] = rows["imp_rejectable"].mask(unsaid, rejected.astype("boolean"))
    _note_doubles(draft, rows.duplicated().reindex(frame.index, fill_value=False))
    return rows.drop_duplicates()
