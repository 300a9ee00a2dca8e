"""The draw from the joints of a job: the frame of each rule, its strata, and the spots."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.numbers import looked_up, numbered, positions
from ndtstats.planning.allocation import strata_of, unreached
from ndtstats.planning.draw import DRAWS, draw_reserves
from ndtstats.planning.exposures import exposures_of
from ndtstats.planning.frame import cut_frame, ends_named, frame_sha256
from ndtstats.planning.likelihood import EFFECTS, Likelihood, fit_likelihood, kind_of, work_of
from ndtstats.planning.one_spot import draw_of_frame
from ndtstats.planning.risk import OF_RULES, factors_in_words, hidden_zones, risk_factors
from ndtstats.planning.sequence import with_sequence
from ndtstats.planning.tightened import Tightened, factors_of_crews, tightened_told
from ndtstats.planning.work import first_joints, lead_for_all, leading_welder
from ndtstats.rules import (
    ExtentRule,
    Rules,
    Structure,
    joints_under,
    nameless,
    spot_length_of,
)
from ndtstats.rules.amount import check_points, round_up
from ndtstats.rules.families import CheckPoints
from ndtstats.units import MM_PER_M

#: What tells one cell of a frame from another, and what its probability rests on.
_HASHED = ["joint", "rule", "method", "from_mm", "to_mm", "mandatory", "stratum", "welder", "risk"]


@dataclass(frozen=True, slots=True)
class Yard:
    """What a draw rests on: one job as the register tells it.

    Attributes
    ----------
    joints : DataFrame
        Table of the register, in walking order: all joints, for what was welded first is told from
        all of them.
    deposits : DataFrame
        Table of the register.
    rejects : DataFrame
        Rejected places: ``joint``, ``from_mm``, ``to_mm``.
    zones : DataFrame or None
        Table of the register.
    likelihoods : mapping of str to Likelihood
        What results say, by kind of method; a kind without any may be left out.
    tightened : mapping of (str, str) to float
        By welder and method: what his extent is multiplied by.
    """

    joints: pd.DataFrame
    deposits: pd.DataFrame
    rejects: pd.DataFrame
    zones: pd.DataFrame | None = None
    likelihoods: Mapping[str, Likelihood] = field(default_factory=dict)
    tightened: Tightened = field(default_factory=dict)

    def likelihood(self, rules: Rules, method: str) -> Likelihood:
        """Return how likely imperfections are that a method finds; as the rules say, if unknown."""
        known = self.likelihoods.get(kind_of(method))
        return known or fit_likelihood(None, rate_per_m=rules.file.risk.rate_per_m)

    def hidden_zones(self, rules: Rules) -> list[str]:
        """Return the zones that nobody will see again."""
        return [] if self.zones is None else hidden_zones(self.zones, rules.file.risk.hidden_by)


@dataclass(frozen=True, slots=True)
class Drawing:
    """What a draw gives: the frame with its probabilities, and the spots."""

    cells: pd.DataFrame
    spots: pd.DataFrame
    notes: tuple[str, ...] = ()

    @property
    def sha256(self) -> str:
        """Digest of the frame."""
        return frame_sha256(self.cells, _HASHED)


def draw(yard: Yard, rules: Rules, *, seed: int, only: Collection[str] | None = None) -> Drawing:
    """Return a draw from the joints of one job: a pure function of its arguments.

    Parameters
    ----------
    yard : Yard
        The job.
    rules : Rules
        What to examine.
    seed : int
        Seed of the chance; the same arguments give the same draw.
    only : collection of str, optional
        Names of the joints to draw from; None: all.

    Returns
    -------
    Drawing
        ``cells``: the frame (:func:`frame_of_rules`); ``spots``: what was drawn, with ``part``
        (required, random, reserve), ``why``, ``draw_order``.
    """
    rng = np.random.default_rng(np.random.SeedSequence(seed))
    cells, notes = frame_of_rules(yard, rules, only=only)
    codes, _ = pd.factorize(cells["rule"] + "|" + cells["stratum"])
    drawn = draw_of_frame(DRAWS[rules.file.draw.method], cells, codes, rules, rng)
    rank = np.zeros(len(cells), dtype=np.int64)
    for rule in rules.extent:
        mine = (cells["rule"] == rule.name).to_numpy()
        own, _ = pd.factorize(codes[mine])
        pi = cells["pi"].to_numpy(float)[mine]
        rank[mine] = draw_reserves(drawn[mine], pi, own, rule.reserve_share, rng)
    return Drawing(cells, _spots(cells, drawn, rank, rules), notes)


def frame_of_rules(
    yard: Yard, rules: Rules, *, only: Collection[str] | None = None
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the frame of all rules, and what a reader must know of it.

    Parameters
    ----------
    yard, rules, only
        As for :func:`draw`.

    Returns
    -------
    cells : DataFrame
        Columns ``joint``, ``from_mm``, ``to_mm``, ``mandatory``, ``rule``, ``method``, ``welder``
        (under whose name it is drawn), ``stratum``, ``pi``, ``why``, ``exposures``, the effects
        and flags of its risk, ``factors`` (in words) and ``risk`` (their product).
    notes : tuple of str
        Rules without a place, what the likelihood rests on, who is tightened, joints in no rule,
        and weld that chance cannot reach.

    Raises
    ------
    UseError
        If no joint falls under any rule.
    """
    joints = yard.joints if only is None else yard.joints[yard.joints["joint"].isin(list(only))]
    frames, notes = [], []
    for rule in rules.extent:
        under = joints_under(joints, rule)
        if under.empty:
            continue
        framed = frame_of_rule(under, yard, rules, rule)
        if framed.empty:
            notes.append(f'rule "{rule.name}": no place falls under it')
            continue
        frames.append(framed)
    if not frames:
        raise UseError(
            "no joint to plan for: none that is new since the last plan stands in a category of "
            f'the rules "{rules.title}" ({", ".join(sorted(rules.categories))})'
        )
    kinds = dict.fromkeys(kind_of(rule.method) for rule in rules.extent)
    notes += [f"{kind}: {yard.likelihood(rules, kind.split()[0]).sentence}" for kind in kinds]
    cells = pd.concat(frames, ignore_index=True)
    notes += [tightened_told(yard.tightened), nameless(yard.joints, rules), unreached(cells)]
    return cells, tuple(note for note in notes if note)


def frame_of_rule(under: pd.DataFrame, yard: Yard, rules: Rules, rule: ExtentRule) -> pd.DataFrame:
    """Return the cells that a rule is about, with stratum, risk and probability."""
    # Whose first work a joint is, is told from all joints under the rule, planned before or not.
    everything = joints_under(yard.joints, rule)
    made = yard.deposits[yard.deposits["joint"].isin(everything["joint"])]
    made = made.assign(procedure=made["procedure"].fillna(_of_joint(made, everything, "procedure")))
    cells = _cells_of_rule(under, made, rules, rule)
    if cells.empty:
        return cells
    group_of = _groups(under, rule)
    groups = cells["joint"].map(group_of.set_axis(under["joint"]))
    of_group = {str(name): at for name, at in cells.groupby(groups, sort=False).indices.items()}
    leads = [_leading(cells.iloc[at], made, rule) for at in of_group.values()]
    cells = with_flags(cells.assign(welder=pd.concat(leads)), yard, rules)
    cells = with_risk(cells, under, yard, rules, rule)
    basis = _basis_mm(under, group_of, cells, groups, rule)
    part = under["length_mm"].sum() / everything["length_mm"].sum()
    asked = _of_part(rule, rules.file.structure, float(part))
    parts = []
    for group, at in of_group.items():
        mine = cells.iloc[at]
        # The power tempers how far risk pulls the draw; the risk shown is the product itself.
        pulled = with_sequence(mine, under, made, rule)
        pulled = pulled.assign(
            risk=mine["risk"] ** rules.file.risk.exponent,
            factor=factors_of_crews(pulled["crew"], yard.tightened, rule),
        )
        strata = strata_of(pulled, asked, rules.file.structure, length_mm=basis[group])
        named = f"{group} " if group else ""
        parts.append(
            mine.assign(
                crew=pulled["crew"],
                stratum=named + strata["stratum"],
                pi=strata["pi"],
                why=strata["why"],
            )
        )
    framed: pd.DataFrame = pd.concat(parts).reindex(cells.index)
    return framed.assign(rule=rule.name, method=rule.method)


def _of_part(rule: ExtentRule, structure: Structure, part: float) -> ExtentRule:
    """Return a rule with its check points in proportion, where some joints are planned already.

    A number of points for the whole structure must not be asked for again with every plan.
    """
    amount = rule.amount
    if not isinstance(amount, CheckPoints) or part >= 1.0:
        return rule
    update: dict[str, float | None]
    if amount.lengths is not None:
        update = {"lengths": amount.lengths * part}
    else:
        number = int(round_up(check_points(amount, structure) * part))
        update = {"points": number, "divisor": None}
    return rule.model_copy(update={"amount": amount.model_copy(update=update)})


def with_flags(cells: pd.DataFrame, yard: Yard, rules: Rules) -> pd.DataFrame:
    """Return cells with what their risk hangs on beside their place.

    Returns
    -------
    DataFrame
        ``process``, ``position``, ``thickness`` of the work of their ``welder``, and the flags
        ``first_of_welder``, ``first_of_procedure``: first in the whole job.
    """
    work = work_of(yard.joints, yard.deposits)
    at = positions(*numbered(work, cells, by=("joint", "welder")))
    of = work[["process", "position", "thickness"]].reindex(at).set_index(cells.index)
    number = rules.file.risk.first_joints
    made = yard.deposits
    made = made.assign(
        procedure=made["procedure"].fillna(_of_joint(made, yard.joints, "procedure"))
    )
    return cells.assign(
        **{name: of[name] for name in of.columns},
        first_of_welder=_is_first(cells, made, "welder", number),
        first_of_procedure=_is_first(cells, made, "procedure", number),
    )


def with_risk(
    cells: pd.DataFrame,
    under: pd.DataFrame,
    yard: Yard,
    rules: Rules,
    rule: ExtentRule,
    *,
    in_words: bool = True,
) -> pd.DataFrame:
    """Return the cells of a rule with what is at risk there.

    Returns
    -------
    DataFrame
        ``factors`` (blank unless they are asked for ``in_words``), ``risk`` (their product);
        ``mean_expected``: rejectable imperfections that an examination would find of a welder at
        the mean, without the factors that the rules state; ``stated``: the product of those;
        ``consequence``; ``exposures``.
    """
    likelihood = yard.likelihood(rules, rule.method)
    factors = factors_of(cells, under, yard, rules, rule)
    metres = (cells["to_mm"] - cells["from_mm"]) / MM_PER_M
    learned = factors[[name for name in EFFECTS if name != "welder"]].prod(axis=1)
    return cells.assign(
        risk=factors.prod(axis=1),
        factors=factors_in_words(factors) if in_words else "",
        mean_expected=metres * likelihood.rate_per_m * learned,
        stated=factors[list(OF_RULES)].prod(axis=1),
        consequence=factors["consequence"],
        exposures=exposures_of(cells, rule),
    )


def factors_of(
    cells: pd.DataFrame, under: pd.DataFrame, yard: Yard, rules: Rules, rule: ExtentRule
) -> pd.DataFrame:
    """Return the risk factors of the cells of a rule (:func:`risk_factors`)."""
    return risk_factors(
        cells,
        under,
        yard.rejects,
        rules.file.risk,
        likelihood=yard.likelihood(rules, rule.method),
        hidden_zones=yard.hidden_zones(rules),
    )


def _cells_of_rule(
    under: pd.DataFrame, deposits: pd.DataFrame, rules: Rules, rule: ExtentRule
) -> pd.DataFrame:
    """Return the joints under a rule cut, without the places that it is not about."""
    whole = under["whole"].astype("boolean").fillna(value=False) | rule.whole_joints
    around = [
        other.spot_length_mm
        for other in rules.extent
        if other.places == "crossings" and set(other.categories) & set(rule.categories)
    ]
    cells = cut_frame(
        under.assign(whole=whole),
        spot_length_mm=spot_length_of(rule, under["length_mm"]),
        crossing_length_mm=max(around, default=None),
        ends=ends_named(rule),
    )
    if rule.places != "all":
        crossing = cells["mandatory"] == "crossing"
        cells = cells[crossing if rule.places == "crossings" else ~crossing]
    first = _is_first(cells, deposits, rule.first_off.of, rule.first_off.joints)
    joint_mm = looked_up(cells["joint"], under.set_index("joint")["length_mm"])
    return cells.assign(first_off=first, joint_mm=joint_mm)


def _leading(cells: pd.DataFrame, deposits: pd.DataFrame, rule: ExtentRule) -> "pd.Series[str]":
    """Return under whose name each cell is drawn."""
    return lead_for_all(
        leading_welder(cells, deposits),
        cells,
        deposits,
        spot_length_mm=spot_length_of(rule, cells["joint_mm"]),
        least=rule.spots_per_welder,
    )


def _groups(joints: pd.DataFrame, rule: ExtentRule) -> "pd.Series[str]":
    """Return the group in which the amount of a rule is counted for each joint."""
    if not rule.counted_per:
        return pd.Series("", index=joints.index, dtype="str")
    return joints[list(rule.counted_per)].astype("str").fillna("?").agg(" ".join, axis=1)


def _basis_mm(
    joints: pd.DataFrame,
    group_of: "pd.Series[str]",
    cells: pd.DataFrame,
    groups: "pd.Series[str]",
    rule: ExtentRule,
) -> "pd.Series[float]":
    """Return by group the weld length that the amount of a rule is worked out for."""
    if rule.places == "crossings":
        return (cells["to_mm"] - cells["from_mm"]).groupby(groups).sum()
    # Beside the crossings as well, the share is that of the whole joints.
    return joints["length_mm"].groupby(group_of).sum()


def _of_joint(deposits: pd.DataFrame, joints: pd.DataFrame, column: str) -> Any:
    return deposits["joint"].map(joints.set_index("joint")[column])


def _is_first(cells: pd.DataFrame, deposits: pd.DataFrame, of: str, number: int) -> Any:
    return cells["joint"].isin(first_joints(deposits, of, number)["joint"])


def _spots(cells: pd.DataFrame, drawn: Any, rank: Any, rules: Rules) -> pd.DataFrame:
    """Return the drawn cells and the reserves as spots, in order of the draw."""
    taken = drawn | (rank > 0)
    spots = cells[taken]
    certain = spots["pi"] >= 1.0 - 1e-12
    reserve = rank[taken] > 0
    part = np.where(reserve, "reserve", np.where(certain, "required", "random"))
    forced = certain & spots["why"].str.match("drawn by chance(;|$)")
    all_of_it = spots["why"].str.replace("drawn by chance", "all of this stratum is needed")
    why = spots["why"].mask(forced, all_of_it)
    order = pd.Series(rank[taken], index=spots.index) + np.where(reserve, len(cells), 0)
    numbered = order.rank(method="first").astype(int)
    return spots_of(spots.assign(part=part, why=why, draw_order=numbered), rules)


def spots_of(cells: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Return chosen cells as spots: with technique and acceptance, and the risk as a reason."""
    of_rule = {rule.name: rule for rule in rules.extent}
    # Anybody who reads why a spot was chosen sees what its risk is made of.
    risky = cells["why"] + "; risk: " + cells["factors"]
    spots: pd.DataFrame = cells.assign(
        why=risky.where(cells["factors"] != "", cells["why"]),
        technique=cells["rule"].map({name: r.technique or None for name, r in of_rule.items()}),
        acceptance=cells["rule"].map({name: r.acceptance or None for name, r in of_rule.items()}),
        conditions=cells["rule"].map({name: r.conditions or None for name, r in of_rule.items()}),
        round=0,
    ).reset_index(drop=True)
    return spots
