"""Observed against expected rejects: what a group's work was has to be no part of its blame.

A welder who is given the overhead closing plates is rejected more often than one who welds flat
seams, with the same skill. What his work would have led to in the hands of the whole yard is
expected by a logistic model of the kind of work, in which the welder has no part (indirect
standardisation).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.statistics.comparison import false_discovery
from ndtstats.statistics.funnel import chance_of_so_far, funnel_limits, overdispersion
from ndtstats.statistics.logistic import fit_logistic, is_separated, maximum
from ndtstats.statistics.proportions import proportion_interval

_Floats = npt.NDArray[np.float64]

#: What a missing level of a factor is called.
UNKNOWN = "unknown"
#: Rejects for each coefficient below which a model is shaky (Peduzzi et al. 1996, J. Clin.
#: Epidemiol. 49:1373, from memory).
REJECTS_PER_COEFFICIENT = 10
#: From this share on a group is, in the main, compared with itself.
MOSTLY_ITSELF = 0.5
#: Winsorised spread from which the reader is warned: a mean squared score of chance alone is 1.
WIDE_SPREAD = 1.5
#: A number divided and multiplied again may lie so much below itself.
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Comparison:
    """Groups held against what their work was expected to lead to.

    Parameters
    ----------
    table : DataFrame
        One row a group: see :func:`compare_groups`.
    factors : tuple of str
        The factors that stayed in the model.
    caveats : tuple of str
        What has to be known to read the table rightly, in sentences.
    """

    table: pd.DataFrame
    factors: tuple[str, ...]
    caveats: tuple[str, ...]


def compare_groups(
    counts: pd.DataFrame,
    group: str,
    factors: Sequence[str] = (),
    *,
    level: float = 0.95,
    design_effect: "pd.Series[float] | None" = None,
) -> Comparison:
    """Return observed and expected rejects of each group, and which of them stand out.

    Parameters
    ----------
    counts : DataFrame
        Columns ``group`` (such as "welder"), the ``factors`` (such as "category", "process",
        "position", "thickness"), ``rejected`` and ``examined``; any number of rows of one kind. A
        missing factor is a level of its own.
    group : str
        Name of the column that is compared.
    factors : sequence of str
        Names of what the work differs in.
    level : float
        Level of the bounds, and 1 - the share of false ones among those that stand out.
    design_effect : Series, optional
        By group, 1 or more, where spots go together
        (:func:`ndtstats.statistics.clusters.joint_clustering`); left out, each spot counts in full.

    Returns
    -------
    Comparison
        Its table has a row for each group with anything examined, in order of name: ``examined``,
        ``rejected``, ``expected``, ``ratio`` (observed over expected) with the bounds ``lower`` and
        ``upper``, the funnel ``funnel_lower_95``, ``funnel_upper_95``, ``funnel_lower_998`` and
        ``funnel_upper_998`` about 1, ``p`` (exact, two-sided), ``adjusted_p``, ``stands_out``
        ("high", "low" or "") and ``own_share`` (what share of its own yardstick the group is).

    Raises
    ------
    UseError
        If a column is missing or counts are impossible.

    Notes
    -----
    Ratio and funnel as Spiegelhalter 2005 (Stat. Med. 24:1185); bounds on the ratio are those of
    Clopper & Pearson over the expected rate, taken as known; adjusted p-values by Benjamini &
    Hochberg (1995). Where a level has no reject at all, or nothing but rejects, the likelihood has
    no maximum: the model is penalised (Firth 1993), its intercept set so that all expected rejects
    are all observed (Puhr et al. 2017, Stat. Med. 36:2302), and a caveat says so.

    With design effects bounds, funnel and p-values rest on counts divided by them (Rao & Scott
    1992, Biometrics 48:577, from memory); what is expected does not change.

    Checked against statsmodels, and by hand where a model is saturated: rates of each cell.

    Examples
    --------
    >>> counts = pd.DataFrame({
    ...     "welder": ["A", "A", "B", "B"], "position": ["PA", "PE", "PA", "PE"],
    ...     "rejected": [1, 9, 4, 3], "examined": [20, 80, 80, 20]})
    >>> known = compare_groups(counts, "welder", ["position"]).table
    >>> known[["rejected", "expected", "ratio"]].round(3).to_numpy().tolist()
    [[10.0, 10.6, 0.943], [7.0, 6.4, 1.094]]
    """
    cells = _cells(counts, group, factors)
    kinds, of = _kinds(cells, factors)
    design, kept, caveats = _design(kinds, factors)
    if not kinds["rejected"].any():
        probability = np.zeros(len(kinds))
        caveats.append("No reject at all, so there is nothing to compare.")
    else:
        probability = _probabilities(design, kinds, kept, caveats)
    cells = cells.assign(expected=cells["examined"] * probability[of])
    table = _table(cells, group, kept, level, design_effect)
    caveats += _remarks(table, design.shape[1], group, design_effect)
    return Comparison(table, tuple(kept), tuple(caveats))


def _cells(counts: pd.DataFrame, group: str, factors: Sequence[str]) -> pd.DataFrame:
    """Return the counts of each group and kind of work, each once."""
    missing = [
        name for name in (group, *factors, "rejected", "examined") if name not in counts.columns
    ]
    if missing:
        raise UseError(
            f"the counts have no column {', '.join(missing)}; they need group and factors"
        )
    if group in factors:
        raise UseError(f"{group} cannot be compared and explain the difference; drop the factor")
    numbers = counts[["rejected", "examined"]].to_numpy(float)
    if not bool(np.all((numbers[:, 0] >= 0) & (numbers[:, 0] <= numbers[:, 1]))):
        raise UseError("rejected must lie between 0 and examined")
    named = counts.assign(
        **{
            name: counts[name].astype("str").where(counts[name].notna(), UNKNOWN)
            for name in (group, *factors)
        }
    )
    cells = (
        named.groupby([group, *factors], sort=True)[["rejected", "examined"]].sum().reset_index()
    )
    result: pd.DataFrame = cells[cells["examined"] > 0].reset_index(drop=True)
    return result


def _kinds(cells: pd.DataFrame, factors: Sequence[str]) -> tuple[pd.DataFrame, Any]:
    """Return the counts of each kind of work, whoever did it, and the kind of each cell."""
    if not factors:
        return cells[["rejected", "examined"]].sum().to_frame().T, np.zeros(len(cells), int)
    by = cells.groupby(list(factors), sort=False)
    return by[["rejected", "examined"]].sum().reset_index(), by.ngroup().to_numpy()


def _design(kinds: pd.DataFrame, factors: Sequence[str]) -> tuple[_Floats, list[str], list[str]]:
    """Return the regressors, the factors in them, and what had to be left out."""
    columns, kept, caveats = [np.ones(len(kinds))], [], []
    for name in factors:
        sizes = kinds.groupby(name)["examined"].sum().sort_values(ascending=False, kind="stable")
        if len(sizes) < 2:
            only = f", {sizes.index[0]}" if len(sizes) else ""
            caveats.append(f"{name} has one level only{only}; it explains no difference.")
            continue
        aliased = []
        # As many levels as a drawing has categories: a loop over them is short.
        for level_name in sizes.index[1:]:
            column = (kinds[name] == level_name).to_numpy(float)
            if np.linalg.matrix_rank(np.column_stack([*columns, column])) > len(columns):
                columns.append(column)
            else:
                aliased.append(str(level_name))
        if len(aliased) < len(sizes) - 1:
            kept.append(name)
        if aliased:
            caveats.append(
                f"{name} {', '.join(aliased)} goes always with other levels, so its effect cannot "
                "be told from theirs."
            )
    return np.column_stack(columns), kept, caveats


def _probabilities(
    design: _Floats, kinds: pd.DataFrame, kept: Sequence[str], caveats: list[str]
) -> _Floats:
    """Return the fitted probability of each kind of work; adds to the caveats."""
    from scipy import special  # noqa: PLC0415  (slow to import)

    y, n = kinds["rejected"].to_numpy(float), kinds["examined"].to_numpy(float)
    if not is_separated(design, y, n):
        return maximum(design, y, n, np.zeros(len(n))).probability
    if bool(np.all(y == n)):
        return np.ones(len(kinds))
    caveats.append(_separation(kinds, kept))
    penalised = fit_logistic(design, y, n, firth=True)
    slope = special.logit(penalised.probability)
    return fit_logistic(np.ones((len(kinds), 1)), y, n, offset=slope).probability


def _separation(kinds: pd.DataFrame, kept: Sequence[str]) -> str:
    named = []
    for name in kept:
        sums = kinds.groupby(name)[["rejected", "examined"]].sum()
        for told, found in (
            ("no reject", sums["rejected"] == 0),
            ("nothing but rejects", sums["rejected"] == sums["examined"]),
        ):
            named += [f"{told} at {name} {level}" for level in sums.index[found]]
    because = "; ".join(named) if named else "some combination of factors has no overlap"
    return (
        f"The model had to be penalised ({because}); its expectations there are cautious guesses."
    )


def _effects(groups: "pd.Index[Any]", design_effect: "pd.Series[float] | None") -> _Floats:
    """Return the design effect of each group, 1 where none is stated."""
    if design_effect is None:
        return np.ones(len(groups))
    stated = design_effect.set_axis(design_effect.index.astype("str")).reindex(groups)
    return np.asarray(stated.fillna(1.0), float)


def _table(
    cells: pd.DataFrame,
    group: str,
    kept: Sequence[str],
    level: float,
    design_effect: "pd.Series[float] | None",
) -> pd.DataFrame:
    sums = cells.groupby(group)[["examined", "rejected", "expected"]].sum()
    effect = _effects(sums.index, design_effect)
    n, k = (sums[name].to_numpy(float) / effect for name in ("examined", "rejected"))
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.clip(sums["expected"].to_numpy(float) / (n * effect), 0.0, 1.0)
        bounds = proportion_interval(k, n, level=level)
        columns: dict[str, Any] = {
            "ratio": k / n / rate,
            "lower": bounds.lower / rate,
            "upper": bounds.upper / rate,
        }
        for share, name in ((0.95, "95"), (0.998, "998")):
            # A funnel is drawn for whole numbers of spots; rounded down, it is on the wide side.
            limits = funnel_limits(np.maximum(np.floor(n + _HAIR), 1.0), rate, level=share)
            columns |= {f"funnel_lower_{name}": limits.lower / rate}
            columns |= {f"funnel_upper_{name}": limits.upper / rate}
    p = np.where((rate > 0) & (rate < 1), chance_of_so_far(k, n, rate), np.nan)
    adjusted = false_discovery(p)
    out = adjusted <= 1 - level
    side = np.where(k / n > rate, "high", "low")
    return sums.assign(
        **columns,
        p=p,
        adjusted_p=adjusted,
        stands_out=np.where(out, side, ""),
        own_share=_own_share(cells, group, kept),
    )


def _own_share(cells: pd.DataFrame, group: str, kept: Sequence[str]) -> "pd.Series[float]":
    """Return by group which share of the yardstick for its kinds of work it made itself."""
    of_kind = (
        cells.groupby(list(kept))["examined"].transform("sum")
        if kept
        else pd.Series(cells["examined"].sum(), cells.index)
    )
    own = cells["examined"] ** 2 / of_kind
    shares: pd.Series[float] = (
        own.groupby(cells[group]).sum() / cells.groupby(group)["examined"].sum()
    )
    return shares


def _remarks(
    table: pd.DataFrame,
    coefficients: int,
    group: str,
    design_effect: "pd.Series[float] | None",
) -> list[str]:
    remarks = []
    rejects = table["rejected"].sum()
    if 0 < rejects < REJECTS_PER_COEFFICIENT * (coefficients - 1):
        remarks.append(
            f"{rejects:,.0f} rejects are few for {coefficients - 1} coefficients; "
            "with fewer factors the expectations would be steadier."
        )
    own = table.index[table["own_share"] > MOSTLY_ITSELF]
    if len(table) > 1 and len(own):
        remarks.append(
            f"{group} {', '.join(own)} did most of the work of its kind and is compared with "
            "itself in the main; that hides a difference."
        )
    if len(table) > 2 and rejects:
        rate = table["expected"] / table["examined"]
        effect = _effects(table.index, design_effect)
        k, n = table["rejected"] / effect, table["examined"] / effect
        spread = overdispersion(k, n, rate).winsorised
        if spread > WIDE_SPREAD:
            remarks.append(
                f"The groups spread wider than chance and these factors explain (mean squared "
                f"score {spread:.2g}, 1 expected): something that is not in the model differs."
            )
    return remarks
