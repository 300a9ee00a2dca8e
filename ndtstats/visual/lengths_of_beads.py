"""Beads of intermittent welds: how many are too short, and what length all but a few reach."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.register import Register
from ndtstats.statistics import lower_limit, normal_lower_limit, share_below
from ndtstats.statistics.tolerance import order_for_limit

_OF_JOINT = ["joint", "length_mm", "bead_length_mm", "bead_end_mm", "thickness_mm"]


#: A fillet shorter than so many thicknesses of the thinner part carries no load: EN 1999, edition
#: not noted; seen.
STUB = 8


@dataclass(frozen=True, slots=True)
class Beads:
    """Measured beads against what the drawings specify.

    Parameters
    ----------
    table : DataFrame
        A row for each length specified, the greatest share below it first: ``specified_mm``,
        ``measured`` beads on so many ``joints``, ``below`` with ``share`` and its exact bounds
        ``lower`` and ``upper``; ``shortest_mm``; ``limit_mm``, the length that a share of all beads
        reach whatever their distribution (missing where too few were measured), and
        ``normal_limit_mm``, the same if lengths are normally distributed.
    total : Series
        The same of all together, lengths as a difference from what is specified.
    share, confidence : float
        Of the tolerance limits.
    level : float
        Of the bounds.
    remarks : tuple of str
        What has to be known to read it rightly.
    """

    table: pd.DataFrame
    total: "pd.Series[float]"
    share: float
    confidence: float
    level: float
    remarks: tuple[str, ...]


def beads_of(
    register: Register,
    *,
    job: str,
    joints: Sequence[str] | None = None,
    share: float = 0.95,
    confidence: float = 0.95,
    level: float = 0.95,
    as_of: datetime | None = None,
) -> Beads:
    """Return how the measured beads of a job compare with the lengths specified.

    Parameters
    ----------
    job : str
        The job.
    joints : sequence of str, optional
        Only beads of these joints.
    share, confidence : float
        Of the one-sided tolerance limit: this share of all beads is longer, with this confidence.
    level : float
        Of the bounds on the share below.
    as_of : datetime, optional
        What was known then.

    Raises
    ------
    UseError
        If no bead with a length specified was measured, or share, confidence or level make no
        sense.

    Notes
    -----
    A bead beyond which no further one fits is held against ``bead_end_mm`` where the joint states
    it, all others against ``bead_length_mm`` (:func:`ndtstats.visual.pattern.in_place` tells them
    apart alike). Share below: Clopper & Pearson 1934.
    Limits: Wilks 1941 and, if normal, ISO 16269-6 (:mod:`ndtstats.statistics.tolerance`).
    """
    measured = _measured(register, job, as_of)
    if joints is not None:
        measured = measured[measured["joint"].isin(joints)]
    known = measured["specified_mm"].notna()
    beads = measured[known]
    if beads.empty:
        raise UseError(
            f"job {job} has no measured bead on a joint with bead_length_mm; load the table beads, "
            "and bead_length_mm with the joints"
        )
    how = {"share": share, "confidence": confidence}
    rows = [
        {"specified_mm": length}
        | _of_some(part["length_mm"].to_numpy(float), part, length, level, how)
        for length, part in _by_length(beads)
    ]
    over = (beads["length_mm"] - beads["specified_mm"]).to_numpy(float)
    total = pd.Series(_of_some(over, beads, 0.0, level, how))
    table = pd.DataFrame(rows).sort_values("share", ascending=False, kind="stable")
    remarks = _remarks(int((~known).sum()), beads)
    return Beads(table.reset_index(drop=True), total, share, confidence, level, remarks)


def _measured(register: Register, job: str, as_of: datetime | None) -> pd.DataFrame:
    """Return each measured bead with the length that is specified for it."""
    beads = register.table(
        "beads", job=job, as_of=as_of, columns=["joint", "side", "from_mm", "length_mm"]
    )
    joints = register.table("joints", job=job, as_of=as_of, columns=_OF_JOINT)[_OF_JOINT]
    both = beads.merge(joints, on="joint", how="left", suffixes=("", "_of_joint"))
    place = both.groupby(["joint", "side"])["from_mm"]
    left = both["length_mm_of_joint"] - both["from_mm"] - both["length_mm"]
    # Where the first or last bead is missing, the outermost that was measured is no end.
    first = (both["from_mm"] == place.transform("min")) & (
        both["from_mm"] <= both["bead_length_mm"]
    )
    last = (both["from_mm"] == place.transform("max")) & (left <= both["bead_length_mm"])
    own = both["bead_end_mm"].where(first | last)
    return both.assign(specified_mm=own.fillna(both["bead_length_mm"]))


def _by_length(beads: pd.DataFrame) -> list[tuple[float, pd.DataFrame]]:
    # As many lengths as drawings specify: a loop over them is short.
    lengths = sorted(beads["specified_mm"].unique().tolist())
    return [(length, beads[beads["specified_mm"] == length]) for length in lengths]


def _of_some(
    lengths: npt.NDArray[np.float64],
    beads: pd.DataFrame,
    specified: float,
    level: float,
    how: dict[str, float],
) -> dict[str, float]:
    """Return what the lengths of some beads say, against the length specified."""
    found = share_below(lengths, specified, level=level)
    enough = order_for_limit(found.measured, how["share"], how["confidence"]) > 0
    return {
        "measured": found.measured, "joints": beads["joint"].nunique(), "below": found.below,
        "share": found.below / found.measured, "lower": found.lower, "upper": found.upper,
        "shortest_mm": float(lengths.min()),
        "limit_mm": lower_limit(lengths, **how) if enough else np.nan,
        "normal_limit_mm": normal_lower_limit(lengths, **how) if len(lengths) > 1 else np.nan,
    }  # fmt: skip


def _remarks(without: int, beads: pd.DataFrame) -> tuple[str, ...]:
    remarks = [
        "This describes the beads that were measured; it speaks of others only if nobody chose "
        "which to measure."
    ]
    joints = beads["joint"].nunique()
    if len(beads) > joints:
        remarks.append(
            f"The {len(beads):,} beads lie on {joints:,} joint{'' if joints == 1 else 's'}; beads "
            "of a joint have their welder in common, for which these bounds do not allow."
        )
    if without:
        them = "1 bead is" if without == 1 else f"{without:,} beads are"
        remarks.append(f"{them} left out because the joint has no bead_length_mm.")
    stubs = int((beads["length_mm"] < STUB * beads["thickness_mm"]).sum())
    if stubs:
        them = "1 bead is" if stubs == 1 else f"{stubs:,} beads are"
        remarks.append(
            f"{them} shorter than {STUB} times the thickness of the joint; EN 1999 takes a fillet "
            "so short to carry no load (seen, edition not noted)."
        )
    return tuple(remarks)


def beads_sentence(result: Beads) -> str:
    """Return the conclusion: the share below, and what all but a few reach."""
    total = result.total
    joints = f"{total['joints']:,.0f} joint{'' if total['joints'] == 1 else 's'}"
    below = (
        f"{total['below']:,.0f} of {total['measured']:,.0f} beads measured on {joints} are shorter "
        f"than specified, {_percent(total['share'])} ({100 * result.level:g} % bounds "
        f"{_percent(total['lower'])} and {_percent(total['upper'])})."
    )
    most = f"{100 * result.share:g} % of such beads"
    sure = f"With {100 * result.confidence:g} % confidence"
    over = float(total["limit_mm"])
    if np.isnan(over):
        return f"{below} Too few were measured for a limit that {most} reach."
    if over < 0:
        return f"{below} {sure}, {most} are no more than {-over:.3g} mm short."
    return f"{below} {sure}, {most} are at least {over:.3g} mm longer than specified."


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"
