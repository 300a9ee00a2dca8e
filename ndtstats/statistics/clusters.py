"""How much spots of one joint go together, and what that leaves of their number.

Spots of a joint have its welder, its procedure and its fit-up in common. If one of them is bad the
others are likelier to be, so that ten spots of five joints tell less than ten of ten.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError

_Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Clustering:
    """How much the spots of a joint go together.

    Parameters
    ----------
    correlation : float
        Of two spots of one joint, within the groups; NaN where nothing tells of it.
    several : int
        Joints with more than one spot of a group.
    groups : DataFrame
        A row a group, by name: ``spots``, ``joints``, ``size`` (mean number of spots on the joint
        of a spot) and ``design_effect``, 1 or more.
    """

    correlation: float
    several: int
    groups: pd.DataFrame

    @property
    def design_effect(self) -> float:
        """Over all spots: how many times more there are than they are worth."""
        spots = self.groups["spots"]
        return float(spots.sum() / (spots / self.groups["design_effect"]).sum())


def joint_clustering(rejected: Any, joint: Any, group: Any) -> Clustering:
    """Return the correlation of spots of a joint, and the design effect of each group.

    Parameters
    ----------
    rejected : array_like of bool, shape (n,)
        Of each spot.
    joint : array_like of shape (n,)
        On which it lies.
    group : array_like of shape (n,)
        What is compared, such as the welder; spots of a joint in two groups are two clusters.

    Raises
    ------
    UseError
        If the arrays are of unequal length.

    Notes
    -----
    The correlation is that of the analysis of variance of joints within groups, common to all
    groups, since one welder has too few rejects to tell his own (Donner 1986, Int. Stat. Rev.
    54:67; for zeros and ones Ridout, Demétrio & Firth 1999, Biometrics 55:137, both from memory).
    A group of n spots is worth n / (1 + (m - 1) x correlation), with m = sum of squared numbers of
    spots of its joints / n (Kish 1965, Survey Sampling, 8.2; Rao & Scott 1992, Biometrics 48:577,
    who divide counts by it, both from memory). A correlation below 0 is chance and counts as 0.
    Checked by hand on the litters of Weil 1970 and against joints of known correlation.

    Examples
    --------
    >>> found = joint_clustering([1, 1, 0, 0, 0, 0], ["a", "a", "b", "b", "c", "c"], ["K7"] * 6)
    >>> round(found.correlation, 3), round(found.design_effect, 3)
    (1.0, 2.0)
    """
    y, labels, names = np.asarray(rejected, float), np.asarray(joint), np.asarray(group)
    if not len(y) == len(labels) == len(names):
        raise UseError(
            f"{len(y)} verdicts, {len(labels)} joints and {len(names)} groups were given"
        )
    rows = pd.DataFrame({"y": y, "joint": labels, "group": names})
    joints = rows.groupby(["group", "joint"], dropna=False)["y"].agg(["sum", "size"])
    of_group = joints.groupby(level="group", dropna=False)
    k, m = joints["sum"].to_numpy(float), joints["size"].to_numpy(float)
    spots = of_group["size"].sum()
    number = np.asarray(of_group.ngroup(), np.int64)
    size = pd.Series(np.bincount(number, m**2), spots.index) / spots
    correlation = _correlation(k, m, number)
    effect = 1 + (size - 1) * max(np.nan_to_num(correlation), 0.0)
    groups = pd.DataFrame(
        {"spots": spots, "joints": of_group.size(), "size": size, "design_effect": effect}
    )
    return Clustering(correlation, int((m > 1).sum()), groups)


def _correlation(k: _Floats, m: _Floats, group: npt.NDArray[np.int64]) -> float:
    """Return the intraclass correlation of zeros and ones, of joints within groups."""
    n, rejected = np.bincount(group, m), np.bincount(group, k)
    between_free = len(m) - len(n)
    within_free = float(m.sum()) - len(m)
    if between_free <= 0 or within_free <= 0:
        return float("nan")
    within = float((k * (m - k) / m).sum()) / within_free
    between = float((k**2 / m).sum() - (rejected**2 / n).sum()) / between_free
    usual = float(n.sum() - (np.bincount(group, m**2) / n).sum()) / between_free
    total = between + (usual - 1) * within
    return (between - within) / total if total > 0 else float("nan")
