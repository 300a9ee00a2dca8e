"""Sentences of the pages, made from the figures: what is known, how sure, and what to do."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from ndtstats.report import formatting as show

#: Fewer examinations than this are called a small sample: common practice, no source.
SMALL = 30


@dataclass(frozen=True, slots=True)
class Decision:
    """One thing to decide, and the section of the page that tells more (``anchor``)."""

    text: str
    anchor: str


def rate_sentence(job: str, method: str, row: pd.Series | None) -> str:
    """Return how often welds were rejected and how sure that is.

    Parameters
    ----------
    job, method : str
        What the sentence is about.
    row : Series or None
        Of :func:`ndtstats.rates.rates`: ``basis``, ``rejected``, ``examined``, ``rate``, ``lower``,
        ``upper``, ``level``; None where nothing was examined.
    """
    if row is None or row["examined"] == 0:
        return f"Nothing of job {job} has been examined by {method} yet."
    chosen = " chosen by rule or by chance" if row["basis"] == "unbiased" else ""
    spots = "spot" if row["examined"] == 1 else "spots"
    were = "was" if row["rejected"] == 1 else "were"
    counted = (
        f"Job {job}, {method}: {row['rejected']:,.0f} of {row['examined']:,.0f} {spots}{chosen} "
        f"{were} rejected at first examination."
    )
    whose = "of all its welds" if row["basis"] == "unbiased" else "of what was examined"
    sure = (
        f" The reject rate {whose} is about {show.percent(row['rate'])}; with "
        f"{show.level(row['level'])} confidence it lies between {show.percent(row['lower'])} "
        f"and {show.percent(row['upper'])}."
    )
    return counted + sure + (" That is a small sample." if row["examined"] < SMALL else "")


def extent_part(extents: pd.DataFrame) -> str:
    """Return whether the extents are met, in one short sentence."""
    if extents.empty:
        return "No rules are in force, so no extent is required."
    short = int((extents["state"] == "short").sum())
    if short:
        return f"{show.count(short, 'extent')} {'is' if short == 1 else 'are'} short."
    return "All extents are met." if (extents["state"] == "met").any() else ""


def decisions(
    *, owed: str, extents: pd.DataFrame, extent: str, planned: int, warnings: int
) -> tuple[Decision, ...]:
    """Return what needs a decision, what is owed first.

    Parameters
    ----------
    owed, extent : str
        The sentences of these stages.
    extents : DataFrame
        With the column ``state``.
    planned : int
        Spots that were asked for and not examined yet.
    warnings : int
        Warnings that nobody has dealt with.
    """
    short = len(extents) == 0 or (extents["state"] != "met").any()
    candidates = (
        (owed != "Nothing is owed.", owed, "owed"),
        (short, extent, "extent"),
        (
            planned > 0,
            f"{show.count(planned, 'planned spot')} {'waits' if planned == 1 else 'wait'} for "
            "an examination.",
            "strips",
        ),
        (
            warnings > 0,
            f"{show.count(warnings, 'warning')} {'waits' if warnings == 1 else 'wait'} for "
            "somebody to deal with it." if warnings == 1 else
            f"{show.count(warnings, 'warning')} wait for somebody to deal with them.",
            "warnings",
        ),
    )  # fmt: skip
    return tuple(Decision(text, anchor) for needed, text, anchor in candidates if needed)


def apart_sentence(table: pd.DataFrame, usual: float, level: float) -> str:
    """Return which welders stand apart from the rate of all, and how little that may mean.

    Parameters
    ----------
    table : DataFrame
        One basis: ``welder``, ``examined``, ``lower``, ``upper``.
    usual : float
        The rate of all together.
    level : float
        Confidence level of the bounds.

    Examples
    --------
    >>> apart_sentence(pd.DataFrame({"welder": ["A", "B"], "examined": [9, 40],
    ...     "lower": [0.01, 0.0], "upper": [0.5, 0.09]}), 0.05, 0.95)
    'The bounds of all 2 welders hold the rate of all together (5.0 %): these figures do not tell \
them apart. 1 welder has fewer than 30 spots examined: a small sample, with long bounds because \
little is known.'
    """
    rows = table[table["examined"] > 0]
    if len(rows) < 2:
        return ""
    high = rows.loc[rows["lower"] > usual, "welder"].tolist()
    low = rows.loc[rows["upper"] < usual, "welder"].tolist()
    if not high and not low:
        said = (
            f"The bounds of all {len(rows)} welders hold the rate of all together "
            f"({show.percent(usual)}): these figures do not tell them apart."
        )
    else:
        said = " ".join(
            _beside(names, where) for names, where in ((high, "above"), (low, "below")) if names
        )
        said += (
            f" With {len(rows)} welders compared at once, about one in {1 / (1 - level):.0f} such "
            "bounds misses by chance alone: a reason to look closer, no finding yet."
        )
    small = int((rows["examined"] < SMALL).sum())
    if not small:
        return said
    have = "has" if small == 1 else "have"
    return (
        f"{said} {show.count(small, 'welder')} {have} fewer than {SMALL} spots examined: "
        f"{'a small sample' if small == 1 else 'small samples'}, with long bounds because little "
        "is known."
    )


def _beside(names: list[Any], where: str) -> str:
    whole = "The bounds of welder" if len(names) == 1 else "The bounds of welders"
    return f"{whole} {show.listed([str(n) for n in names])} lie wholly {where} the rate of all."


def others_sentence(table: pd.DataFrame, method: str) -> str:
    """Return what the other methods examined, which is not in the rates shown.

    Parameters
    ----------
    table : DataFrame
        Everything examined (described basis): ``method``, ``rejected``, ``examined``.
    method : str
        The method of the rates shown.
    """
    rows = table[(table["method"] != method) & (table["examined"] > 0)]
    if rows.empty:
        return ""
    parts = [
        f"{row.method} {row.rejected:,.0f} of {row.examined:,.0f}" for row in rows.itertuples()
    ]
    return f"Rejected by other methods, not in these rates: {show.listed(parts)}."
