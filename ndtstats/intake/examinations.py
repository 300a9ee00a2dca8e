"""Rows of an examination file: one row per imperfection becomes one examination with several."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.columns import IMPERFECTION_COLUMNS
from ndtstats.intake.body import Body, Mask, Places, summary, tell_missing
from ndtstats.intake.cells import Groups, Numbers, combined, several

#: Where an examination is, unless it answers a request.
_PLACE = ("from_mm", "to_mm")


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows ready for the register.

    Attributes
    ----------
    body : Body
        The rows of the file.
    members : array of int
        For each row of the file, the first row of the same natural key: it stands for all.
    showing : array of int or None
        Of an examination file, the rows that show an imperfection, each once, in order of the
        first row of their key.
    """

    body: Body
    members: Places
    showing: Places | None

    def frame(self, rows: slice, left_out: Mask) -> tuple[pd.DataFrame, pd.DataFrame | None]:
        """Return the rows of a piece that go into the register, and their imperfections.

        ``left_out`` marks the rows of the file that are not taken.
        """
        numbers = np.arange(rows.start, rows.stop)
        own = numbers[(self.members[rows] == numbers) & ~left_out[rows]]
        plain = _plain(self.body)
        if self.showing is None:
            return self.body.frame(own, plain), None
        start, end = np.searchsorted(self.members[self.showing], [rows.start, rows.stop])
        showing = self.showing[start:end]
        showing = showing[~left_out[showing]]
        shown = self.body.frame(showing, IMPERFECTION_COLUMNS)
        shown["examination"] = self.members[showing]
        shown["imp_rejectable"] = _rejectable(self.body, showing)
        return self.body.frame(own, plain), shown


def gather(body: Body) -> Rows:
    """Return the rows of a file by their natural key, and tell blank cells and keys that clash.

    Rows of one examination that differ only in the imperfection are its imperfections; such a row
    need not say again what another row of its examination says, and is filled in. Any other row
    that stands twice word for word is taken once.
    """
    examined = body.table.name == "examinations"
    if examined:
        rounds = body.columns["round"]
        rounds.values = rounds.values.fillna(0)
    groups = several(key_numbers(body))
    members = np.arange(len(body))
    members[groups.rows] = groups.rows[groups.first]
    shows = _shows(body) if examined else None
    if shows is not None:
        _fill_in(body, groups, shows[groups.rows])
    tell_missing(body)
    clashing = _tell_clashes(body, groups)
    repeated = groups.rows[groups.first != np.arange(len(groups.rows))]
    if shows is None:
        _note_doubles(body, repeated, clashing)
        return Rows(body, members, None)
    _note_doubles(body, repeated[~shows[repeated]], clashing)
    return Rows(body, members, _imperfections(body, groups, members, shows, clashing))


def key_numbers(body: Body) -> Numbers:
    """Return a number for the natural key of each row: equal keys, equal numbers.

    An examination that answers a request is known by the request; any other by its place.
    """
    asked = body.filled("request") if body.table.name == "examinations" else None

    def piece(name: str) -> Numbers:
        numbers = body.value_numbers(name)
        return np.where(asked, 0, numbers) if asked is not None and name in _PLACE else numbers

    return combined(map(piece, body.table.key))


def _plain(body: Body) -> list[str]:
    """Return the columns that all rows of one key share."""
    examined = body.table.name == "examinations"
    return [c for c in body.table.names if not examined or c not in IMPERFECTION_COLUMNS]


def _shows(body: Body) -> Mask:
    shows = np.zeros(len(body), dtype=bool)
    for name in IMPERFECTION_COLUMNS:
        shows |= body.filled(name)
    return shows


def _fill_in(body: Body, groups: Groups, shows: Mask) -> None:
    """Fill in what the row of an imperfection leaves blank from the rows of the same key."""
    if not shows.any():
        return
    order, nowhere = np.arange(len(groups.rows)), len(groups.rows)
    for name in _plain(body):
        there = body.filled(name, groups.rows)
        # Of each column the first cell that is filled in, whichever row it stands in.
        said = np.minimum.reduceat(np.where(there, order, nowhere), groups.starts)
        source = said[np.searchsorted(groups.starts, groups.first)]
        lacks = ~there & shows & (source < nowhere)
        if lacks.any():
            body.fill(name, groups.rows[lacks], groups.rows[source[lacks]])


def _tell_clashes(body: Body, groups: Groups) -> Mask:
    """Tell each content of a key that is another than its first, once; return their mask."""
    told = np.zeros(len(body), dtype=bool)
    if not len(groups.rows):
        return told
    names = _plain(body)
    said = {name: body.value_numbers(name, groups.rows) for name in names}
    content = combined([groups.first, *said.values()])
    new = np.zeros(len(content), dtype=bool)
    new[np.unique(content, return_index=True)[1]] = True
    again = np.flatnonzero(new & (groups.first != np.arange(len(content))))
    before = groups.first[again]
    different = np.array([said[name][again] != said[name][before] for name in names]).T
    rows = groups.rows[again]
    order = np.argsort(rows)
    reasons = [f"the same key stands in row {body.places[row]}" for row in groups.rows[before]]
    listed = [summary(np.array(names)[row]) for row in different]
    remedies = [f"with another {what}; keep one of them, or mend the key" for what in listed]
    body.tell(
        "TWICE", rows[order], None,
        [reasons[n] for n in order], [remedies[n] for n in order],
    )  # fmt: skip
    told[rows] = True
    return told


def _note_doubles(body: Body, doubles: Places, clashing: Mask) -> None:
    places = np.sort(body.places[doubles[~clashing[doubles]]])
    if len(places):
        rows = summary(map(str, places.tolist()))
        plural = "s" if len(places) > 1 else ""
        body.notes.append(f"{len(places)} row{plural} stood twice: row {rows}")


def _rejectable(body: Body, rows: Places) -> Any:
    """Return whether imperfections are beyond the level: on a rejected spot unless said not."""
    rejected = body.where("verdict", body.columns["verdict"].values == "reject", rows)
    said = body.values("imp_rejectable", rows)
    return said.fillna(pd.Series(rejected, said.index, dtype="boolean"))


def _imperfections(
    body: Body, groups: Groups, members: Places, shows: Mask, clashing: Mask
) -> Places:
    """Return the rows that show an imperfection, each imperfection of an examination once."""
    rows = groups.rows[shows[groups.rows]]
    said: list[npt.NDArray[Any]] = [
        body.value_numbers(name, rows) for name in IMPERFECTION_COLUMNS if name != "imp_rejectable"
    ]
    beyond = _rejectable(body, rows).astype("Int8").fillna(2).to_numpy("int64")
    content = combined([members[rows], beyond, *said])
    first = np.zeros(len(rows), dtype=bool)
    first[np.unique(content, return_index=True)[1]] = True
    _note_doubles(body, rows[~first], clashing)
    kept = shows.copy()
    kept[rows[~first]] = False
    showing = np.flatnonzero(kept)
    return showing[np.argsort(members[showing], kind="stable")]
