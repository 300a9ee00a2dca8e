"""The distribution of a sum of independent negative binomial counts, and of mixtures of such sums.

A count whose rate is gamma distributed is negative binomial (Greenwood & Yule 1920, J. R. Stat.
Soc. 83:255). A sum of several with unlike rates is none, but its characteristic function is the
product of theirs, and is inverted on a grid (Davies 1973, Biometrika 60:415, from memory).
"""

import numpy as np
import numpy.typing as npt

_Floats = npt.NDArray[np.float64]
_Ints = npt.NDArray[np.int64]

#: Probability that may lie beyond the end of the grid; it comes back at its beginning.
_BEYOND = 1e-11
#: Counts that are told apart at most.
_LONGEST = 2**22
#: What of the characteristic function is too little to be built.
_FADED = 1e-14
#: Work that is still done: frequencies x counts added, of all parts of the mixture.
_MOST_WORK = 30_000_000
#: Numbers held at once while the characteristic function is built.
_BLOCK = 2_000_000
#: The logarithm's series serves up to this argument, where 50 terms leave out less than 1e-16.
_SERIES_TO, _TERMS = 0.5, 50


def sum_probabilities(shape: _Floats, odds: _Floats, weight: _Floats) -> _Floats | None:
    """Return the probabilities of 0, 1, 2 … for a mixture of sums of negative binomials.

    Parameters
    ----------
    shape : ndarray of shape (s,) or (m, s)
        Shape of the gamma distribution of each count's rate, in each part of the mixture.
    odds : ndarray of shape (m, s)
        Mean over shape of each count, in each part of the mixture: its generating function is
        (1 + odds (1 - z)) ** -shape.
    weight : ndarray of shape (m,)
        Weights of the parts, summing to 1.

    Returns
    -------
    ndarray or None
        Probabilities from 0 on, all but 1e-11 of them. None where so many would have to be told
        apart that it is no longer worth it; then simulate.

    Notes
    -----
    Checked against scipy's negative binomial and the convolution of unlike ones.

    Examples
    --------
    Two counts of one mean are one count of twice the shape:

    >>> from scipy.stats import nbinom
    >>> known = sum_probabilities(np.array([1.0, 2.0]), np.array([[0.5, 0.5]]), np.array([1.0]))
    >>> bool(np.allclose(known[:5], nbinom.pmf(range(5), 3, 1 / 1.5), rtol=1e-9))
    True
    """
    if not np.any(odds > 0):
        return np.ones(1)
    shape = np.broadcast_to(shape, odds.shape)
    length = _grid(shape, odds, weight)
    if length is None:
        return None
    # A long distribution is smooth: the higher frequencies are not in it, and need not be built.
    faded = (_fades_at(shape, odds, weight) / (2 * np.pi) * length).astype(np.int64) + 1
    angle = 2 * np.pi * np.arange(length // 2 + 1) / length
    built = _built(angle, np.minimum(faded, length // 2) + 1, shape, odds, weight)
    return None if built is None else np.maximum(np.fft.irfft(built, length), 0.0)


def _fades_at(shape: _Floats, odds: _Floats, weight: _Floats) -> _Floats:
    """Return the angle beyond which next to nothing is left of each part of the mixture.

    The absolute value of a characteristic function falls from 0 to pi: the angle is halved into.
    """
    twice = 2 * odds * (1 + odds)
    low, high = np.zeros(len(weight)), np.full(len(weight), np.pi)
    for _ in range(20):
        middle = (low + high) / 2
        away = twice * (1 - np.cos(middle))[:, None]
        left = weight * np.exp(-0.5 * np.einsum("ms,ms->m", shape, np.log1p(away)))
        above = left > _FADED / len(weight)
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return high


def _built(
    angle: _Floats, number: _Ints, shape: _Floats, odds: _Floats, weight: _Floats
) -> npt.NDArray[np.complex128] | None:
    """Return the mean of exp(-i angle x count), each part at so many of the angles alone.

    None where that is too much work.
    """
    highest = int(number.max())
    built = np.zeros(len(angle), dtype=complex)
    if odds.max() * 2 * np.sin(angle[highest - 1] / 2) <= _SERIES_TO:
        built[:highest] = _by_series(angle[:highest], shape, odds, weight)
        return built
    if int(number.sum()) * odds.shape[1] > _MOST_WORK:
        return None
    block = max(_BLOCK // odds.size, 1)
    for start in range(0, highest, block):
        left = number > start
        some = slice(start, min(start + block, highest))
        built[some] = _characteristic(angle[some], shape[left], odds[left], weight[left])
    return built


def _characteristic(
    angle: _Floats, shape: _Floats, odds: _Floats, weight: _Floats
) -> npt.NDArray[np.complex128]:
    # Absolute value and angle of 1 + odds (1 - exp(-i angle)), whose real part is 1 or more. Real
    # functions are several times quicker than the logarithm of complex numbers.
    half = np.sin(angle / 2) ** 2
    of = odds[:, :, None]
    size = shape[:, None, :] @ np.log1p(4 * of * (1 + of) * half)
    turn = shape[:, None, :] @ np.arctan(of * np.sin(angle) / (1 + 2 * of * half))
    return np.asarray(weight @ np.exp(-0.5 * size - 1j * turn)[:, 0], complex)


def _by_series(
    angle: _Floats, shape: _Floats, odds: _Floats, weight: _Floats
) -> npt.NDArray[np.complex128]:
    """As :func:`_characteristic`, by the power series of the logarithm.

    The counts of a part enter by sums of powers of their odds alone, whatever their number.
    """
    away = np.expm1(-1j * angle)
    total = np.zeros((len(weight), len(angle)), dtype=complex)
    power, of_odds = np.ones_like(away), shape
    for term in range(1, _TERMS + 1):
        power, of_odds = power * away, of_odds * odds
        total += np.outer(of_odds.sum(axis=1) / term, power)
    return np.asarray(weight @ np.exp(total), complex)


def _grid(shape: _Floats, odds: _Floats, weight: _Floats) -> int | None:
    """Return how many counts must be told apart, a power of two; None if too many.

    Bounds what lies beyond by Chernoff's inequality, part by part of the mixture.
    """
    share = np.concatenate([np.linspace(0.02, 0.9, 45), 1 - 0.1 * 0.5 ** np.arange(1, 12)])
    with np.errstate(divide="ignore"):
        tilt = share * np.log1p(1 / odds.max(axis=1))[:, None]
    tilt = np.minimum(tilt, 50.0)
    some = max(_BLOCK // odds.size, 1)
    parts = [
        _tilted(shape, odds, tilt[:, start : start + some]) for start in range(0, len(share), some)
    ]
    logarithm = np.concatenate(parts, axis=1)
    length = 16
    while length <= _LONGEST:
        beyond = np.exp(np.minimum(np.min(logarithm - length * tilt, axis=1), 0.0))
        if float(weight @ beyond) <= _BEYOND:
            return length
        length *= 2
    return None


def _tilted(shape: _Floats, odds: _Floats, tilt: _Floats) -> _Floats:
    """Return the logarithm of the mean of exp(tilt x count), of shape (m, t)."""
    left = 1 - odds[:, None, :] * np.expm1(tilt)[:, :, None]
    return np.asarray(-np.einsum("mts,ms->mt", np.log(np.maximum(left, 1e-300)), shape), float)
