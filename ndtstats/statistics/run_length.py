"""How long control charts of a normal statistic run until they signal, on average.

The average run length solves an integral equation (Page 1954, Biometrika 41:100; Crowder 1987,
Technometrics 29:401), which Gauss-Legendre points turn into a linear system; the Markov chain of
Brook & Evans (1972) comes to the same with many more states. In standard deviations throughout.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError

_Floats = npt.NDArray[np.float64]

#: Points of the quadrature: with 120 the references agree to 10 digits.
_POINTS = 120


def shewhart_run_length(width: float = 3.0, shift: float = 0.0) -> float:
    """Return the average run length of limits at ± ``width`` standard deviations.

    Notes
    -----
    1 / the chance of a point outside. Checked against Champ & Woodall 1987.

    Examples
    --------
    >>> round(shewhart_run_length(), 1)
    370.4
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    return 1 / float(special.ndtr(-width - shift) + special.ndtr(-width + shift))


def cusum_run_length(reference: float, limit: float, shift: float = 0.0) -> float:
    """Return the average run length of a two-sided tabular CUSUM.

    Parameters
    ----------
    reference, limit : float
        k and h, above 0.
    shift : float
        How far the mean has moved.

    Notes
    -----
    The two sides apart, joined as 1 / L = 1 / L+ + 1 / L- (Kemp 1961, J. R. Stat. Soc. B 23:149,
    from memory). Checked against Montgomery's tables and R's spc.

    Examples
    --------
    >>> round(cusum_run_length(0.5, 5.0), 1), round(cusum_run_length(0.5, 5.0, 1.0), 2)
    (465.4, 10.38)
    """
    if not (reference > 0 and limit > 0):
        raise UseError("reference and limit of a CUSUM must be above 0, such as 0.5 and 5")
    upward, downward = (_one_sided(reference - side * shift, limit) for side in (1, -1))
    return 1 / (1 / upward + 1 / downward)


def ewma_run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Return the average run length of an EWMA with its asymptotic limits.

    Parameters
    ----------
    weight : float
        Weight of the newest point, above 0 and at most 1.
    width : float
        Limits in standard deviations of the average.
    shift : float
        How far the mean has moved.

    Notes
    -----
    Crowder 1987. Checked against Lucas & Saccucci 1990 (Technometrics 32:1) and R's spc.

    Examples
    --------
    >>> round(ewma_run_length(0.2, 2.962)), round(ewma_run_length(0.2, 2.962, 1.0), 1)
    (500, 10.5)
    """
    if not (0 < weight <= 1 and width > 0):
        raise UseError("an EWMA needs a weight above 0 and at most 1, and a width above 0")
    bound = width * np.sqrt(weight / (2 - weight))

    def chance(to: _Floats, start: _Floats) -> _Floats:
        return _density((to - (1 - weight) * start) / weight - shift) / weight

    point, area = _points(-bound, bound)
    length = np.linalg.solve(np.eye(_POINTS) - _kernel(chance, point, area), np.ones(_POINTS))
    return 1 + float((area * length) @ chance(point, np.zeros(1)))


def _one_sided(drift: float, limit: float) -> float:
    """Return the run length from 0 of max(0, sum + z - drift), up to ``limit``."""
    from scipy import special  # noqa: PLC0415  (slow to import)

    def chance(to: _Floats, start: _Floats) -> _Floats:
        return _density(to + drift - start)

    point, area = _points(0.0, limit)
    matrix = np.zeros((_POINTS + 1, _POINTS + 1))
    # The first state is the sum at 0, where all that would fall below it is gathered.
    start = np.concatenate([[0.0], point])
    matrix[:, 0] = special.ndtr(drift - start)
    matrix[:, 1:] = chance(point[None, :], start[:, None]) * area
    return float(np.linalg.solve(np.eye(_POINTS + 1) - matrix, np.ones(_POINTS + 1))[0])


def _kernel(
    chance: Callable[[_Floats, _Floats], _Floats], point: _Floats, area: _Floats
) -> _Floats:
    return np.asarray(chance(point[None, :], point[:, None]) * area, float)


def _points(low: float, high: float) -> tuple[_Floats, _Floats]:
    at, area = np.polynomial.legendre.leggauss(_POINTS)
    half = (high - low) / 2
    return low + half * (at + 1), half * area


def _density(z: _Floats) -> _Floats:
    return np.asarray(np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi), float)
