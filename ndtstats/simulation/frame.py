"""The frame of a plan as arrays, in the order in which each welder made it.

Cells, strata and probabilities are those that the planner makes; lots are those of the escalation.
A cell belongs to the welder under whose name it is drawn.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.escalation.lots import in_lots
from ndtstats.escalation.owed import fitting
from ndtstats.planning import Yard, frame_of_rules
from ndtstats.rules import Procedure, Rules, joints_under

#: What is looked at by eye or tested for leaks takes no exposure, and is another kind of finding.
_NOT_SHOT = ("VT", "LT")

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Frame:
    """The cells of a plan; all arrays are of shape (cells,) if nothing else is said.

    Attributes
    ----------
    cells : DataFrame
        ``joint``, ``rule``, ``method``, ``from_mm``, ``to_mm``, ``joint_mm``, in the order of
        welder, day, joint and place.
    welders : tuple of str
        All of the yard, in order; "" for work that nobody is known to have done.
    welder : ndarray of int
        Index into ``welders``; ascending.
    mm : ndarray
        Length of each cell.
    exposures : ndarray of int
        How many it takes.
    stratum : ndarray of int
        Stratum of each cell, numbered from 0.
    pi : ndarray
        Inclusion probability.
    walk : ndarray of int
        The cells in walking order, stratum by stratum.
    lot : ndarray of int
        Lot of each cell, numbered from 0; -1 where a reject sets nothing off.
    procedure : ndarray of int
        Index into ``procedures``, -1 where a reject sets nothing off.
    procedures : tuple of Procedure
        Those that the rules name, once for each method.
    welded_mm : ndarray
        What the welder had welded in all when the cell was done.
    method : {"pivotal", "systematic"}
        How chance draws.
    notes : tuple of str
        What the planner has to say.
    """

    cells: pd.DataFrame
    welders: tuple[str, ...]
    welder: Ints
    mm: Floats
    exposures: Ints
    stratum: Ints
    pi: Floats
    walk: Ints
    lot: Ints
    procedure: Ints
    procedures: tuple[Procedure, ...]
    welded_mm: Floats
    method: str
    notes: tuple[str, ...]

    @property
    def known(self) -> npt.NDArray[np.bool_]:
        """Which welders are people, shape (welders,)."""
        return np.array([name != "" for name in self.welders])

    @property
    def length_mm(self) -> Floats:
        """Weld length of each welder, by each method apart, shape (welders,)."""
        total: Floats = np.bincount(self.welder, self.mm, len(self.welders)).astype(np.float64)
        return total


def frame_of(yard: Yard, rules: Rules) -> Frame:
    """Return the frame of a plan for a yard.

    Parameters
    ----------
    yard : Yard
        What was welded.
    rules : Rules
        What to examine, and what a reject sets in motion.

    Raises
    ------
    UseError
        If no joint of the yard stands under the rules.

    Examples
    --------
    >>> from ndtstats.rules import load_rules
    >>> from ndtstats.simulation.yard import invented_setting
    >>> rules = load_rules("process-piping")
    >>> yard = invented_setting(rules, welders=2, joints_each=8, joint_mm=500.0).yard
    >>> frame = frame_of(yard, rules)
    >>> len(frame.cells), frame.welders, round(frame.pi.sum())
    (16, ('W1', 'W2'), 9)
    """
    shot = [rule for rule in rules.extent if rule.method not in _NOT_SHOT]
    if all(joints_under(yard.joints, rule).empty for rule in shot):
        kinds = ", ".join(sorted({name for rule in shot for name in rule.categories})) or "none"
        raise UseError(
            f'no joint to try the rules "{rules.title}" on: they are about categories {kinds}; the '
            f"joints are of {', '.join(sorted(yard.joints['category'].unique()))}"
        )
    found, notes = frame_of_rules(yard, rules)
    found = found[~found["method"].isin(_NOT_SHOT)]
    cells = found.assign(walked=np.arange(len(found)))
    cells = cells.assign(welder=cells["welder"].astype("str").fillna(""))
    cells = _timed(cells, yard.deposits)
    stratum, _ = pd.factorize(cells["rule"] + "|" + cells["stratum"])
    welders = sorted({*yard.deposits["welder"], *cells["welder"]})
    lot, procedure, procedures = _lots(cells, yard, rules)
    columns = ["joint", "rule", "method", "from_mm", "to_mm", "joint_mm"]
    return Frame(
        cells=cells[columns],
        welders=tuple(welders),
        welder=np.searchsorted(np.array(welders), cells["welder"].to_numpy(dtype=str)),
        mm=(cells["to_mm"] - cells["from_mm"]).to_numpy(float),
        exposures=cells["exposures"].to_numpy(dtype=np.int64),
        stratum=np.asarray(stratum, dtype=np.int64),
        pi=cells["pi"].to_numpy(float),
        walk=np.lexsort((cells["walked"], stratum)),
        lot=lot,
        procedure=procedure,
        procedures=procedures,
        welded_mm=_welded_mm(cells),
        method=rules.file.draw.method,
        notes=notes,
    )


def _timed(cells: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return cells in the order in which each welder made them, with the day (``welded``)."""
    begun = deposits.groupby(["joint", "welder"], as_index=False).agg(welded=("date", "min"))
    timed = cells.merge(begun, on=["joint", "welder"], how="left")
    order = timed.groupby("joint")["walked"].transform("min")
    return timed.assign(order=order).sort_values(
        ["welder", "welded", "order", "from_mm", "walked"], kind="stable", ignore_index=True
    )


def _welded_mm(cells: pd.DataFrame) -> Floats:
    """Return what each welder had welded in all when a cell was done.

    A joint that several methods look at was welded once.
    """
    keys = ["welder", "joint"]
    length = cells["to_mm"] - cells["from_mm"]
    within = length.groupby([cells[key] for key in [*keys, "method"]]).cumsum()
    of_joint = cells[keys].assign(mm=within).groupby(keys, sort=False, as_index=False)["mm"].max()
    before = of_joint.groupby("welder")["mm"].cumsum() - of_joint["mm"]
    at = cells[keys].merge(of_joint[keys].assign(before=before), on=keys, how="left")["before"]
    return np.asarray(at.to_numpy(float) + within.to_numpy(float), dtype=np.float64)


def _lots(
    cells: pd.DataFrame, yard: Yard, rules: Rules
) -> tuple[Ints, Ints, tuple[Procedure, ...]]:
    """Return lot and procedure of each cell, and the procedures."""
    of_joint = yard.joints.set_index("joint")[["category", "zone", "process", "procedure"]]
    known = cells[["joint", "from_mm", "to_mm", "welder", "welded"]]
    work = known.join(of_joint.astype("str"), on="joint")
    work = work.assign(welder=work["welder"].where(work["welder"] != "", "unknown"))
    judge = _judging(cells, yard.joints, rules)
    lot = np.full(len(cells), -1, dtype=np.int64)
    procedure = lot.copy()
    # What lies beside a reject is looked for on the whole joint, but by one method.
    followed_by: dict[tuple[str, Procedure], int] = {}
    for number, rule in enumerate(rules.extent):
        mine = np.flatnonzero(judge == number)
        followed = rules.procedure_of(rule)
        if len(mine) == 0 or followed is None:
            continue
        under = joints_under(yard.joints, rule)
        named = in_lots(work.iloc[mine], under, yard.deposits, rules, rule)["lot"]
        lot[mine] = pd.factorize(named)[0] + int(lot.max()) + 1
        kind = (rule.method, fitting(followed, rule))
        procedure[mine] = followed_by.setdefault(kind, len(followed_by))
    return lot, procedure, tuple(procedure for _, procedure in followed_by)


def _judging(cells: pd.DataFrame, joints: pd.DataFrame, rules: Rules) -> "pd.Series[int]":
    """Return by which rule's procedure a reject in each cell is judged, as its number.

    A reject at a crossing belongs to the lot of the weld it lies in, as where rejects are owed for.
    """
    judge = cells["rule"].map({rule.name: number for number, rule in enumerate(rules.extent)})
    crossing = [rule.name for rule in rules.extent if rule.places == "crossings"]
    at_crossing = cells["rule"].isin(crossing)
    for number, rule in enumerate(rules.extent):
        if rule.places == "elsewhere":
            within = cells["joint"].isin(joints_under(joints, rule)["joint"])
            judge = judge.mask(at_crossing & within & (cells["method"] == rule.method), number)
    return judge
