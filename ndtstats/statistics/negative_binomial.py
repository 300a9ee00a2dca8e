"""The distribution of a sum of independent negative binomial counts, and of mixtures of such sums.

A count whose rate is gamma distributed is negative binomial (Greenwood & Yule 1920, J. R. Stat.
Soc. 83:255). A sum of several with unlike rates is none, but its characteristic function is the
product of theirs, and is inverted on a grid (Davies 1973, Biometrika 60:415, from memory).
"""

import numpy as np
import numpy.typing as npt

_Floats = npt.NDArray[np.float64]

#: Probability that may lie beyond the end of the grid; it comes back at its beginning.
_BEYOND = 1e-11
#: Counts that are told apart at most.
_LONGEST = 2**22
#: What of the characteristic function is too little to be built.
_FADED = 1e-14
#: Work that is still done: frequencies x counts added x parts of the mixture.
_MOST_WORK = 10_000_000
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
    highest = min(int(_fades_at(shape, odds, weight) / (2 * np.pi) * length) + 1, length // 2)
    built = _built(2 * np.pi * np.arange(highest + 1) / length, shape, odds, weight)
    if built is None:
        return None
    transform = np.zeros(length // 2 + 1, dtype=complex)
    transform[: highest + 1] = built
    return np.asarray(np.maximum(np.fft.irfft(transform, length), 0.0), float)


def _fades_at(shape: _Floats, odds: _Floats, weight: _Floats) -> float:
    """Return the angle beyond which next to nothing is left of the characteristic function.

    Its absolute value falls from 0 to pi, part by part of the mixture: the angle is halved into.
    """
    twice = 2 * odds * (1 + odds)
    low, high = 0.0, np.pi
    for _ in range(20):
        middle = (low + high) / 2
        left = np.exp(-0.5 * np.einsum("ms,ms->m", shape, np.log1p(twice * (1 - np.cos(middle)))))
        low, high = (middle, high) if weight @ left > _FADED else (low, middle)
    return high


def _built(
    angle: _Floats, shape: _Floats, odds: _Floats, weight: _Floats
) -> npt.NDArray[np.complex128] | None:
    """Return the mean of exp(-i angle x count); None where that is too much work."""
    if odds.max() * 2 * np.sin(angle[-1] / 2) <= _SERIES_TO:
        return _by_series(angle, shape, odds, weight)
    if len(angle) * odds.size > _MOST_WORK:
        return None
    block = max(_BLOCK // odds.size, 1)
    parts = [
        _characteristic(angle[start : start + block], shape, odds, weight)
        for start in range(0, len(angle), block)
    ]
    return np.concatenate(parts)


def _characteristic(
    angle: _Floats, shape: _Floats, odds: _Floats, weight: _Floats
) -> npt.NDArray[np.complex128]:
    # The real part stays at or above 1, so that the logarithm never leaves its principal branch.
    step = 1 + odds[:, :, None] * -np.expm1(-1j * angle)
    return np.asarray(weight @ np.exp(-np.einsum("ms,msa->ma", shape, np.log(step))), complex)


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
