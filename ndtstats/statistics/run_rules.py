"""Run rules: signals of several points together, and how long a chart with them runs until one.

The rules of Western Electric (1956, Statistical Quality Control Handbook, from memory) see a small
lasting change sooner than limits at three standard deviations, and cry wolf oftener: all four once
in 92 points instead of 370. Of shares with few rejects a month they cry wolf oftener still, since
most of the months then lie below the mean (:func:`rules_run_length_of_shares`). Therefore the
trends of a job do not use them; an EWMA and a CUSUM see small changes at fewer false alarms.
"""

from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError

_Floats = npt.NDArray[np.float64]
_Flags = npt.NDArray[np.bool_]


class _Rule(NamedTuple):
    """So many of the last points beyond so many standard deviations, all on one side."""

    needed: int
    of: int
    beyond: float


#: Rules by number: 1 of 1 beyond 3, 2 of 3 beyond 2, 4 of 5 beyond 1, 8 of 8 beyond 0.
RULES = {1: _Rule(1, 1, 3.0), 2: _Rule(2, 3, 2.0), 3: _Rule(4, 5, 1.0), 4: _Rule(8, 8, 0.0)}
#: Counts that are likelier than this are followed.
_UNLIKELY = 1e-15


def run_rules(scores: Any, rules: Iterable[int] = (1, 2, 3, 4)) -> list[tuple[int, ...]]:
    """Return which rules signal at each point.

    Parameters
    ----------
    scores : array_like of shape (n,)
        Points in order of time: distance from the centre in standard deviations; a missing one
        (NaN) is no point, and the others close up.
    rules : iterable of int
        Numbers of :data:`RULES`.

    Returns
    -------
    list of tuple of int
        A rule signals at a point that lies beyond its line itself, if enough of the last points
        lie there on the same side.

    Raises
    ------
    UseError
        If a rule is unknown.

    Notes
    -----
    Western Electric 1956; checked by hand, and by simulation against the run length.

    Examples
    --------
    >>> run_rules([0.1, 2.2, -0.3, 2.4, 3.1])
    [(), (), (), (2,), (1, 2)]
    """
    asked = _known(rules)
    z = np.asarray(scores, float)
    there = np.flatnonzero(~np.isnan(z))
    found: list[tuple[int, ...]] = [()] * len(z)
    signals = {number: _signals(z[there], RULES[number]) for number in asked}
    for place, at in enumerate(there):
        found[at] = tuple(number for number in asked if signals[number][place])
    return found


def _signals(z: _Floats, rule: _Rule) -> _Flags:
    signal = np.zeros(len(z), dtype=bool)
    for side in (1.0, -1.0):
        beyond = side * z > rule.beyond
        total = np.concatenate([np.zeros(rule.of), np.cumsum(beyond)])
        signal |= beyond & (total[rule.of :] - total[: len(z)] >= rule.needed)
    return signal


def _known(rules: Iterable[int]) -> tuple[int, ...]:
    asked = tuple(sorted(set(rules)))
    if not asked or not set(asked) <= set(RULES):
        raise UseError(f"run rules are numbered {', '.join(map(str, RULES))}; name one or more")
    return asked


def rules_run_length(rules: Iterable[int] = (1, 2, 3, 4), *, shift: float = 0.0) -> float:
    """Return how many points of a normal statistic pass until a rule signals, on average.

    Parameters
    ----------
    rules : iterable of int
        Numbers of :data:`RULES`.
    shift : float
        How far the mean has moved, in standard deviations.

    Notes
    -----
    An exact Markov chain of what the last points leave behind (Champ & Woodall 1987, Technometrics
    29:393). Checked against their table 1.

    Examples
    --------
    >>> round(rules_run_length(), 2), round(rules_run_length([1]), 1)
    (91.75, 370.4)
    """
    from scipy import special  # noqa: PLC0415  (slow to import)

    lines = np.array([-np.inf, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, np.inf])
    chance = np.diff(special.ndtr(lines - shift))
    middle = np.array([-3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 3.5])
    return _run_length(middle, chance, _known(rules))


def rules_run_length_of_shares(
    examined: int, centre: float, *, rules: Iterable[int] = (1, 2, 3, 4), rate: float | None = None
) -> float:
    """Return how many months a p chart of equal months runs until a rule signals, on average.

    Parameters
    ----------
    examined : int
        Spots a month.
    centre : float
        Share of rejects that the chart holds to be usual, between 0 and 1.
    rules : iterable of int
        Numbers of :data:`RULES`.
    rate : float, optional
        True share; the centre if left out.

    Raises
    ------
    UseError
        If a rule is unknown, or numbers make no sense.

    Notes
    -----
    As :func:`rules_run_length`, with the binomial counts themselves in the place of zones. Checked
    against it where counts are many, and by simulation.

    Examples
    --------
    >>> round(rules_run_length_of_shares(40, 0.03)), round(rules_run_length_of_shares(4000, 0.03))
    (32, 95)
    """
    from scipy import stats  # noqa: PLC0415  (slow to import, and few questions need it)

    true = centre if rate is None else rate
    if examined < 1 or not (0 < centre < 1 and 0 <= true <= 1):
        raise UseError("a p chart needs 1 spot or more a month and a centre between 0 and 1")
    count = np.arange(examined + 1)
    chance = np.asarray(stats.binom.pmf(count, examined, true), float)
    score = (count / examined - centre) / np.sqrt(centre * (1 - centre) / examined)
    likely = chance > _UNLIKELY
    return _run_length(score[likely], chance[likely] / chance[likely].sum(), _known(rules))


def _run_length(score: _Floats, chance: _Floats, rules: tuple[int, ...]) -> float:
    """Return the average run length of independent points that take these scores."""
    sides = [(RULES[number], side) for number in rules for side in (1.0, -1.0)]
    beyond = np.array([side * score > rule.beyond for rule, side in sides])
    patterns, of = np.unique(beyond.T, axis=0, return_inverse=True)
    weight = np.bincount(of.ravel(), chance)
    points = [tuple(row) for row in patterns.tolist()]
    # A state is what the last points leave to each rule: bits, the newest first.
    start = (0,) * len(sides)
    number, rows, order = {start: 0}, [], [start]
    for state in order:
        following = []
        for point, share in zip(points, weight.tolist(), strict=True):
            after = _after(state, point, sides)
            if after is None:
                continue
            if after not in number:
                number[after] = len(order)
                order.append(after)
            following.append((number[after], share))
        rows.append(following)
    chain = np.zeros((len(order), len(order)))
    for place, following in enumerate(rows):
        for at, share in following:
            chain[place, at] += share
    lengths = np.linalg.solve(np.eye(len(order)) - chain, np.ones(len(order)))
    return float(lengths[0])


def _after(
    state: tuple[int, ...], point: tuple[bool, ...], sides: list[tuple[_Rule, float]]
) -> tuple[int, ...] | None:
    """Return the state after a point, or None if a rule signals."""
    following = []
    for bits, here, (rule, _) in zip(state, point, sides, strict=True):
        now = (bits << 1 | here) & ((1 << rule.of) - 1)
        if here and now.bit_count() >= rule.needed:
            return None
        kept = now & ((1 << (rule.of - 1)) - 1)
        # Of a run that was broken nothing older counts.
        following.append(kept if rule.needed < rule.of else _unbroken(kept))
    return tuple(following)


def _unbroken(bits: int) -> int:
    """Return the newest bits that are set without a gap."""
    length = ((bits + 1) & ~bits).bit_length() - 1
    return (1 << length) - 1
