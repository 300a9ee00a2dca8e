"""Yards whose truth is known to the last cell: welders, joints and places that differ, and a plan.

Rejectable imperfections lie in each cell at a rate of its welder, of its joint, and of what the
rules say of the place, so that risk and rate go together; spots of one joint go together too.
"""

from dataclasses import dataclass, replace

import numpy as np

from ndtstats.planning import Yard, frame_of_rules
from ndtstats.rules import load_rules
from ndtstats.simulation.chance import SURE, draw_as_planned
from ndtstats.simulation.frame import Floats, Frame, Ints, frame_of
from ndtstats.simulation.lots import extras_in_lots
from ndtstats.simulation.truth import Examined, Flags, Truth
from ndtstats.simulation.yard import invented_setting

#: Shapes of the gamma distributions of welders' and of joints' rates about their mean: common
#: practice, no source. At 2 a tenth lie below 0.27 times the mean, a tenth above 1.9 times.
SHAPE_OF_WELDERS, SHAPE_OF_JOINTS = 2.0, 2.0
#: Rejectable imperfections per metre over all: about one place of 300 mm in thirty.
PER_METRE = 0.1


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan for an invented yard; arrays are of shape (cells,).

    Attributes
    ----------
    frame : Frame
        Cells, strata and probabilities as the planner makes them.
    factor : ndarray
        What the rules say of the likelihood of each cell, over the mean by length.
    joint : ndarray of int
        Joint of each cell, numbered from 0.
    counts : ndarray of bool
        Cells that rates speak of: of the method, and such as chance or rule can reach.
    """

    frame: Frame
    factor: Floats
    joint: Ints
    counts: Flags


@dataclass(frozen=True, slots=True)
class Yards:
    """Many yards under one plan.

    Attributes
    ----------
    planned : Planned
        The plan.
    mean : ndarray, shape (yards, cells)
        Rejectable imperfections expected of each cell's welder at such a place.
    count : ndarray of int, shape (yards, cells)
        Rejectable imperfections that are there.
    drawn : ndarray of bool, shape (yards, cells)
        First examinations by rule and by chance.
    """

    planned: Planned
    mean: Floats
    count: Ints
    drawn: Flags

    @property
    def bad(self) -> Flags:
        """Which cells hold a rejectable imperfection."""
        return np.asarray(self.count > 0)

    @property
    def chance_bad(self) -> Floats:
        """Chance of each cell to hold one, given its welder and place, over all joints.

        A Poisson count whose mean is gamma distributed is negative binomial.
        """
        exponent = -SHAPE_OF_JOINTS * np.log1p(self.mean / SHAPE_OF_JOINTS)
        return np.asarray(-np.expm1(exponent), float)


def plan_yard(
    preset: str,
    *,
    method: str,
    welders: int,
    joints_each: int,
    joint_mm: float,
    category: str | None = None,
) -> Planned:
    """Return the plan of a rules preset for an invented yard.

    Parameters
    ----------
    preset : str
        Name of the rules.
    method : str
        Method that rates speak of.
    welders, joints_each, joint_mm
        As for :func:`ndtstats.simulation.invented_setting`.
    category : str, optional
        Only joints of this category, of those that come by turns.

    Examples
    --------
    >>> planned = plan_yard("process-piping", method="RT", welders=2, joints_each=8,
    ...                     joint_mm=500.0)
    >>> len(planned.factor), int(planned.counts.sum())
    (16, 12)
    """
    rules = load_rules(preset)
    setting = invented_setting(rules, welders=welders, joints_each=joints_each, joint_mm=joint_mm)
    yard = setting.yard if category is None else _of_category(setting.yard, category)
    frame = frame_of(yard, rules)
    stated, _ = frame_of_rules(yard, rules)
    keys = ["rule", "joint", "from_mm"]
    told = stated.set_index(keys)["stated"].reindex(frame.cells.set_index(keys).index).to_numpy()
    _, joint = np.unique(frame.cells["joint"], return_inverse=True)
    return Planned(
        frame=frame,
        factor=told / np.average(told, weights=frame.mm),
        joint=joint,
        counts=(frame.cells["method"] == method).to_numpy() & (frame.pi > SURE),
    )


def _of_category(yard: Yard, category: str) -> Yard:
    joints = yard.joints[yard.joints["category"] == category].reset_index(drop=True)
    made = yard.deposits["joint"].isin(joints["joint"])
    return replace(yard, joints=joints, deposits=yard.deposits[made].reset_index(drop=True))


def make_yards(planned: Planned, yards: int, rng: np.random.Generator) -> Yards:
    """Return yards under a plan, with welders, joints, imperfections and draw of their own.

    Examples
    --------
    >>> planned = plan_yard("process-piping", method="RT", welders=2, joints_each=8,
    ...                     joint_mm=500.0)
    >>> made = make_yards(planned, 3, np.random.default_rng(1))
    >>> made.count.shape, made.drawn.sum(axis=1).tolist()
    ((3, 16), [9, 9, 9])
    """
    frame = planned.frame
    of_welder = rng.gamma(SHAPE_OF_WELDERS, 1 / SHAPE_OF_WELDERS, (yards, len(frame.welders)))
    number = int(planned.joint.max()) + 1
    of_joint = rng.gamma(SHAPE_OF_JOINTS, 1 / SHAPE_OF_JOINTS, (yards, number))
    mean = of_welder[:, frame.welder] * (PER_METRE * frame.mm / 1000 * planned.factor)
    drawn = np.zeros(mean.shape, dtype=bool)
    drawn[tuple(draw_as_planned(frame, yards, rng))] = True
    return Yards(planned, mean, rng.poisson(mean * of_joint[:, planned.joint]), drawn)


def with_targeted(yards: Yards, share: float, rng: np.random.Generator) -> Flags:
    """Return first examinations and so many more, where the stated risk is greatest.

    Parameters
    ----------
    yards : Yards
        The yards.
    share : float
        How many more, as a share of what rule and chance examine.
    rng : Generator
        Chooses among places of equal risk.
    """
    planned = yards.planned
    risk = planned.factor * planned.frame.mm * (1 + 1e-6 * rng.random(yards.drawn.shape))
    risk[yards.drawn | ~planned.counts] = -1.0
    number = max(round(share * float(planned.frame.pi[planned.counts].sum())), 1)
    aimed = np.argpartition(-risk, number, axis=1)[:, :number]
    both = yards.drawn.copy()
    np.put_along_axis(both, aimed, values=True, axis=1)
    return both


def with_extras(yards: Yards, rng: np.random.Generator) -> Flags:
    """Return first examinations and all that the escalation asks for, lots completed included.

    The truth is laid down beforehand, so extras find what is there. Procedures whose extras lie
    beside a reject are left out.
    """
    frame = yards.planned.frame
    # A cell of its own "welder": what an extra finds is then asked of the cell.
    each = replace(frame, welder=np.arange(len(frame.mm)))
    truth = _LaidDown(yards.bad, 0.0, 0.0, 1.0)
    replicate, cell = np.nonzero(yards.drawn)
    first = Examined(
        replicate=replicate,
        cell=cell,
        mm=frame.mm[cell],
        exposures=frame.exposures[cell],
        step=np.zeros(len(cell), dtype=np.int64),
        whole=np.zeros(len(cell), dtype=bool),
        bad=yards.bad[replicate, cell],
    )
    seen = yards.drawn.copy()
    for number, procedure in enumerate(frame.procedures):
        if procedure.where == "lot":
            extra = extras_in_lots(each, first, number, truth, rng)
            seen[extra.replicate, extra.cell] = True
    return seen


class _LaidDown(Truth):
    """A truth in which each cell is bad or not: ``is_bad`` is of shape (yards, cells)."""

    def chance(self, replicate: Ints, welder: Ints, mm: Floats) -> Floats:  # noqa: ARG002
        return np.asarray(self.is_bad[replicate, welder], dtype=float)
