"""Sentences of the pages, made from the figures: what is known, how sure, and what to do."""

from collections.abc import Mapping
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


def together(*said: str) -> str:
    """Return sentences one after the other, but for those that are blank.

    Examples
    --------
    >>> together("Nothing is owed.", "", "All extents are met.")
    'Nothing is owed. All extents are met.'
    """
    return " ".join(filter(None, said))


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
    *,
    owed: str,
    extents: pd.DataFrame,
    extent: str,
    planned: int,
    warnings: int,
    lapsing: str = "",
    apart: str = "",
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
    lapsing, apart : str
        What lapses soon, and who stands out above; "" if nothing and nobody.
    """
    short = len(extents) == 0 or (extents["state"] != "met").any()
    candidates = (
        (owed != "Nothing is owed.", owed, "owed"),
        (short, extent, "extent"),
        (bool(apart), apart, "rates"),
        (bool(lapsing), lapsing, "lapsing"),
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


def few_sentence(table: pd.DataFrame) -> str:
    """Return how many welders are known by a small sample only; "" if none is.

    Parameters
    ----------
    table : DataFrame
        One basis: ``welder``, ``examined``.

    Examples
    --------
    >>> few_sentence(pd.DataFrame({"welder": ["A", "B"], "examined": [9, 40]}))
    '1 of 2 welders has fewer than 30 spots examined: a small sample, with long bounds because \
little is known.'
    """
    rows = table[table["examined"] > 0]
    small = int((rows["examined"] < SMALL).sum())
    if not small:
        return ""
    have, sample = ("has", "a small sample") if small == 1 else ("have", "small samples")
    return (
        f"{small} of {show.count(len(rows), 'welder')} {have} fewer than {SMALL} spots examined: "
        f"{sample}, with long bounds because little is known."
    )


def basis_sentence(basis: str) -> str:
    """Return what rates of a basis speak of, and how they are to be read.

    Parameters
    ----------
    basis : {"unbiased", "described"}
        As in :func:`ndtstats.rates.rates`.
    """
    said = f"Rates are of first examinations only, on the {basis} basis."
    if basis == "described":
        return (
            f"{said} How the places were chosen is not known: this describes what was examined, "
            "not what was welded."
        )
    return (
        f"{said} Places that were more likely to be drawn weigh less, so a rate is not rejected ÷ "
        "examined; what the spots are worth tells how much the bounds rest on."
    )


def repairs_sentence(aside: pd.DataFrame, method: str) -> str:
    """Return how repairs go, and how many exposures had to be taken again.

    Parameters
    ----------
    aside : DataFrame
        As :func:`ndtstats.rates.set_aside` gives it, of one group.
    method : str
        The method.
    """
    rows: Mapping[Any, Any] = aside.set_index("what").to_dict("index")
    repair, again, undone = (rows[what] for what in ("repairs accepted", "re-shoots", "not done"))
    if repair["of"] == 0:
        said = f"No repair was examined again by {method} yet."
    else:
        few = " That is a small sample." if repair["of"] < SMALL else ""
        said = (
            f"{repair['count']:,.0f} of {show.count(repair['of'], 'repair')} examined again by "
            f"{method} {'was' if repair['count'] == 1 else 'were'} accepted, "
            f"{show.percent(repair['rate'])}; with {show.level(repair['level'])} confidence "
            f"between {show.percent(repair['lower'])} and {show.percent(repair['upper'])} are.{few}"
        )
    if again["of"] == 0:
        return said
    return (
        f"{said} {show.count(again['count'], 're-shoot').capitalize()} among "
        f"{show.count(again['of'], 'exposure')}; {show.count(undone['count'], 'spot')} not done."
    )


def lapsing_sentence(table: pd.DataFrame, days: int) -> str:
    """Return how many certificates lapse soon, and whose is the first.

    Parameters
    ----------
    table : DataFrame
        As :func:`ndtstats.qualification.lapsing` gives it, what lapses first before the rest.
    days : int
        Within which.
    """
    if table.empty:
        return f"No certificate lapses within {days} days."
    first = table.iloc[0]
    lapse = "lapses" if len(table) == 1 else "lapse"
    return (
        f"{show.count(len(table), 'certificate')} {lapse} within {days} days unless something is "
        f"done; first that of welder {first['welder']}, {first['certificate']}: in force to "
        f"{show.day(first['lapses_on'])}."
    )


def small_number(value: float) -> str:
    """Return a probability such as p; what is very small is said to be no more than that.

    Examples
    --------
    >>> small_number(0.0421), small_number(0.00001), small_number(1.0)
    ('0.042', '< 0.0001', '1')
    """
    return "< 0.0001" if value < 0.0001 else f"{value:.2g}"


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
