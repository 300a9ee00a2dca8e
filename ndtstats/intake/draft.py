"""A piece of the rows of a file as a typed table, for checks that look at each row by itself."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.columns import Column, Table
from ndtstats.intake.body import Body


@dataclass(slots=True)
class Draft:
    """Rows on their way into the register.

    Attributes
    ----------
    body : Body
        What they are a piece of.
    frame : DataFrame
        Their typed columns; the index numbers the rows of the body from 0.
    """

    body: Body
    frame: pd.DataFrame

    @property
    def table(self) -> Table:
        """What they are rows of."""
        return self.body.table

    def tell(self, code: str, where: Any, column: str | None, reason: Any, remedy: Any) -> None:
        """Add a finding for each row of a mask.

        Parameters
        ----------
        code : str
            One of :data:`ndtstats.findings.CODES`.
        where : Series of bool
            Rows it is about.
        column : str or None
            Column it is about.
        reason, remedy : str or Series of str
            What is wrong, what would be right; the same for all, or for each of the rows by its
            label (further rows may be left out).
        """
        rows = self.frame.index[np.asarray(where, dtype=bool)]
        if len(rows):
            each = [text if isinstance(text, str) else text.loc[rows] for text in (reason, remedy)]
            self.body.tell(code, rows.to_numpy(), column, *each)


def draft_of(body: Body, rows: Any = slice(None)) -> Draft:
    """Return rows of a body, by default all of them."""
    return Draft(body, body.frame(rows))


def tell_bounds(body: Body) -> None:
    """Tell the numbers outside their bounds; NaN compares with nothing, so it passes."""
    numeric = [column for column in body.table.columns if column.kind in {"number", "whole"}]
    for piece in body.pieces():
        draft = Draft(body, body.frame(piece, [column.name for column in numeric]))
        for column in numeric:
            if column.name in body.there:
                _bounds(draft, column, draft.frame[column.name].astype("float64"))


def _bounds(draft: Draft, column: Column, values: Any) -> None:
    name = column.name
    if column.above is not None:
        rule = f"it must be greater than {column.above:g}"
        draft.tell("BOUND", values <= column.above, name, "is too small", rule)
    if column.at_least is not None:
        rule = f"it must be {column.at_least:g} or more"
        draft.tell("BOUND", values < column.at_least, name, "is too small", rule)
    if column.kind == "whole" and column.allowed:
        listed = ", ".join(column.allowed)
        wrong = values.notna() & ~values.isin([int(word) for word in column.allowed])
        draft.tell("WORD", wrong, name, f"is not a {name.replace('_', ' ')}", f"write {listed}")
    other = column.beyond or column.not_below
    if other:
        # A joint's datum is 0, so an interval without a start begins there.
        against = draft.frame[other].astype("float64").fillna(0.0)
        wrong = values <= against if column.beyond else values < against
        need = "greater than" if column.beyond else "not less than"
        draft.tell("BOUND", wrong, name, f"is not beyond {other}", f"it must be {need} {other}")
