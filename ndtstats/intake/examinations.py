"""Rows of an examination file: one row per imperfection becomes one examination with several."""

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ndtstats.columns import IMPERFECTION_COLUMNS
from ndtstats.intake.draft import Draft, summary, tell_missing
from ndtstats.register.frames import differs, natural_key, typed


class Rows(NamedTuple):
    """Rows ready for the register; ``members`` gives for each row of the draft its row here."""

    frame: pd.DataFrame
    imperfections: pd.DataFrame | None
    members: Any


def gather(draft: Draft) -> Rows:
    """Return the rows of a draft by their natural key, and tell blank cells and keys that clash.

    Rows of one examination that differ only in the imperfection are its imperfections; such a row
    need not say again what another row of its examination says, and the draft is filled in. Any
    other row that stands twice word for word is taken once.
    """
    name = draft.table.name
    examined = name == "examinations"
    if examined:
        draft.frame["round"] = draft.frame["round"].fillna(0)
    keys = natural_key(name, draft.frame)
    plain = [c for c in draft.table.names if not examined or c not in IMPERFECTION_COLUMNS]
    shows = draft.frame[list(IMPERFECTION_COLUMNS)].notna().any(axis=1) if examined else None
    if shows is not None:
        _fill_in(draft, keys, shows, plain)
    tell_missing(draft)
    first = keys.drop_duplicates()
    members = keys.map(pd.Series(first.index, index=first.to_numpy()))
    repeated = keys.duplicated(keep="first")
    _tell_clashes(draft, keys, members, plain)
    frame = draft.frame.loc[first.index]
    if shows is None:
        _note_doubles(draft, repeated)
        return Rows(frame, None, members)
    _note_doubles(draft, repeated & ~shows)
    return Rows(frame[plain], _imperfections(draft, members, shows), members)


def _fill_in(draft: Draft, keys: Any, shows: Any, plain: list[str]) -> None:
    """Fill in what the row of an imperfection leaves blank from the rows of the same key."""
    several = keys.duplicated(keep=False)
    if not (several & shows).any():
        return
    rows = draft.frame.loc[several, plain]
    # Of each column the first cell that is filled in, whichever row it stands in.
    said = rows.groupby(keys[several]).transform("first")
    kept = rows.notna().to_numpy() | ~shows[several].to_numpy()[:, np.newaxis]
    draft.frame.loc[several, plain] = rows.where(kept, said)
    draft.frame = typed(draft.frame, draft.table.columns)


def _tell_clashes(draft: Draft, keys: Any, members: Any, plain: list[str]) -> None:
    """Tell each content of a key that is another than its first, once."""
    content = draft.frame[plain].assign(key=keys)[keys.duplicated(keep=False)].drop_duplicates()
    again = content.index[content["key"].duplicated()]
    if again.empty:
        return
    before = members[again]
    mine, other = draft.frame.loc[again], draft.frame.loc[before]
    different = pd.DataFrame({n: differs(mine[n], other[n]) for n in plain}, index=again)
    names = different.columns.to_numpy()
    listed = [summary(names[row]) for row in different.to_numpy(dtype=bool)]
    reason = "the same key stands in row " + draft.places[before].astype("str").set_axis(again)
    remedy = "with another " + pd.Series(listed, again, dtype="str")
    remedy += "; keep one of them, or mend the key"
    draft.tell("TWICE", draft.frame.index.isin(again), None, reason, remedy)


def _note_doubles(draft: Draft, doubles: Any) -> None:
    told = {finding.row for finding in draft.findings if finding.code == "TWICE"}
    doubles = doubles & ~draft.places.isin(told)
    number = int(doubles.sum())
    if number:
        rows = summary(draft.places[doubles].astype("str"))
        draft.notes.append(f"{number} row{'s' if number > 1 else ''} stood twice: row {rows}")


def _imperfections(draft: Draft, members: Any, shows: Any) -> pd.DataFrame:
    """Return the imperfections with the row of their examination, each once."""
    rows = draft.frame.loc[shows, list(IMPERFECTION_COLUMNS)]
    rows["examination"] = members[shows]
    # Beyond the acceptance level unless the file says otherwise, on a rejected spot only.
    rejected = (draft.frame["verdict"] == "reject")[shows].astype("boolean")
    rows["imp_rejectable"] = rows["imp_rejectable"].fillna(rejected)
    doubles = rows.duplicated()
    _note_doubles(draft, doubles.reindex(draft.frame.index, fill_value=False))
    kept: pd.DataFrame = rows[~doubles]
    return kept
