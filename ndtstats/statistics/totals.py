"""Totals from spots drawn with known, unequal probabilities, and how sure they are.

The rates of a job weigh its spots in the same way (:mod:`ndtstats.statistics.survey`); what is here
shows on published samples that the weighting and its variances are right, and serves whoever wants
a total, such as of rejectable length in a structure.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError

_Floats = npt.NDArray[np.float64]
Variance = Literal["yates-grundy", "horvitz-thompson", "brewer", "with-replacement"]


@dataclass(frozen=True, slots=True)
class Total:
    """An estimated total.

    Attributes
    ----------
    value, standard_error : float
        In the unit of what was measured; the error is missing if its variance came out negative.
    n : int
        Spots.
    method : str
        How total and variance were reckoned.
    """

    value: float
    standard_error: float
    n: int
    method: str


def horvitz_thompson(
    y: Any, pi: Any, *, joint: Any = None, variance: Variance | None = None
) -> Total:
    """Return the total over all cells of a frame, from those that were drawn.

    Parameters
    ----------
    y : array_like of shape (n,)
        What was measured in each cell drawn.
    pi : array_like of shape (n,)
        Its inclusion probability, above 0.
    joint : array_like of shape (n, n), optional
        Probability that two cells are drawn together, ``pi`` on the diagonal.
    variance : optional
        With joint probabilities "yates-grundy" (default) or "horvitz-thompson"; without them
        "brewer" (default), or "with-replacement", which errs on the wide side.

    Raises
    ------
    UseError
        If a probability is impossible, or the variance needs joint probabilities.

    Notes
    -----
    Horvitz & Thompson 1952; Yates & Grundy 1953; Brewer & Hanif 1983 (the approximation for draws
    of fixed size and high entropy, from memory). The Horvitz-Thompson variance can be negative.
    Checked against the R package survey on a sample of 40 counties (Lumley, seen), and by
    enumerating all samples of four supermarkets (Lohr, Sampling, ch. 6, from memory).

    Examples
    --------
    >>> total = horvitz_thompson([11, 20], [0.19, 0.3705], joint=[[0.19, 0.0173], [0.0173, 0.3705]])
    >>> round(total.value, 1)
    111.9
    """
    values, p = np.asarray(y, float), np.asarray(pi, float)
    if not np.all((p > 0) & (p <= 1)):
        raise UseError("an inclusion probability must lie above 0 and be at most 1")
    how = variance or ("brewer" if joint is None else "yates-grundy")
    weighed = values / p
    if how in {"yates-grundy", "horvitz-thompson"}:
        if joint is None:
            raise UseError(
                f'the variance "{how}" needs joint probabilities; leave it out for "brewer"'
            )
        squared = _joint_variance(weighed, p, np.asarray(joint, float), how)
    else:
        squared = _simple_variance(weighed, p if how == "brewer" else np.zeros(len(p)))
    error = float(np.sqrt(squared)) if squared >= 0 else float("nan")
    return Total(float(weighed.sum()), error, len(values), f"Horvitz-Thompson, {how} variance")


def hansen_hurwitz(y: Any, psi: Any) -> Total:
    """Return the total from a draw with replacement.

    Parameters
    ----------
    y : array_like of shape (n,)
        What was measured, once for each time a cell was drawn.
    psi : array_like of shape (n,)
        Probability of its cell in one draw.

    Notes
    -----
    Hansen & Hurwitz 1943. Checked against an audit of 25 accounts (Lohr, Sampling, ch. 6; data
    seen, figures from memory).

    Examples
    --------
    >>> hansen_hurwitz([6.0, 8.0], [0.3, 0.4]).standard_error
    0.0
    """
    each = np.asarray(y, float) / np.asarray(psi, float)
    error = float(each.std(ddof=1) / np.sqrt(len(each)))
    return Total(float(each.mean()), error, len(each), "Hansen-Hurwitz")


def hartley_rao_joint(pi: Any, sum_of_squares: float | None = None) -> _Floats:
    """Return about how likely cells are drawn together, from their own probabilities.

    Parameters
    ----------
    pi : array_like of shape (n,)
        Inclusion probabilities of the cells drawn, n of them.
    sum_of_squares : float, optional
        Sum of pi² over the whole frame; if left out, the sum of pi over the cells drawn stands in
        for it.

    Notes
    -----
    Hartley & Rao 1962, for systematic draws from a random order:
    pi_i pi_j (n - 1) / (n - pi_i - pi_j + sum of pi² / n), from memory. Checked against the R
    package survey.

    Examples
    --------
    >>> hartley_rao_joint([0.5, 0.5], 1.0).round(3).tolist()
    [[0.5, 0.167], [0.167, 0.5]]
    """
    p = np.asarray(pi, float)
    n = len(p)
    squares = p.sum() if sum_of_squares is None else sum_of_squares
    joint = np.outer(p, p) * (n - 1) / (n - p[:, None] - p + squares / n)
    joint[np.diag_indices(n)] = p
    return np.asarray(joint)


def _joint_variance(weighed: _Floats, p: _Floats, joint: _Floats, how: str) -> float:
    apart = np.outer(p, p)
    if how == "horvitz-thompson":
        return float(((joint - apart) / joint * np.outer(weighed, weighed)).sum())
    return float(0.5 * ((apart - joint) / joint * (weighed[:, None] - weighed) ** 2).sum())


def _simple_variance(weighed: _Floats, p: _Floats) -> float:
    n = len(weighed)
    spread = (1 - p) * (weighed - weighed.mean()) ** 2
    return float(n / (n - 1) * spread.sum()) if n > 1 else float("nan")
