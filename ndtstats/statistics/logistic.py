"""Logistic regression on grouped counts, for expected rejects and for probability of detection.

Newton's method on the binomial likelihood (McCullagh & Nelder 1989, Generalized Linear Models,
ch. 4, from memory). Counts by group give the coefficients and errors of one row for each spot, at a
small part of the work.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError

_Floats = npt.NDArray[np.float64]

_MOST_STEPS = 100
#: The fit is done when a step moves no linear predictor by more.
_STILL = 1e-11
#: A likelihood so much smaller, relatively, is not smaller.
_ROUNDING = 1e-10
#: A sum above this means that a direction without end was found.
_ABOVE_NOTHING = 1e-7


@dataclass(frozen=True, slots=True)
class LogisticFit:
    """A fitted logistic model of p coefficients.

    Parameters
    ----------
    coefficients : ndarray of shape (p,)
        Logarithms of odds ratios.
    covariance : ndarray of shape (p, p)
        Inverse of the information at the fit.
    probability : ndarray of shape (n,)
        Fitted probability of each row.
    deviance : float
        Twice the log-likelihood lost against one parameter for each row.
    degrees_of_freedom : int
        Rows with any trials, less coefficients.
    """

    coefficients: _Floats
    covariance: _Floats
    probability: _Floats
    deviance: float
    degrees_of_freedom: int


def fit_logistic(
    design: Any, successes: Any, trials: Any, *, offset: Any = 0.0, firth: bool = False
) -> LogisticFit:
    """Return the logistic model of counts, fitted by maximum (penalised) likelihood.

    Parameters
    ----------
    design : array_like of shape (n, p)
        Regressors of full column rank, with a column of ones for the intercept.
    successes, trials : array_like of shape (n,)
        Counts of each row, 0 <= successes <= trials.
    offset : array_like of shape (n,)
        Added to the linear predictor with coefficient 1.
    firth : bool
        Penalise with Jeffreys' prior, which is finite even under separation (Firth 1993,
        Biometrika 80:27; Heinze & Schemper 2002, Stat. Med. 21:2409).

    Raises
    ------
    UseError
        If the likelihood has no maximum: see :func:`is_separated`.

    Notes
    -----
    Checked against statsmodels' binomial GLM and the budworm fit of Venables & Ripley (MASS,
    ch. 7); with ``firth``, against the closed form of a saturated model, one half added to each
    cell, and against a general maximiser of the penalised likelihood.

    Examples
    --------
    >>> fit = fit_logistic([[1, 0], [1, 1]], [2, 6], [10, 10])
    >>> fit.probability.round(6).tolist()
    [0.2, 0.6]
    """
    x, y, n = (np.asarray(part, float) for part in (design, successes, trials))
    shift = np.broadcast_to(np.asarray(offset, float), n.shape)
    if not firth and is_separated(x, y, n):
        raise UseError("what was found parts the trials without overlap; no finite curve fits")
    return maximum(x, y, n, shift, firth=firth)


def maximum(
    x: _Floats, y: _Floats, n: _Floats, shift: _Floats, *, firth: bool = False
) -> LogisticFit:
    """Return what :func:`fit_logistic` does, for those who know that there is a maximum.

    Checked with it: against statsmodels, and R's glm on the budworms.

    Examples
    --------
    >>> maximum(np.ones((2, 1)), np.array([1.0, 3.0]), np.full(2, 5.0), np.zeros(2)).deviance > 0
    True
    """
    beta = np.zeros(x.shape[1])
    likelihood = _likelihood(x, y, n, shift, beta, firth)
    for _ in range(_MOST_STEPS):
        step = _step(x, y, n, shift, beta, firth)
        reach = float(np.max(np.abs(x @ step), initial=0.0))
        if reach < _STILL:
            return _fitted(x, y, n, shift, beta + step)
        # Far from the maximum a full step can overshoot; one that makes things worse is halved. The
        # penalty is not in the information, so that full steps could swing about it for ever.
        share, least = 0.5 if firth else 1.0, likelihood - abs(likelihood) * _ROUNDING
        after = _likelihood(x, y, n, shift, beta + share * step, firth)
        while not after >= least and share > _STILL:
            share /= 2
            after = _likelihood(x, y, n, shift, beta + share * step, firth)
        beta, likelihood = beta + share * step, after
    raise UseError("the logistic model does not settle; leave out a factor with few data")


def _likelihood(
    x: _Floats, y: _Floats, n: _Floats, shift: _Floats, beta: _Floats, firth: bool
) -> float:
    """Return the logarithm of the likelihood, with Firth's penalty if asked."""
    from scipy import special  # noqa: PLC0415  (slow to import)

    eta = x @ beta + shift
    known = float(y @ special.log_expit(eta) + (n - y) @ special.log_expit(-eta))
    if not firth:
        return known
    p = special.expit(eta)
    return known + float(np.linalg.slogdet(x.T @ ((n * p * (1 - p))[:, None] * x))[1]) / 2


def _step(
    x: _Floats, y: _Floats, n: _Floats, shift: _Floats, beta: _Floats, firth: bool
) -> _Floats:
    from scipy import special  # noqa: PLC0415  (slow to import)

    p = special.expit(x @ beta + shift)
    weight = n * p * (1 - p)
    information = x.T @ (weight[:, None] * x)
    score = y - n * p
    if firth:
        leverage = weight * np.einsum("ij,ij->i", x, np.linalg.solve(information, x.T).T)
        score = score + leverage * (0.5 - p)
    return np.asarray(np.linalg.solve(information, x.T @ score), float)


def _fitted(x: _Floats, y: _Floats, n: _Floats, shift: _Floats, beta: _Floats) -> LogisticFit:
    from scipy import special  # noqa: PLC0415  (slow to import)

    p = special.expit(x @ beta + shift)
    information = x.T @ ((n * p * (1 - p))[:, None] * x)
    lost = special.xlogy(y, y) - special.xlogy(y, n * p)
    lost += special.xlogy(n - y, n - y) - special.xlogy(n - y, n * (1 - p))
    return LogisticFit(
        coefficients=beta,
        covariance=np.asarray(np.linalg.inv(information), float),
        probability=np.asarray(p, float),
        deviance=float(2 * lost.sum()),
        degrees_of_freedom=int(np.count_nonzero(n)) - x.shape[1],
    )


def is_separated(design: Any, successes: Any, trials: Any) -> bool:
    """Return whether some direction of the coefficients never makes the data less likely.

    Then the likelihood has no maximum: a factor level with no reject at all is the usual case.
    Found by linear programming (Albert & Anderson 1984, Biometrika 71:1; Konis 2007, thesis,
    Oxford, from memory). Checked by hand for one regressor.

    Examples
    --------
    >>> is_separated([[1, 0], [1, 1]], [0, 3], [10, 10])
    True
    """
    x, y, n = (np.asarray(part, float) for part in (design, successes, trials))
    none, every = (y == 0) & (n > 0), (y == n) & (n > 0)
    mixed = (n > 0) & ~none & ~every
    if not bool(np.any(none | every)):
        return False
    if _has_maximum(x[n > 0], y[n > 0], n[n > 0]):
        return False
    from scipy.optimize import linprog  # noqa: PLC0415  (slow to import)

    towards = np.concatenate([-x[none], x[every]])
    found = linprog(
        -towards.sum(axis=0),
        A_ub=-towards,
        b_ub=np.zeros(len(towards)),
        A_eq=x[mixed] if bool(mixed.any()) else None,
        b_eq=np.zeros(int(mixed.sum())) if bool(mixed.any()) else None,
        bounds=(-1, 1),
    )
    return bool((towards @ found.x).sum() > _ABOVE_NOTHING)


def _has_maximum(x: _Floats, y: _Floats, n: _Floats) -> bool:
    """Return whether a point proves that the likelihood has a maximum; if not, it may have one.

    Along a direction that never makes the data less likely, only rows move in which all turned out
    one way, each towards that. The slope is then at least the sum of how far each moves times what
    it still lacks, n times the probability of the other way. Where it is less than the least such
    sum, by the smallest singular value of the rows, there is no such direction.
    """
    try:
        with np.errstate(all="ignore"):
            p = maximum(x, y, n, np.zeros(len(n))).probability
    except (UseError, np.linalg.LinAlgError):
        return False
    lacks = np.where(y == 0, n * p, np.where(y == n, n * (1 - p), np.inf))
    slope = np.linalg.norm(x.T @ (y - n * p))
    return bool(slope < lacks.min() * np.linalg.svd(x, compute_uv=False)[-1])
