"""Extras beside a reject, on both sides, until sound weld: positions matter here.

The escalation decides what is owed. Work that hangs together (lots that share joints) and where the
same places were examined with the same results, in whatever replicate, owes the same and is decided
once.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from ndtstats.escalation.decide import decide
from ndtstats.escalation.items import SLIVER_MM
from ndtstats.rules import Procedure
from ndtstats.simulation.chance import blocks
from ndtstats.simulation.frame import Floats, Frame, Ints
from ndtstats.simulation.truth import Examined, Flags, Truth, among
from ndtstats.statistics import union_intervals

_DAY_0 = pd.Timestamp("2001-01-01")
#: Longer than any joint, so that joint and place make one number.
_FAR_MM = 1e8
#: Examinations that the escalation is given at once.
_ROWS_AT_ONCE = 200_000
_PLACE = ["joint", "low", "high", "step", "bad", "left_sound", "right_sound"]


@dataclass(frozen=True, slots=True)
class _Work:
    """The cells under one procedure in the order of joint and place, and what hangs together.

    ``cell`` is that of the frame; ``joint``, ``lot`` and ``part`` are numbers from 0, and a part
    is work whose lots share joints. ``stretches`` holds the weld of each lot on each joint.
    """

    frame: Frame
    procedure: Procedure
    cell: Ints
    joint: Ints
    lot: Ints
    part: Ints
    from_mm: Floats
    stretches: pd.DataFrame

    @property
    def parts(self) -> int:
        return int(self.part.max()) + 1

    def at(self, joint: Ints, mm: Floats) -> Ints:
        """Return in which of the cells places of joints lie, or the nearest one."""
        found = np.searchsorted(self.joint * _FAR_MM + self.from_mm, joint * _FAR_MM + mm, "right")
        return np.maximum(found - 1, np.searchsorted(self.joint, joint))


def extras_beside(
    frame: Frame, first: Examined, procedure: int, truth: Truth, rng: np.random.Generator
) -> Examined:
    """Return the extras and whole lots that follow from first examinations.

    Parameters
    ----------
    frame : Frame
        The plan.
    first : Examined
        First examinations.
    procedure : int
        Which of the frame's procedures; its ``where`` is "adjacent".
    truth : Truth
        Who is bad.
    rng : Generator
        What the places hold.

    Notes
    -----
    An extra belongs to the welder and the lot of the cell in which its middle lies. A whole lot is
    examined in pieces of the length of an extra. Imperfections are points, where a procedure asks
    how much sound weld an image shows beside them.
    """
    places = places_beside(frame, first, procedure, truth, rng)
    return _as_examined(frame, places[places["step"] > 0])


def places_beside(
    frame: Frame, first: Examined, procedure: int, truth: Truth, rng: np.random.Generator
) -> pd.DataFrame:
    """Return the places that :func:`extras_beside` is about, and the first ones they follow from.

    Parameters as for :func:`extras_beside`.

    Returns
    -------
    DataFrame
        ``replicate``, ``cell`` of the frame, ``low`` and ``high`` in mm, ``step`` (0: a first
        examination of work that has a reject), ``bad``, ``whole``, and other columns.
    """
    work = _work(frame, procedure)
    seen = _opened(work, first, truth, rng)
    found = [seen]
    while len(seen):
        owed = _owed(work, seen)
        if owed.empty:
            break
        found.append(_looked_at(work, owed, len(found), truth, rng))
        # Whoever owed nothing has nothing more to come.
        open_ = seen["key"].isin(found[-1]["key"])
        seen = pd.concat([seen[open_], found[-1]], ignore_index=True)
    return pd.concat(found, ignore_index=True)


def _work(frame: Frame, procedure: int) -> _Work:
    mine = np.flatnonzero(frame.procedure == procedure)
    cells = frame.cells.iloc[mine].assign(cell=mine)
    joint, _ = pd.factorize(cells["joint"])
    lot, _ = pd.factorize(frame.lot[mine])
    cells = cells.assign(joint=joint, lot=lot).sort_values(["joint", "from_mm"])
    joints = int(joint.max()) + 1
    size = joints + int(lot.max()) + 1
    links = coo_array((np.ones(len(joint)), (joint, lot + joints)), (size, size))
    part = connected_components(links, directed=False)[1].astype(np.int64)
    of_joint = cells.drop_duplicates("joint").set_index("joint")["joint_mm"]
    welds = union_intervals(cells["joint"] * size + cells["lot"], cells["from_mm"], cells["to_mm"])
    own, whose = np.divmod(welds["group"].to_numpy(dtype=np.int64), size)
    stretches = pd.DataFrame(
        {
            "part": part[own],
            "lot": whose,
            "joint": own,
            "from_mm": welds["start"],
            "to_mm": welds["end"],
            "length_mm": of_joint.loc[own].to_numpy(),
        }
    )
    return _Work(
        frame=frame,
        procedure=frame.procedures[procedure],
        cell=cells["cell"].to_numpy(dtype=np.int64),
        joint=cells["joint"].to_numpy(dtype=np.int64),
        lot=cells["lot"].to_numpy(dtype=np.int64),
        part=part[cells["joint"]],
        from_mm=cells["from_mm"].to_numpy(float),
        stretches=stretches,
    )


def _opened(work: _Work, first: Examined, truth: Truth, rng: np.random.Generator) -> pd.DataFrame:
    """Return the first examinations of all parts that have a reject among them."""
    place = np.full(len(work.frame.mm), -1, dtype=np.int64)
    place[work.cell] = np.arange(len(work.cell))
    mine = np.flatnonzero(place[first.cell] >= 0)
    key = first.replicate[mine] * work.parts + work.part[place[first.cell[mine]]]
    mine = mine[among(key, np.unique(key[first.bad[mine]]))]
    at = place[first.cell[mine]]
    low = work.from_mm[at]
    return _table(
        work, at, first.replicate[mine], low, low + first.mm[mine], first.bad[mine], truth, rng
    ).assign(step=0, whole=False)


def _looked_at(
    work: _Work, owed: pd.DataFrame, step: int, truth: Truth, rng: np.random.Generator
) -> pd.DataFrame:
    """Return what is owed as it was examined."""
    low, high = owed["low"].to_numpy(float), owed["high"].to_numpy(float)
    at = work.at(owed["joint"].to_numpy(), (low + high) / 2)
    replicate = owed["key"].to_numpy() // work.parts
    chance = truth.chance(replicate, work.frame.welder[work.cell[at]], high - low)
    bad = rng.random(len(owed)) < chance
    table = _table(work, at, replicate, low, high, bad, truth, rng)
    return table.assign(step=step, whole=owed["whole"].to_numpy())


def _table(
    work: _Work,
    at: Ints,
    replicate: Ints,
    low: Floats,
    high: Floats,
    bad: Flags,
    truth: Truth,
    rng: np.random.Generator,
) -> pd.DataFrame:
    left = right = np.zeros(len(at), dtype=bool)
    if work.procedure.sound_margin_mm is not None:
        per_mm = truth.per_mm(replicate, work.frame.welder[work.cell[at]])
        left, right = _sound(bad, high - low, per_mm, work.procedure.sound_margin_mm, rng)
    return pd.DataFrame(
        {
            "key": replicate * work.parts + work.part[at],
            "replicate": replicate,
            "cell": work.cell[at],
            "joint": work.joint[at],
            "lot": work.lot[at],
            "low": low,
            "high": high,
            "bad": bad,
            "left_sound": left,
            "right_sound": right,
        }
    )


def _sound(
    bad: Flags, mm: Floats, per_mm: Floats, margin_mm: float, rng: np.random.Generator
) -> tuple[Flags, Flags]:
    """Return whether images show enough sound weld left of the first and right of the last point.

    The points of a Poisson process, given that there is one or more: the first lies as an
    exponential cut off at the end of the image; the last is as far from the other end as another
    exponential says, or the first itself where nothing lies beyond.
    """
    left, right = np.zeros(len(bad), dtype=bool), np.zeros(len(bad), dtype=bool)
    length, rate = mm[bad], per_mm[bad]
    chance = -np.expm1(-rate * length)
    first = -np.log1p(-rng.random(len(length)) * chance) / rate
    beyond = rng.exponential(size=len(length)) / rate
    left[bad] = first >= margin_mm
    right[bad] = np.where(beyond < length - first, beyond, length - first) >= margin_mm
    return left, right


def _owed(work: _Work, seen: pd.DataFrame) -> pd.DataFrame:
    """Return the places that are owed: ``key``, ``joint``, ``low``, ``high``, ``whole``."""
    seen = seen.sort_values("key", kind="stable", ignore_index=True)
    begins = np.flatnonzero(np.diff(seen["key"], prepend=-1))
    # The order of the rows must not matter, so their digests are added up.
    digest = pd.util.hash_pandas_object(seen[_PLACE], index=False).to_numpy()
    _, example, like = np.unique(
        np.add.reduceat(digest, begins), return_index=True, return_inverse=True
    )
    size = np.diff(begins, append=len(seen))
    group = np.repeat(np.arange(len(begins)), size)
    rows = seen[np.isin(group, example)]
    number = np.empty(len(begins), dtype=np.int64)
    number[example] = np.arange(len(example))
    rows = rows.assign(history=number[group[rows.index]]).sort_values("history", kind="stable")
    decided = pd.concat(
        [
            _decided(work, rows[rows["history"].between(part.start, part.stop - 1)])
            for part in blocks(size[example], most=_ROWS_AT_ONCE)
        ],
        ignore_index=True,
    )
    groups = pd.DataFrame({"key": seen["key"].to_numpy()[begins], "history": like})
    return groups.merge(decided, on="history").drop(columns="history")


def _decided(work: _Work, rows: pd.DataFrame) -> pd.DataFrame:
    """Return what histories owe, by the escalation: ``history`` and places."""
    history = rows["history"].drop_duplicates().to_numpy()
    part = work.part[np.searchsorted(work.joint, rows.drop_duplicates("history")["joint"])]
    population = pd.DataFrame({"history": history, "part": part}).merge(work.stretches, on="part")
    # All is welded; nobody asks on which day.
    population = population.assign(
        lot=_name(population, "lot"), joint=_name(population, "joint"), welded=_DAY_0
    )
    items = decide(_examinations(work.procedure, rows), population, work.procedure)
    items = items[(items["count"] > 0) & items["places"].map(bool)]
    places = items[["what", "places"]].explode("places", ignore_index=True)
    table = pd.DataFrame(places["places"].tolist(), columns=["joint", "from_mm", "to_mm"])
    named = table["joint"].str.split(".", expand=True).reindex(columns=[0, 1]).astype("int64")
    told = pd.DataFrame(
        {
            "history": named[0],
            "joint": named[1],
            "low": table["from_mm"].astype("float64"),
            "high": table["to_mm"].astype("float64"),
            "whole": places["what"] == "whole lot",
        }
    )
    return _in_pieces(_each_once(told), work.procedure.spot_length_mm)


def _examinations(procedure: Procedure, rows: pd.DataFrame) -> pd.DataFrame:
    rows = rows.sort_values(["history", "step", "joint", "low"], ignore_index=True)
    sequence = rows.groupby("history").cumcount()
    margin = procedure.sound_margin_mm
    # Which side is sound is all that is asked of where the indications lie.
    more = np.nan if margin is None else margin + 1.0
    low, high = rows["low"], rows["high"]
    none = np.nan if margin is None else 0.0
    return pd.DataFrame(
        {
            "ref": rows["history"].astype("str") + "." + sequence.astype("str"),
            "lot": _name(rows, "lot"),
            "joint": _name(rows, "joint"),
            "from_mm": low,
            "to_mm": high,
            "rejected": rows["bad"],
            "bad_from_mm": low + np.where(rows["left_sound"], more, none),
            "bad_to_mm": high - np.where(rows["right_sound"], more, none),
            "date": _DAY_0 + pd.to_timedelta(rows["step"], unit="D"),
            "report": rows["step"].astype("str"),
            "sequence": sequence,
            "role": np.where(rows["step"] == 0, "initial", "extra"),
            "answers": "",
            "welded": pd.NaT,
        }
    )


def _name(rows: pd.DataFrame, column: str) -> "pd.Series[str]":
    return rows["history"].astype("str") + "." + rows[column].astype("str")


def _each_once(places: pd.DataFrame) -> pd.DataFrame:
    """Return places of which two rejects may ask for the same: no part of the weld twice."""
    ordered = places.sort_values(["history", "joint", "low"], ignore_index=True)
    joints = [ordered["history"], ordered["joint"]]
    reach = ordered["high"].groupby(joints).cummax().groupby(joints).shift()
    ordered = ordered.assign(low=np.fmax(ordered["low"], reach))
    return ordered[ordered["high"] - ordered["low"] >= SLIVER_MM]


def _in_pieces(places: pd.DataFrame, piece_mm: float) -> pd.DataFrame:
    """Return places with the long ones cut evenly."""
    length = (places["high"] - places["low"]).to_numpy()
    # A tape reads millimetres.
    number = np.maximum(np.ceil((length - 1.0) / piece_mm), 1).astype(np.int64)
    cut = places.loc[places.index.repeat(number)]
    nth = cut.groupby(level=0).cumcount().to_numpy()
    each = np.repeat(length / number, number)
    low = cut["low"].to_numpy() + nth * each
    return cut.assign(low=low, high=low + each).reset_index(drop=True)


def _as_examined(frame: Frame, table: pd.DataFrame) -> Examined:
    cell = table["cell"].to_numpy()
    mm = (table["high"] - table["low"]).to_numpy(float)
    shown = frame.mm[cell] / frame.exposures[cell]
    return Examined(
        replicate=table["replicate"].to_numpy(),
        cell=cell,
        mm=mm,
        exposures=np.maximum(np.ceil((mm - 1.0) / shown), 1).astype(np.int64),
        step=table["step"].to_numpy(),
        whole=table["whole"].to_numpy(bool),
        bad=table["bad"].to_numpy(bool),
    )
