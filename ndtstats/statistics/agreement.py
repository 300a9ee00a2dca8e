"""Whether readers of the same films agree, beyond what chance would make them.

Only where the same film was read twice. Kappa depends on how often each verdict is given: with few
rejects it is low at high agreement (Feinstein & Cicchetti 1990, J. Clin. Epidemiol. 43:543), so the
plain agreement stands beside it.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.statistics.proportions import proportion_interval, tail_probability

_Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement of readers, with bounds.

    Parameters
    ----------
    read : int
        Films read by all.
    agreed, agreed_lower, agreed_upper : float
        Share of readings that agree; of two readers with exact bounds, of more the mean share of
        agreeing pairs with no bounds (NaN).
    by_chance : float
        Share that would agree by chance.
    kappa, lower, upper : float
        Agreement beyond chance, 1 at most, and its bounds; NaN where all gave one verdict alone.
    standard_error : float
        Of kappa.
    null_error, z : float
        Standard error if there were chance alone, and kappa in units of it.
    """

    read: int
    agreed: float
    agreed_lower: float
    agreed_upper: float
    by_chance: float
    kappa: float
    lower: float
    upper: float
    standard_error: float
    null_error: float
    z: float

    @property
    def prevalence_adjusted(self) -> float:
        """Kappa if all verdicts were equally frequent, for two verdicts: 2 x agreed - 1."""
        return 2 * self.agreed - 1


def readings_table(first: Any, second: Any) -> pd.DataFrame:
    """Return how often each pair of verdicts was given by two readers, as a square table.

    Parameters
    ----------
    first, second : array_like of shape (n,)
        Verdicts on the same films; a film that one has not read is left out.

    Notes
    -----
    The table that Cohen 1960 starts from; counted by hand in the tests.

    Examples
    --------
    >>> table = readings_table(["accept", "reject", "accept"], ["accept", "accept", "accept"])
    >>> table.to_numpy().tolist()
    [[2, 0], [1, 0]]
    """
    a, b = pd.Series(np.asarray(first)), pd.Series(np.asarray(second))
    if len(a) != len(b):
        raise UseError(
            f"the readers' verdicts must be of the same films: {len(a)} and {len(b)} given"
        )
    both = a.notna() & b.notna()
    names = sorted({*a[both], *b[both]})
    crossed = pd.crosstab(a[both], b[both])
    return crossed.reindex(index=names, columns=names, fill_value=0)


def cohens_kappa(table: Any, *, level: float = 0.95) -> Agreement:
    """Return the agreement of two readers.

    Parameters
    ----------
    table : array_like of shape (c, c)
        How often the first gave each verdict (rows) and the second (columns).
    level : float
        Confidence level of the bounds.

    Notes
    -----
    Cohen 1960, Educ. Psychol. Meas. 20:37; standard errors by Fleiss, Cohen & Everitt 1969,
    Psychol. Bull. 72:323. The bounds are those of large samples: with a tenth of the films bad a
    95 % one covered 90 % in simulated readings of 50 films, 94 % of 200.

    Checked against Feinstein & Cicchetti 1990, the documentation of R's epiR, and statsmodels.

    Examples
    --------
    >>> both = cohens_kappa([[40, 9], [6, 45]])
    >>> round(both.agreed, 2), round(both.kappa, 2), round(both.lower, 2), round(both.upper, 2)
    (0.85, 0.7, 0.56, 0.84)
    """
    counts = np.asarray(table, float)
    square = counts.ndim == 2 and counts.shape[0] == counts.shape[1] > 0
    if not square or not bool(np.all(counts >= 0)) or counts.sum() == 0:
        raise UseError("two readers need a square table of counts with something in it")
    n = counts.sum()
    p = counts / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    agreed, chance = float(np.trace(p)), float(rows @ columns)
    lower, upper = proportion_interval(np.trace(counts), n, level=level)
    kappa, error, null = _cohen(p, rows, columns, n)
    return _agreement(
        int(n), (agreed, float(lower), float(upper)), chance, kappa, error, null, level
    )


def _cohen(p: _Floats, rows: _Floats, columns: _Floats, n: float) -> tuple[float, float, float]:
    """Return kappa, its standard error and that under chance alone."""
    agreed, chance = float(np.trace(p)), float(rows @ columns)
    if chance >= 1:
        return np.nan, np.nan, np.nan
    kappa = (agreed - chance) / (1 - chance)
    own = rows + columns
    on = float(np.diag(p) @ (1 - own * (1 - kappa)) ** 2)
    # What lies in row i and column j counts with the j-th row sum and the i-th column sum.
    cross = (columns[:, None] + rows[None, :]) ** 2
    np.fill_diagonal(cross, 0.0)
    off = (1 - kappa) ** 2 * float((p * cross).sum())
    centre = (kappa - chance * (1 - kappa)) ** 2
    error = np.sqrt(max(on + off - centre, 0.0) / n) / (1 - chance)
    null = np.sqrt(chance + chance**2 - float((rows * columns) @ own)) / ((1 - chance) * np.sqrt(n))
    return float(kappa), float(error), float(null)


def fleiss_kappa(table: Any, *, level: float = 0.95) -> tuple[Agreement, _Floats]:
    """Return the agreement of several readers, in all and verdict by verdict.

    Parameters
    ----------
    table : array_like of shape (n, c)
        How many readers gave each film each verdict; every film has the same number of readers.
    level : float
        Confidence level of the bounds.

    Returns
    -------
    Agreement, ndarray of shape (c,)
        In all; and kappa of each verdict against all others, NaN for a verdict never given or the
        only one.

    Notes
    -----
    Fleiss 1971, Psychol. Bull. 76:378, with the null error of Fleiss, Nee & Landis 1979 (ibid.
    86:974). The bounds speak of further films: error by linearisation over films (Gwet 2021, Educ.
    Psychol. Meas. 81:781, from memory), and are those of large samples: with a tenth of the films
    bad a 95 % one covered 92 % in simulated readings of 50 films, 94 % of 200.

    Checked against Fleiss' example, statsmodels, and a jackknife.

    Examples
    --------
    >>> several, each = fleiss_kappa([[3, 0], [2, 1], [0, 3], [3, 0]])
    >>> round(several.kappa, 4), each.round(4).tolist()
    (0.625, [0.625, 0.625])
    """
    counts = np.asarray(table, float)
    readers = counts.sum(axis=1) if counts.ndim == 2 else np.zeros(1)
    if len(readers) == 0 or readers[0] < 2 or bool(np.any(readers != readers[0])):
        raise UseError(
            "every film needs the same number of readers, 2 or more; leave out the others"
        )
    n, r = len(counts), readers[0]
    share = counts.sum(axis=0) / (n * r)
    by_film = ((counts**2).sum(axis=1) - r) / (r * (r - 1))
    agreed, chance = float(by_film.mean()), float((share**2).sum())
    told = (agreed, np.nan, np.nan)
    if chance >= 1:
        nothing = _agreement(n, told, chance, np.nan, np.nan, np.nan, level)
        return nothing, np.full(len(share), np.nan)
    kappa = (agreed - chance) / (1 - chance)
    error = _error_over_films(by_film, counts @ share / r, chance, kappa)
    spread = share * (1 - share)
    null = np.sqrt(2 * (spread.sum() ** 2 - (spread * (1 - 2 * share)).sum()))
    null /= spread.sum() * np.sqrt(n * r * (r - 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        each = 1 - (counts * (r - counts)).sum(axis=0) / (n * r * (r - 1) * spread)
    return _agreement(n, told, chance, kappa, error, float(null), level), np.asarray(each, float)


def _error_over_films(by_film: _Floats, at_film: _Floats, chance: float, kappa: float) -> float:
    """Return the standard error of kappa from how much each film moves it."""
    if len(by_film) < 2:
        return np.nan
    own = (by_film - chance) / (1 - chance)
    moved = own - 2 * (1 - kappa) * (at_film - chance) / (1 - chance)
    return float(np.std(moved, ddof=1) / np.sqrt(len(by_film)))


def _agreement(
    read: int,
    agreed: tuple[float, float, float],
    chance: float,
    kappa: float,
    error: float,
    null: float,
    level: float,
) -> Agreement:
    from scipy import special  # noqa: PLC0415  (slow to import)

    half = -float(special.ndtri(tail_probability(level, "two"))) * error
    z = kappa / null if null else np.nan
    return Agreement(
        read,
        *agreed,
        chance,
        kappa,
        max(kappa - half, -1.0),
        min(kappa + half, 1.0),
        error,
        null,
        z,
    )
