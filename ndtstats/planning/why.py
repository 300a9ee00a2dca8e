"""Why a spot is where it is: the rule, the chance, and its risk factor by factor."""

from datetime import timedelta
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.planning.drawing import Yard, factors_of, with_flags
from ndtstats.planning.likelihood import EFFECTS, Likelihood, kind_of
from ndtstats.planning.plan import plan_head
from ndtstats.planning.yard import frame_kept, yard_of
from ndtstats.register import Register
from ndtstats.rules import ExtentRule, Risk, Rules
from ndtstats.rules.force import rules_by_sha256
from ndtstats.units import MM_PER_M


class Why(NamedTuple):
    """Why a spot is where it is.

    Attributes
    ----------
    sentence : str
        Place, part of the plan, rule, probability.
    factors : DataFrame
        Columns ``factor``, ``of`` (what it is about), ``value``, ``rests_on``: the product of the
        values is the risk. Empty for a spot that answers what is owed.
    conclusion : str
        The product, and what is expected there.
    """

    sentence: str
    factors: pd.DataFrame
    conclusion: str


def why_spot(register: Register, spot: str) -> Why:
    """Return why a spot was chosen, by what was known when it was.

    Parameters
    ----------
    spot : str
        Its id.

    Raises
    ------
    UseError
        If no plan has such a spot.
    """
    row = _spot(register, spot)
    head = plan_head(register, row["plan"])
    if head["kind"] != "draw":
        cause = str(row["because"]).rpartition("#")[2]
        said = f"{_place(row)}: {row['why']}, because of {cause}."
        return Why(said, pd.DataFrame(columns=["factor", "of", "value", "rests_on"]), "")
    at = register.batches().set_index("number")["at"][head["batch"]]
    before = at.to_pydatetime() - timedelta(microseconds=1)
    rules = rules_by_sha256(register, head["rules_sha256"])
    yard = yard_of(register, head["job"], rules, before)
    cells = register.table("frame_cells", job=head["job"])
    cell = _cell_of(cells, row)
    rule = next(rule for rule in rules.extent if rule.name == row["rule"])
    factors = _factors(cell, yard, rules, rule)
    sentence = _sentence(row, cell, cells, rule)
    drawn = frame_kept(register, head["job"], yard, rules, at.to_pydatetime(), for_draw=False)
    mean = _mean_stated(drawn, rule)
    return Why(
        sentence, factors, _conclusion(row, factors, yard.likelihood(rules, rule.method), mean)
    )


def _mean_stated(frame: pd.DataFrame, rule: ExtentRule) -> float:
    """Return the mean of the factors that the rules state over all that is examined alike."""
    alike = frame[frame["method"].map(kind_of) == kind_of(rule.method)]
    return float(np.average(alike["stated"], weights=alike["mean_expected"]))


def _spot(register: Register, name: str) -> Any:
    spots = register.table("spots")
    found = spots[spots["spot"] == name.upper()]
    if not found.empty:
        return found.iloc[0]
    close = nearest(name.upper(), list(spots["spot"]))
    hint = f'did you mean "{close}"?' if close else "see the ids with: ndtstats plan show PLAN"
    raise UseError(f'no plan has a spot "{name}"; {hint}')


def _cell_of(cells: pd.DataFrame, row: Any) -> pd.DataFrame:
    """Return the cell of a frame that a spot is, as a frame of one row.

    What is aimed may lie in the frame of an earlier plan.
    """
    same = (cells["joint"] == row["joint"]) & (cells["rule"] == row["rule"])
    same &= (cells["from_mm"] == row["from_mm"]) & (cells["to_mm"] == row["to_mm"])
    mine = cells[same].sort_values("batch").tail(1)
    known: pd.DataFrame = mine.assign(
        mandatory=mine["mandatory"].fillna(""), welder=mine["welder"].fillna("")
    )
    return known


def _factors(cell: pd.DataFrame, yard: Yard, rules: Rules, rule: ExtentRule) -> pd.DataFrame:
    flagged = with_flags(cell, yard, rules)
    values = factors_of(flagged, yard.joints, yard, rules, rule).iloc[0]
    joint = yard.joints.set_index("joint").loc[cell["joint"].iloc[0]]
    likelihood = yard.likelihood(rules, rule.method)
    of = {name: flagged[name].iloc[0] for name in EFFECTS}
    of |= {"consequence": f"category {joint['category']}", "hidden_later": f"zone {joint['zone']}"}
    learned = {name: _basis(likelihood, name, of[name]) for name in EFFECTS}
    stated = [_stated(rules.file.risk, str(name), value) for name, value in values.items()]
    return pd.DataFrame(
        {
            "factor": [name.replace("_", " ") for name in values.index],
            "of": pd.Series([of.get(name) for name in values.index], dtype="str").fillna(""),
            "value": values.to_numpy(float),
            "rests_on": [
                learned.get(str(name), told)
                for name, told in zip(values.index, stated, strict=True)
            ],
        }
    )


def _stated(risk: Risk, name: str, value: float) -> str:
    """Return what a factor of the rules rests on."""
    if value != 1.0:
        return "the rules"
    usual = 1.0 if name == "consequence" else getattr(risk, name, 1.0)
    if usual == 1.0:
        return "the rules state none"
    return f"does not apply here; where it does, the rules say {usual:g}"


def _basis(likelihood: Likelihood, name: str, level: Any) -> str:
    """Return what a learned factor rests on."""
    known = likelihood.effects
    mine = known[(known["factor"] == name) & (known["level"] == level)]
    if mine.empty:
        return "no results yet" if level else "not known"
    seen = mine.iloc[0]
    return (
        f"{seen['found']:.3g} found where {seen['expected']:.3g} were expected, "
        f"in {seen['examined_m']:.3g} m"
    )


def _place(row: Any) -> str:
    return (
        f"{row['spot']}, joint {row['joint']}, {row['from_mm']:,.0f} to {row['to_mm']:,.0f} mm, "
        f"{row['method']}"
    )


def _sentence(row: Any, cell: pd.DataFrame, cells: pd.DataFrame, rule: ExtentRule) -> str:
    reason = str(row["why"]).split("; risk:")[0]
    said = f'{_place(row)}: {row["part"]}, {reason}; rule "{rule.name}".'
    if row["part"] not in {"random", "reserve"}:
        return said
    one = cells[(cells["plan"] == row["plan"]) & (cells["rule"] == row["rule"])]
    one = one[one["stratum"] == row["stratum"]]
    return (
        f'{said} Chance drew {one["pi"].sum():.0f} of {len(one)} cells of "{row["stratum"]}"; '
        f"this one had a probability of {cell['pi'].iloc[0]:.3g}."
    )


def _conclusion(row: Any, factors: pd.DataFrame, likelihood: Likelihood, mean: float) -> str:
    value = factors["value"].to_numpy(float)
    applied = " × ".join(f"{factor:.3g}" for factor in value if factor != 1.0) or "1"
    metres = (row["to_mm"] - row["from_mm"]) / MM_PER_M
    # The last factor is the consequence: how many there are does not hang on that.
    expected = metres * likelihood.rate_per_m * float(np.prod(value[:-1])) / mean
    return (
        f"Risk {np.prod(value):.3g} = {applied}. {likelihood.sentence} The factors of the rules "
        f"average {mean:.3g} over the frame; set against that, the {metres:.3g} m here lead to "
        f"{expected:.2g} rejectable imperfections."
    )
