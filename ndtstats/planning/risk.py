"""The risk of a cell: a product of factors that anybody can read, and change in the rules file.

What earlier examinations found speaks first (:mod:`ndtstats.planning.likelihood`), then what the
rules say of the place, then what an imperfection there would mean.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.planning.likelihood import EFFECTS, Likelihood
from ndtstats.planning.order import zones_within
from ndtstats.rules import Risk

#: Factors that the rules state, in the order in which they are shown.
OF_RULES = (
    "first_work_of_welder",
    "first_work_of_procedure",
    "bead_end",
    "crossing",
    "difficult_access",
    "near_repair",
    "hidden_later",
)
#: All factors, in the order in which they are shown.
FACTORS = (*EFFECTS, *OF_RULES, "consequence")


def risk_factors(
    cells: pd.DataFrame,
    joints: pd.DataFrame,
    rejects: pd.DataFrame,
    risk: Risk,
    *,
    likelihood: Likelihood,
    hidden_zones: Any = (),
) -> pd.DataFrame:
    """Return the factors of each cell; its risk is their product.

    Parameters
    ----------
    cells : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, ``mandatory``, the flags ``first_of_welder``,
        ``first_of_procedure``, and the effects ``process``, ``position``, ``thickness``,
        ``welder``.
    joints : DataFrame
        Columns ``joint``, ``zone``, ``length_mm``, ``category``.
    rejects : DataFrame
        Rejected places: ``joint``, ``from_mm``, ``to_mm``.
    risk : Risk
        The factors of the rules.
    likelihood : Likelihood
        What results say of the effects.
    hidden_zones : collection of str
        Zones that nobody will see again after their due date.

    Returns
    -------
    DataFrame
        One column for each of :data:`FACTORS`, 1 where a factor does not apply, aligned to
        ``cells``.
    """
    known = joints.set_index("joint")[["zone", "length_mm", "category"]]
    of = known.reindex(cells["joint"]).set_index(cells.index)
    at_end = (cells["from_mm"] <= 0) | (cells["to_mm"] >= of["length_mm"])
    consequence = of["category"].astype(object).map(risk.consequence).astype("float64")
    near = _near(cells, rejects, risk.near_repair_mm)
    learned = {name: likelihood.relative(name, cells[name]) for name in EFFECTS}
    stated = {
        "first_work_of_welder": _factor(cells["first_of_welder"], risk.first_work_of_welder),
        "first_work_of_procedure": _factor(
            cells["first_of_procedure"], risk.first_work_of_procedure
        ),
        "bead_end": _factor(at_end, risk.bead_end),
        "crossing": _factor(cells["mandatory"] == "crossing", risk.crossing),
        "difficult_access": _factor(
            cells["position"].isin(list(risk.difficult_positions)), risk.difficult_access
        ),
        "near_repair": _factor(near, risk.near_repair),
        "hidden_later": _factor(of["zone"].isin(list(hidden_zones)), risk.hidden_later),
        "consequence": consequence.fillna(1.0).to_numpy(),
    }
    return pd.DataFrame(learned | stated, index=cells.index)


def factors_in_words(factors: pd.DataFrame) -> Any:
    """Return the factors of each cell that apply, as the product that its risk is.

    Examples
    --------
    >>> factors_in_words(pd.DataFrame({"bead_end": [1.5, 1.0], "crossing": [2.0, 1.0]})).tolist()
    ['bead end 1.5 × crossing 2', '']
    """
    distinct, which = _distinct(factors)
    text = pd.Series("", index=distinct.index, dtype="str")
    for name in distinct.columns:
        shown = f"{name.replace('_', ' ')} " + distinct[name].map("{:.3g}".format).astype("str")
        joined = (text + " × " + shown).where(text != "", shown)
        text = text.where(distinct[name] == 1.0, joined)
    return pd.Series(text.array.take(which), index=factors.index)


def _distinct(factors: pd.DataFrame) -> tuple[pd.DataFrame, npt.NDArray[np.int64]]:
    """Return the rows that differ, and which of them each row is: they are few, and cells many."""
    which = np.zeros(len(factors), dtype=np.int64)
    for name in factors.columns:
        codes, values = pd.factorize(factors[name])
        which = pd.factorize(which * max(len(values), 1) + codes)[0].astype(np.int64)
    _, first = np.unique(which, return_index=True)
    return factors.iloc[first].reset_index(drop=True), which


def hidden_zones(zones: pd.DataFrame, milestones: Any) -> list[str]:
    """Return the zones that end, or stand in one that ends, with one of some milestones.

    Parameters
    ----------
    zones : DataFrame
        Columns ``zone``, ``parent``, ``milestone`` of one job.
    milestones : collection of str
        Such as "close".

    Examples
    --------
    >>> zones = pd.DataFrame({"zone": ["BLOCK", "TANK", "DECK"], "parent": [None, "BLOCK", None],
    ...                       "milestone": ["close", None, "paint"]})
    >>> hidden_zones(zones, ["close"])
    ['BLOCK', 'TANK']
    """
    ending = zones.loc[zones["milestone"].isin(list(milestones)), "zone"]
    return zones_within(zones, *ending)


def _factor(applies: Any, factor: float) -> Any:
    return np.where(np.asarray(applies, dtype=bool), factor, 1.0)


def _near(cells: pd.DataFrame, rejects: pd.DataFrame, within_mm: float) -> Any:
    """Return which cells lie within a distance of a rejected place of their joint."""
    places = rejects[["joint", "from_mm", "to_mm"]]
    pairs = (
        cells[["joint", "from_mm", "to_mm"]]
        .reset_index(names="cell")
        .merge(places, on="joint", suffixes=("", "_bad"))
    )
    near = (pairs["from_mm"] < pairs["to_mm_bad"] + within_mm) & (
        pairs["to_mm"] > pairs["from_mm_bad"] - within_mm
    )
    return cells.index.isin(pairs.loc[near, "cell"])
