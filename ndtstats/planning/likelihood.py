"""How likely a rejectable imperfection is: what earlier examinations found, shrunk.

The rate of a place is the mean rate of all welds times what its process, its position, its
thickness and its welder make of it. Each of these effects is drawn towards 1, the more so the less
it rests on. Without results there is the rate that the rules file states, and no effects.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.bands import thickness_band
from ndtstats.places import welders_of
from ndtstats.statistics.shrinkage import LEAST_GROUPS, fit_gamma_poisson
from ndtstats.units import MM_PER_M
from ndtstats.words import VOLUMETRIC

#: What tells welds apart, in the order in which the effects are shown.
EFFECTS = ("process", "position", "thickness", "welder")
#: Spread of the levels of an effect about the mean (shape of a gamma) until the register tells: a
#: coefficient of variation of 0.7. Common practice, no source.
USUAL_SHAPE = 2.0
#: Welders are never taken for more alike than this: a coefficient of variation of a third, so that
#: nobody's own results are explained away. Common practice, no source.
MOST_ALIKE = 9.0
#: What the stated rate weighs: as much as one imperfection that was found. Common practice, no
#: source.
_STATED = 1.0
_ROUNDS = 100


@dataclass(frozen=True, slots=True)
class Likelihood:
    """How likely rejectable imperfections are, by what is known of a weld.

    Attributes
    ----------
    rate_per_m : float
        Rejectable imperfections that an examination finds in a metre of mean weld.
    examined_m, found : float
        What it rests on.
    effects : DataFrame
        A row for each effect and level: ``factor``, ``level``, ``examined_m``, ``found``,
        ``expected`` (at the mean, given the other effects), ``relative`` (1 is the mean).
    shape : float
        Spread of the welders: their relative rates are gamma with this shape and mean 1.
    """

    rate_per_m: float
    examined_m: float
    found: float
    effects: pd.DataFrame
    shape: float

    @property
    def known(self) -> bool:
        """Whether it rests on results."""
        return self.examined_m > 0

    @property
    def sentence(self) -> str:
        """What it rests on, in words."""
        if not self.known:
            return (
                f"No results yet: {self.rate_per_m:g} rejectable imperfections a metre, as the "
                "rules say, and the factors of the rules alone."
            )
        return (
            f"{self.found:,.0f} rejectable found in {self.examined_m:,.1f} m examined first: "
            f"{self.rate_per_m:.3g} a metre of mean weld."
        )

    def relative(self, factor: str, levels: Any) -> npt.NDArray[np.float64]:
        """Return the effect of each level of a factor, 1 where nothing is known of it."""
        mine = self.effects[self.effects["factor"] == factor].set_index("level")["relative"]
        # Levels are few, and the cells that have them many. What is missing has the code -1.
        codes, distinct = pd.factorize(pd.Series(levels, dtype="str"))
        known = mine.reindex(distinct).fillna(1.0).to_numpy(float)
        return np.append(known, 1.0)[codes]

    def posterior(self, welders: Any) -> pd.DataFrame:
        """Return shape ``a`` and rate ``b`` of the gamma of each welder's relative rate.

        ``found`` is what was found of him so far.
        """
        mine = self.effects[self.effects["factor"] == "welder"].set_index("level")
        seen = mine[["found", "expected"]].reindex(pd.Index(welders)).fillna(0.0)
        a, b = self.shape + seen["found"], self.shape + seen["expected"]
        return pd.DataFrame({"a": a, "b": b, "found": seen["found"]})


def work_of(joints: pd.DataFrame, deposits: pd.DataFrame) -> pd.DataFrame:
    """Return how each welder welded each joint.

    Parameters
    ----------
    joints : DataFrame
        Columns ``joint``, ``process``, ``position``, ``thickness_mm``.
    deposits : DataFrame
        Columns ``joint``, ``welder``, ``process``, ``position``; blank where it is the joint's.

    Returns
    -------
    DataFrame
        Columns ``joint``, ``welder`` and the effects, and a row with welder "" for each joint.
    """
    columns = ["joint", "welder", "process", "position"]
    mine = deposits[columns].drop_duplicates(["joint", "welder"])
    nobody = joints[["joint"]].assign(welder="", process=None, position=None)
    made = pd.concat([mine, nobody.astype(mine.dtypes.to_dict())], ignore_index=True)
    of = joints.set_index("joint").reindex(made["joint"]).set_index(made.index)
    return made.assign(
        process=made["process"].fillna(of["process"]),
        position=made["position"].fillna(of["position"]),
        thickness=thickness_band(of["thickness_mm"]),
    )


def histories(
    examined: pd.DataFrame, joints: pd.DataFrame, deposits: pd.DataFrame
) -> dict[str, pd.DataFrame]:
    """Return what first examinations found, by kind of method, one row for each piece of work.

    Parameters
    ----------
    examined : DataFrame
        First examinations that accepted or rejected: ``joint``, ``method``, ``from_mm``,
        ``to_mm`` (filled in), ``found`` (rejectable imperfections).
    joints, deposits : DataFrame
        As for :func:`work_of`.

    Returns
    -------
    dict
        For each :func:`kind_of` method a frame with ``metres``, ``found`` and the effects. What
        several welded is shared between them by length.

    Notes
    -----
    All first examinations count, whoever chose the place: given what a weld is like and who welded
    it, the choice tells nothing more (the likelihood is the same). A rate that describes all welds
    is another matter; :mod:`ndtstats.rates` makes it from what chance chose.
    """
    cells = examined.reset_index(drop=True)
    parts = welders_of(cells, deposits)
    alone = pd.DataFrame(
        {"cell": np.setdiff1d(cells.index, parts["cell"]), "welder": "", "length_mm": 1.0}
    )
    parts = pd.concat([parts[["cell", "welder", "length_mm"]], alone], ignore_index=True)
    share = parts["length_mm"] / parts.groupby("cell")["length_mm"].transform("sum")
    of = cells.loc[parts["cell"]].set_index(parts.index)
    rows = pd.DataFrame(
        {
            "joint": of["joint"],
            "welder": parts["welder"].astype("str"),
            "kind": of["method"].map(kind_of),
            "metres": share * (of["to_mm"] - of["from_mm"]) / MM_PER_M,
            "found": share * of["found"],
        }
    )
    rows = rows.merge(work_of(joints, deposits), on=["joint", "welder"], how="left")
    return {str(kind): mine for kind, mine in rows.groupby("kind")}


def kind_of(method: str) -> str:
    """Return which methods find the same kind of thing: those that look inside are one.

    Examples
    --------
    >>> kind_of("UT"), kind_of("PT")
    ('RT UT', 'PT')
    """
    return " ".join(VOLUMETRIC) if method in VOLUMETRIC else method


def fit_likelihood(history: pd.DataFrame | None, *, rate_per_m: float) -> Likelihood:
    """Return how likely rejectable imperfections are, from what was found.

    Parameters
    ----------
    history : DataFrame or None
        Columns ``metres``, ``found`` and :data:`EFFECTS`, one kind of method; None: no results.
    rate_per_m : float
        Rate stated by the rules; it weighs as much as one imperfection found.

    Notes
    -----
    A log-linear model of counts in which each effect is shrunk by its own gamma-Poisson prior with
    mean 1 (Efron & Morris 1975; Casella 1985), fitted effect by effect until nothing moves
    (backfitting). An effect whose levels differ by no more than chance brings is 1; where there are
    too few levels to tell, they get the usual spread. Checked against
    simulated yards with known effects, and, for one effect, against
    :func:`~ndtstats.statistics.shrinkage.fit_gamma_poisson`.
    """
    if history is None or not history["metres"].sum() > 0:
        return Likelihood(rate_per_m, 0.0, 0.0, _NO_EFFECTS, USUAL_SHAPE)
    known = history.assign(**{name: history[name].astype("str").fillna("") for name in EFFECTS})
    table = known.groupby(list(EFFECTS), as_index=False)[["metres", "found"]].sum()
    codes = {name: pd.factorize(table[name], sort=True) for name in EFFECTS}
    relative = {name: np.ones(len(levels)) for name, (_, levels) in codes.items()}
    shape = dict.fromkeys(EFFECTS, np.inf)
    metres, found = table["metres"].to_numpy(float), table["found"].to_numpy(float)
    rate = rate_per_m
    for _ in range(_ROUNDS):
        before = {**relative, "": np.array([rate])}
        rate = _mean_rate(metres * _product(relative, codes), found, rate_per_m)
        for name in EFFECTS:
            others = _product(relative, codes) / relative[name][codes[name][0]]
            seen = _by_level(codes[name], metres * rate * others, found)
            relative[name], shape[name] = _shrunk_effect(name, *seen, codes[name][1])
        moved = [np.abs(relative[name] / before[name] - 1).max() for name in EFFECTS]
        if max(*moved, abs(rate / before[""][0] - 1)) < 1e-6:
            break
    effects = [_told(name, table, codes[name], relative, codes, rate) for name in EFFECTS]
    return Likelihood(
        rate_per_m=float(rate),
        examined_m=float(metres.sum()),
        found=float(found.sum()),
        effects=pd.concat(effects, ignore_index=True),
        shape=float(shape["welder"]),
    )


_NO_EFFECTS = pd.DataFrame(
    {
        "factor": pd.Series(dtype="str"),
        "level": pd.Series(dtype="str"),
        **{
            name: pd.Series(dtype="float64")
            for name in ("examined_m", "found", "expected", "relative")
        },
    }
)

_Codes = tuple[npt.NDArray[np.intp], "pd.Index[Any]"]
_Floats = npt.NDArray[np.float64]


def _mean_rate(exposure: _Floats, found: _Floats, stated: float) -> float:
    return float((_STATED + found.sum()) / (_STATED / stated + exposure.sum()))


def _product(relative: Mapping[str, _Floats], codes: Mapping[str, _Codes]) -> Any:
    product: Any = 1.0
    for name, (code, _) in codes.items():
        product = product * relative[name][code]
    return product


def _by_level(codes: _Codes, expected: _Floats, found: _Floats) -> tuple[_Floats, _Floats]:
    code, levels = codes
    sums = (np.bincount(code, part, len(levels)) for part in (expected, found))
    first, second = (np.asarray(part, float) for part in sums)
    return first, second


def _shrunk_effect(
    name: str, expected: _Floats, found: _Floats, levels: Any
) -> tuple[_Floats, float]:
    """Return the relative rate of each level, and the shape of what they are drawn from."""
    named = np.asarray(levels != "")
    prior = fit_gamma_poisson(found[named], expected[named], mean=1.0)
    told = prior.groups >= LEAST_GROUPS and found.sum() > 0
    shape = prior.a if told else USUAL_SHAPE
    if name == "welder":
        shape = min(shape, MOST_ALIKE)
    if not np.isfinite(shape):
        return np.ones(len(expected)), float(shape)
    return np.where(named, (shape + found) / (shape + expected), 1.0), float(shape)


def _told(
    name: str,
    table: pd.DataFrame,
    of: _Codes,
    relative: Mapping[str, _Floats],
    codes: Mapping[str, _Codes],
    rate: float,
) -> pd.DataFrame:
    """Return what an effect rests on, level by level."""
    others = _product(relative, codes) / relative[name][of[0]]
    metres = table["metres"].to_numpy(float)
    expected, found = _by_level(of, metres * rate * others, table["found"].to_numpy(float))
    levels = of[1]
    rows = pd.DataFrame(
        {
            "factor": name,
            "level": pd.Series(levels, dtype="str"),
            "examined_m": np.bincount(of[0], metres, len(levels)),
            "found": found,
            "expected": expected,
            "relative": relative[name],
        }
    )
    return rows[rows["level"] != ""]
