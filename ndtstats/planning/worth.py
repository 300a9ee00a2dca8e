"""What the exposures of a job buy: those that are planned, and any further ones."""

from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.planning.likelihood import Likelihood
from ndtstats.planning.targeted import TIMES_THE_MEAN, Candidates, candidates, stakes_of
from ndtstats.planning.value import Stakes, by_gain, left_in, value_curve
from ndtstats.planning.yard import asked_places, frame_kept, looked_at, yard_of
from ndtstats.register import Register
from ndtstats.rules import Rules
from ndtstats.statistics.acceptance import accept_probability
from ndtstats.units import MM_PER_M
from ndtstats.words import VOLUMETRIC

_PLACE = ["joint", "method", "from_mm", "to_mm"]


class Worth(NamedTuple):
    """What exposures buy.

    Attributes
    ----------
    curve : DataFrame
        A row before the first exposure and one after each place: ``exposures``, ``part`` (of the
        plan; "further" for the best places beyond it), ``found``, ``consequence``, ``hidden``,
        ``caught`` (:func:`ndtstats.planning.value.value_curve`).
    planned : int
        Exposures that are planned and still to be made.
    limit_per_m : float
        The rate above which a welder must be noticed.
    metres : float
        Weld length of the frames.
    likelihood : Likelihood
        What the expectations rest on.
    welders : DataFrame
        Columns ``welder`` and ``places``: how many of his are looked into or planned to be.
    """

    curve: pd.DataFrame
    planned: int
    limit_per_m: float
    metres: float
    likelihood: Likelihood
    welders: pd.DataFrame

    def at(self, exposures: Any) -> pd.DataFrame:
        """Return the curve after so many exposures, or just before where a place takes several."""
        row = np.searchsorted(self.curve["exposures"].to_numpy(), exposures, side="right") - 1
        found: pd.DataFrame = self.curve.iloc[row].reset_index(drop=True)
        return found

    @property
    def sentence(self) -> str:
        """What it comes to, in words."""
        start, now, end = (self.at([n]).iloc[0] for n in (0, self.planned, 10**9))
        limit = f"every welder above {self.limit_per_m:.3g} a metre"
        said = [
            f"{start['hidden']:.3g} rejectable imperfections are expected in {self.metres:,.0f} m."
        ]
        if self.planned:
            one = self.planned == 1
            are = "exposure that is" if one else f"{self.planned:,} exposures that are"
            said.append(
                f"The {are} planned and not made yet should find {now['found']:.2g} of them."
            )
        further = int(end["exposures"]) - self.planned
        if further > 0:
            more = f"{further} more" if self.planned else f"{further} exposures"
            said.append(f"{more} would find {end['found'] - now['found']:.2g}.")
        if start["caught"] < 1:
            before, after = _percent(now["caught"]), _percent(end["caught"])
            then = f", then {after}" if further > 0 and after != before else ""
            sure = f"With {before} probability{then}"
            said.append(
                f"{sure}, something is rejected of {limit} of whom nothing was rejected so far."
            )
        return " ".join([*said, f"{end['hidden']:.3g} would stay hidden."])


def _percent(share: float) -> str:
    """Return a probability in per cent; what is not certain never looks so."""
    return "more than 99 %" if 0.99 < share < 1 else f"{100 * share:.0f} %"


def plan_worth(
    register: Register,
    *,
    job: str,
    rules: Rules,
    further: int = 50,
    detection: float = 1.0,
    seed: int = 0,
    as_of: datetime | None = None,
) -> Worth:
    """Return what is bought by the exposures planned for a job, and by further ones.

    Parameters
    ----------
    job : str
        The job.
    rules : Rules
        The rules that its plans were drawn by.
    further : int
        Exposures beyond the plans, spent on the places where they find most.
    detection : float
        Probability, above 0 and up to 1, that an examination finds a rejectable imperfection that
        is there. 1: nothing is missed, which no method achieves.
    seed : int
        Puts the spots that chance drew in an order by chance.
    as_of : datetime, optional
        By what was known then.

    Raises
    ------
    UseError
        If no plan by these rules looks inside a weld, or the detection is impossible.
    """
    if not 0 < detection <= 1:
        raise UseError(f"a detection of {detection:g}; write a probability above 0 and up to 1")
    yard = yard_of(register, job, rules, as_of)
    frame = frame_kept(register, job, yard, rules, as_of, for_draw=False)
    asked = asked_places(register, job, as_of)
    among = candidates(frame, looked_at(register, job, yard, as_of), asked[_PLACE])
    if among.cells.empty:
        raise UseError(
            f'job {job} has no plan by the rules "{rules.title}" that looks inside a weld; draw '
            "one with: ndtstats plan draw"
        )
    stakes = stakes_of(among.cells, yard, rules)
    planned_as = _part_of(among.cells, asked).to_numpy(object)
    order, part = _order(among, planned_as, stakes, further, seed)
    nothing = np.zeros(len(stakes.a))
    curve = value_curve(
        stakes, order, looked_at=nothing, hidden=left_in(stakes, among.examined, detection)
    )
    likelihood = yard.likelihood(rules, VOLUMETRIC[0])
    limit = rules.file.risk.limit_per_m
    length = among.cells["to_mm"] - among.cells["from_mm"]
    return Worth(
        curve=curve.assign(part=["", *part]),
        planned=int(stakes.exposures[order[part != "further"]].sum()),
        limit_per_m=TIMES_THE_MEAN * likelihood.rate_per_m if limit is None else limit,
        metres=float(length.sum()) / MM_PER_M,
        likelihood=likelihood,
        welders=_places(among, planned_as),
    )


def noticed(worth: Worth, rates: Any) -> pd.DataFrame:
    """Return how likely a welder is noticed by his true rate: who has fewest places, and others.

    Parameters
    ----------
    worth : Worth
        What exposures buy.
    rates : array_like of shape (n,)
        Shares of his places that are bad, from 0 to 1.

    Returns
    -------
    DataFrame
        Column ``rate``, and for up to three welders, named with the number of their places, the
        chance that at least one of these is rejected. Empty where nobody is known.

    Notes
    -----
    Single sampling with acceptance number 0 (Dodge & Romig 1929), for places that chance chose and
    an examination that misses nothing.

    Examples
    --------
    >>> from ndtstats.planning.likelihood import fit_likelihood
    >>> ten = pd.DataFrame({"welder": ["K1"], "places": [10]})
    >>> nothing = fit_likelihood(None, rate_per_m=0.1)
    >>> noticed(Worth(pd.DataFrame(), 0, 0.2, 0.0, nothing, ten), [0.1]).round(4)
       rate  K1, 10 places
    0   0.1         0.6513
    """
    ordered = worth.welders.sort_values(["places", "welder"], ignore_index=True)
    p = np.asarray(rates, float)
    table = pd.DataFrame({"rate": p})
    if ordered.empty:
        return table.iloc[:0]
    for row in dict.fromkeys((0, len(ordered) // 2, len(ordered) - 1)):
        number = int(ordered["places"].iloc[row])
        word = "place" if number == 1 else "places"
        name = f"{ordered['welder'].iloc[row]}, {number} {word}"
        table[name] = 1 - accept_probability(p, number, 0)
    return table


def _places(among: Candidates, part: npt.NDArray[Any]) -> pd.DataFrame:
    """Return how many places of each welder are looked into or planned to be."""
    looked = among.examined | (among.planned & np.isin(part, _PARTS))
    number = among.cells.loc[looked, "welder"].value_counts()
    everybody = pd.Index(among.cells["welder"].unique()).drop("", errors="ignore")
    places = number.reindex(everybody.sort_values(), fill_value=0)
    return places.rename_axis("welder").reset_index(name="places")


#: Parts of a plan in the order in which their exposures are counted.
_PARTS = ("required", "random", "targeted", "extra")


def _order(
    among: Candidates, part: npt.NDArray[Any], stakes: Stakes, further: int, seed: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[Any]]:
    """Return places in the order in which they are counted, and the part that each belongs to."""
    planned = among.planned & np.isin(part, _PARTS)
    chance = np.random.default_rng(seed).random(len(part))
    rank = np.array([_PARTS.index(name) if name in _PARTS else len(_PARTS) for name in part])
    first = np.lexsort((chance, rank))
    first = first[planned[first]]
    best, _ = by_gain(stakes, among.free, stakes.looked_at(planned))
    best = best[np.cumsum(stakes.exposures[best]) <= further]
    named = np.concatenate([part[first], np.full(len(best), "further", dtype=object)])
    return np.concatenate([first, best]), named


def _part_of(cells: pd.DataFrame, asked: pd.DataFrame) -> "pd.Series[Any]":
    """Return the part of a plan that each cell is planned as: what is owed lies anywhere."""
    known = asked.drop_duplicates(_PLACE, keep="last").set_index(_PLACE)["part"]
    at = pd.MultiIndex.from_frame(cells[_PLACE])
    return known.reindex(at).astype(object).fillna("extra").set_axis(cells.index)


def worth_by_step(worth: Worth, step: int) -> pd.DataFrame:
    """Return the curve at every so many exposures, at the end of the plans, and at its own end.

    Returns
    -------
    DataFrame
        As the curve, with ``buys``: what is found from the row before to this one.
    """
    last = int(worth.curve["exposures"].iloc[-1])
    wanted = np.unique([*range(0, last + 1, step), worth.planned, last])
    rows = worth.at(wanted).drop_duplicates("exposures", ignore_index=True)
    return rows.assign(buys=rows["found"].diff())
