"""Joints chosen by chance of which one spot is examined: never two spots of the same one."""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.rules import ExtentRule, Rules, is_spot, spot_length_of

Ints = npt.NDArray[np.int64]
Drawn = npt.NDArray[np.bool_]


def units_of(cells: pd.DataFrame, rule: ExtentRule) -> Ints:
    """Return the number of the piece that each cell belongs to: of a piece one cell is drawn.

    Parameters
    ----------
    cells : DataFrame
        Columns ``joint`` and ``crew``.
    rule : ExtentRule
        A piece is a joint; or, where each welder is counted apart, what the same of them made of
        it.
    """
    joint = pd.factorize(cells["joint"])[0].astype(np.int64)
    if not rule.each_welder:
        return joint
    crew, names = pd.factorize(cells["crew"])
    return pd.factorize(joint * max(len(names), 1) + crew)[0].astype(np.int64)


def too_short(cells: pd.DataFrame, rule: ExtentRule, unit: Ints) -> Drawn:
    """Return which cells are no spot, where a piece has one that is: chance must not take these.

    Parameters
    ----------
    cells : DataFrame
        Columns ``from_mm``, ``to_mm``, ``joint_mm``.
    rule : ExtentRule
        States the length of a spot.
    unit : ndarray of int
        Which piece each cell belongs to.
    """
    joint = cells["joint_mm"].to_numpy(float)
    full = is_spot(
        cells["from_mm"], cells["to_mm"], joint_mm=joint, spot_mm=spot_length_of(rule, joint)
    )
    return np.asarray(~full & (np.bincount(unit, full) > 0)[unit])


def as_units(cells: pd.DataFrame, unit: Ints) -> pd.DataFrame:
    """Return one row for each piece, as a cell that is as long and as risky as its cells together.

    A joint is under the name of the welder who leads the first of its cells.
    """
    length = (cells["to_mm"] - cells["from_mm"]).to_numpy(float)
    first = ~pd.Series(unit).duplicated().to_numpy()
    order = np.argsort(unit[first], kind="stable")
    heads = cells[first].iloc[order].set_axis(np.arange(len(order)))
    whole = np.bincount(unit, length)
    size = np.bincount(unit, length * cells["risk"].to_numpy(float))
    crossed = np.bincount(unit, cells["mandatory"] == "crossing") > 0
    return heads.assign(
        from_mm=0.0,
        to_mm=whole,
        risk=size / whole,
        mandatory=pd.Series("", index=heads.index, dtype="str").mask(crossed, "crossing"),
    )


def draw_of_frame(
    draw: Callable[[Any, Any, np.random.Generator], Drawn],
    cells: pd.DataFrame,
    stratum: Any,
    rules: Rules,
    rng: np.random.Generator,
) -> Drawn:
    """Return which cells of a frame are drawn, never two of a piece where a rule takes one spot.

    Parameters
    ----------
    draw : callable
        Draws from probabilities and strata, as :data:`ndtstats.planning.draw.DRAWS`.
    cells : DataFrame
        Columns ``rule``, ``joint``, ``crew``, ``pi``.
    stratum : array_like of int, shape (n,)
        Of each cell.
    rules : Rules
        The rules of the frame.
    rng : Generator
        Source of chance.
    """
    by_piece = [rule for rule in rules.extent if rule.one_spot]
    if not by_piece:
        return draw(cells["pi"], stratum, rng)
    piece, last = np.arange(len(cells)), len(cells)
    for rule in by_piece:
        mine = (cells["rule"] == rule.name).to_numpy()
        piece[mine] = last + units_of(cells[mine], rule)
        last += len(cells)
    return draw_one_each(draw, cells["pi"], stratum, piece, rng)


def draw_one_each(
    draw: Callable[[Any, Any, np.random.Generator], Drawn],
    pi: Any,
    stratum: Any,
    unit: Any,
    rng: np.random.Generator,
) -> Drawn:
    """Return which cells are drawn: pieces by a draw, then one cell of each by chance.

    Parameters
    ----------
    draw : callable
        Draws from probabilities and strata, as :data:`ndtstats.planning.draw.DRAWS`.
    pi, stratum : array_like of shape (n,)
        Of each cell; all cells of a piece are of one stratum, and add up to at most 1.
    unit : array_like of int, shape (n,)
        Which piece a cell belongs to; a piece of one cell is the cell.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray of bool
        The probability of a cell stays ``pi``: that of its piece, times its share of it.

    Examples
    --------
    >>> from ndtstats.planning.draw import draw_pivotal
    >>> drawn = draw_one_each(draw_pivotal, [0.25] * 8, [0] * 8, [0, 0, 0, 0, 1, 1, 1, 1],
    ...                       np.random.default_rng(3))
    >>> int(drawn[:4].sum()), int(drawn[4:].sum())
    (1, 1)
    """
    p, of = np.asarray(pi, dtype=float), np.asarray(unit, dtype=np.int64)
    pieces, number = np.unique(of, return_inverse=True)
    total = np.bincount(number, p, len(pieces))
    first = np.full(len(pieces), len(of))
    np.minimum.at(first, number, np.arange(len(of)))
    order = np.argsort(first, kind="stable")
    taken = np.zeros(len(pieces), dtype=bool)
    taken[order] = draw(total[order], np.asarray(stratum)[first[order]], rng)
    return _one_of_each(p, number, taken, rng)


def _one_of_each(p: Any, number: Ints, taken: Drawn, rng: np.random.Generator) -> Drawn:
    """Return one cell of each piece that is taken, by its share of the piece."""
    drawn = np.zeros(len(p), dtype=bool)
    mine = np.flatnonzero(taken[number] & (p > 0))
    mine = mine[np.argsort(number[mine], kind="stable")]
    if len(mine) == 0:
        return drawn
    begins = np.flatnonzero(np.diff(number[mine], prepend=-1))
    ends = np.append(begins[1:], len(mine)) - 1
    upto = np.cumsum(p[mine])
    before = upto[begins] - p[mine][begins]
    mark = before + rng.random(len(begins)) * (upto[ends] - before)
    # Never beyond the piece, whatever the last bits of its sum.
    at = np.clip(np.searchsorted(upto, mark, side="right"), begins, ends)
    drawn[mine[at]] = True
    return drawn
