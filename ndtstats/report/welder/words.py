"""Sentences of the page for a welder: his figures, how sure they are, and nothing about others."""

import math
from datetime import UTC
from typing import Any

import pandas as pd

from ndtstats.escalation.lives import OPEN
from ndtstats.report import formatting as show
from ndtstats.report.sentences import SMALL
from ndtstats.report.welder.facts import LEAST_MONTHS, LEAST_SPOTS, MIDDLE, WelderFacts

#: Days ahead within which a certificate that lapses is named first.
SOON_DAYS = 60
#: A lower bound below this is no figure to read.
_NEXT_TO_NOTHING = 0.0005


def own_sentence(row: "pd.Series[Any] | None", method: str) -> str:
    """Return how often this welder's welds were rejected, and how sure that is.

    Parameters
    ----------
    row : Series or None
        Of :func:`ndtstats.rates.rates`: ``basis``, ``rejected``, ``examined``, ``rate``, ``lower``,
        ``upper``, ``level``; None where nothing was examined.
    method : str
        The method.

    Examples
    --------
    >>> own_sentence(pd.Series({"basis": "described", "rejected": 3, "examined": 20, "rate": 0.15,
    ...     "lower": 0.0321, "upper": 0.3789, "level": 0.95}), "RT")
    '3 of 20 spots examined by RT were rejected at first examination, 15.0 %. With 95 % confidence \
the true rate lies between 3.2 % and 37.9 %. That is a small sample: with so few spots it may lie \
anywhere between these.'
    """
    if row is None:
        return f"Nothing of this welder's work has been examined by {method} yet."
    rejected, examined = int(row["rejected"]), int(row["examined"])
    chosen = "chosen by rule or by chance and " if row["basis"] == "unbiased" else ""
    spots = f"{show.count(examined, 'spot')} {chosen}examined by {method}"
    were = "was" if rejected == 1 else "were"
    if rejected:
        weighted = "about " if row["basis"] == "unbiased" else ""
        told = f"{rejected:,} of {spots} {were} rejected at first examination, {weighted}"
        told += f"{show.percent(row['rate'])}{_of_all(row['basis'])}."
    elif examined == 1:
        told = f"The one spot {chosen}examined by {method} was accepted."
    else:
        told = f"None of {spots} was rejected at first examination."
    return " ".join([told, _how_sure(row), _small(examined, rejected)]).strip()


def _of_all(basis: str) -> str:
    return " of all welds under the rules" if basis == "unbiased" else ""


def _how_sure(row: "pd.Series[Any]") -> str:
    sure = f"With {show.level(row['level'])} confidence the true rate lies"
    if not row["rejected"]:
        return f"{sure} below {show.percent(row['upper'])}; no reject does not prove that it is 0."
    low = show.percent(row["lower"]) if row["lower"] >= _NEXT_TO_NOTHING else "nearly 0 %"
    return f"{sure} between {low} and {show.percent(row['upper'])}."


def _small(examined: int, rejected: int) -> str:
    if examined >= SMALL:
        return ""
    if examined == 1:
        return "One spot says next to nothing."
    anywhere = "anywhere between these" if rejected else "anywhere below that"
    return f"That is a small sample: with so few spots it may lie {anywhere}."


def seen_sentence(facts: WelderFacts) -> str:
    """Return what was examined in all, places on purpose included, in spots and metres."""
    row, length = facts.seen, facts.length
    if row is None:
        return ""
    told = []
    if facts.basis == "unbiased":
        told.append(
            "Counting every place, those examined on purpose or after a reject too (described "
            f"basis), {int(row['rejected']):,} of {show.count(int(row['examined']), 'spot')} "
            f"{'was' if row['rejected'] == 1 else 'were'} rejected."
        )
    else:
        told.append(
            "How the places were chosen is not known: this describes what was examined, not all "
            "that was welded."
        )
    if length is not None:
        bad = "no rejectable length"
        if length["rejected"] > 0:
            bad = f"{length['rejected']:,.0f} mm with rejectable indications"
        told.append(f"Examined length: {show.metres(length['examined'])}, {bad}.")
    if shared := int(row["shared"]):
        are = "1 reject is" if shared == 1 else f"{shared:,} rejects are"
        told.append(f"{are} shared: others welded at the same place, and each is charged.")
    return " ".join(told)


def worth_sentence(row: "pd.Series[Any] | None") -> str:
    """Return how much the spots of an unbiased rate are worth."""
    if row is None or row["basis"] != "unbiased":
        return ""
    return (
        "Places that were more likely to be drawn weigh less, so the rate is not rejected ÷ "
        f"examined. For the bounds {show.count(int(row['examined']), 'spot')} count as much as "
        f"{row['effective']:.1f}, all drawn alike and each on a joint of its own: their worth."
    )


def expected_sentence(row: "pd.Series[Any] | None", number: int, level: float) -> str:
    """Return how rejects compare with what such work leads to in anybody's hands.

    Parameters
    ----------
    row : Series or None
        Of the comparison: ``rejected``, ``examined``, ``expected``, ``ratio``, ``ratio_lower``,
        ``ratio_upper``, ``stands_out``.
    number : int
        How many welders were compared.
    level : float
        Of the bounds.

    Examples
    --------
    >>> expected_sentence(pd.Series({"rejected": 2, "examined": 40, "expected": 2.5, "ratio": 0.8,
    ...     "ratio_lower": 0.1, "ratio_upper": 2.9, "stands_out": ""}), 9, 0.95)
    'Work like this (same categories, processes, positions and thicknesses) leads to about 2.5 \
rejects in 40 spots in the hands of all; 2 were found, 0.80 times as many (95 % bounds 0.10 to \
2.90). That is no more of a difference than chance brings among 9 welders.'
    """
    if row is None:
        return "There is nothing to compare yet."
    if number < 2:
        return "Nobody else's work was examined yet, so there is nothing to compare with."
    examined, rejected = int(row["examined"]), int(row["rejected"])
    told = (
        "Work like this (same categories, processes, positions and thicknesses) leads to about "
        f"{row['expected']:.1f} rejects in {show.count(examined, 'spot')} in the hands of all; "
        f"{_found(rejected)} found"
    )
    if row["expected"] > 0:
        told += (
            f", {row['ratio']:.2f} times as many ({show.level(level)} bounds "
            f"{row['ratio_lower']:.2f} to {row['ratio_upper']:.2f})"
        )
    return f"{told}. {_stands(row, number)}"


def _found(rejected: int) -> str:
    return "none was" if not rejected else "1 was" if rejected == 1 else f"{rejected:,} were"


def _stands(row: "pd.Series[Any]", number: int) -> str:
    among = f"among {number:,} welders"
    if row["stands_out"] == "high":
        return (
            f"That is more than chance brings {among}: it stands out. It is a reason to look "
            "together for the cause: access, fit-up, equipment and settings as well as the welding."
        )
    if row["stands_out"] == "low":
        return f"That is fewer than chance brings {among}: it stands out as work to learn from."
    if row["ratio_lower"] > 1 or row["ratio_upper"] < 1:
        return (
            f"By itself that is hard to explain by chance; but with {number:,} welders compared at "
            "once some differ as much, so it does not stand out."
        )
    return f"That is no more of a difference than chance brings {among}."


def shop_sentence(facts: WelderFacts) -> str:
    """Return where the welder's rate lies beside those of the shop, without a rank or a name."""
    row = facts.compared
    if row is None:
        return ""
    bounds = f"{show.level(facts.level)} bounds {show.percent(row['shrunk_lower'])} and "
    told = (
        "Drawn towards what all welders have in common, the more so the fewer the spots (shrunk "
        f"rate), this welder's rate is about {show.percent(row['shrunk'])} ({bounds}"
        f"{show.percent(row['shrunk_upper'])})."
    )
    if math.isnan(facts.low):
        return f"{told} There are too few welders to tell a range of the shop without names."
    return (
        f"{told} The middle {100 * MIDDLE:.0f} % of the shop's {facts.others:,} welders lie, by "
        f"the same reckoning, between {show.percent(facts.low)} and {show.percent(facts.high)}; "
        f"{_beside(row, facts.low, facts.high)}."
    )


def _beside(row: "pd.Series[Any]", low: float, high: float) -> str:
    if row["shrunk_lower"] > high:
        return "the bounds of this rate lie wholly above that range"
    if row["shrunk_upper"] < low:
        return "the bounds of this rate lie wholly below that range"
    return "the bounds of this rate reach into that range"


def no_trend_sentence(facts: WelderFacts) -> str:
    """Return why there is no trend to show."""
    number = 0 if facts.compared is None else int(facts.compared["examined"])
    return (
        f"A trend needs {LEAST_SPOTS} spots in {LEAST_MONTHS} months or more, of places chosen by "
        f"rule or chance where there are such; so far there {'is' if number == 1 else 'are'} "
        f"{show.count(number, 'spot')}. Month by month so few would swing by chance alone."
    )


def kinds_sentence(kinds: pd.DataFrame, length: "pd.Series[Any] | None", method: str) -> str:
    """Return how many rejectable indications were found, and of how many types."""
    if length is None:
        return f"Nothing was examined by {method} yet, so no imperfection is known."
    metres = f"{show.metres(length['examined'])} examined by {method}"
    if kinds.empty:
        return f"No rejectable indication was found in {metres}."
    number = int(kinds["rejected"].sum())
    return (
        f"{show.count(number, 'rejectable indication')} of {show.count(len(kinds), 'type')} "
        f"{'was' if number == 1 else 'were'} found in {metres}."
    )


def rejects_sentence(rejects: pd.DataFrame) -> str:
    """Return how many rejects are open, and how first repairs went.

    Parameters
    ----------
    rejects : DataFrame
        Of :func:`ndtstats.escalation.lives`: ``state``, ``first_repair``.

    Examples
    --------
    >>> rejects_sentence(pd.DataFrame({"state": ["closed", "to repair"],
    ...     "first_repair": ["accept", ""]}))
    '2 rejects by any method, 1 of them open. 1 of 1 first repair was accepted.'
    """
    if rejects.empty:
        return "No reject by any method is charged to this welder."
    still = int(rejects["state"].isin(OPEN).sum())
    ones = f"{show.count(len(rejects), 'reject')} by any method"
    told = f"{ones}, {still or 'none'} of them open."
    tried = rejects.loc[rejects["first_repair"].isin(["accept", "reject"]), "first_repair"]
    if tried.empty:
        return told
    good = int((tried == "accept").sum())
    was = "was" if good == 1 else "were"
    return f"{told} {good:,} of {show.count(len(tried), 'first repair')} {was} accepted."


def tickets_sentence(facts: WelderFacts) -> str:
    """Return which certificates are in force, and what lapses next."""
    rows = facts.tickets
    if rows.empty:
        return "No certificate of this welder is in the register."
    today = pd.Timestamp(facts.as_of.astimezone(UTC).date())
    told = f"{_in_force(rows)} in force on {show.day(today)}."
    left = (rows["lapses_on"] - today).dt.days
    soon = rows["in_force"] & (left <= SOON_DAYS)
    ended = ~rows["in_force"] & rows["lapses_on"].notna()
    parts = [
        _lapses(rows[ended], "lapsed after", [""] * int(ended.sum())),
        _lapses(
            rows[soon], "lapses after", [f", in {show.count(n, 'day')}" for n in left[soon]]
        ),
    ]  # fmt: skip
    if rows["in_force"].any() and not soon.any():
        it = "It does not lapse" if len(rows) == 1 else "None of those in force lapses"
        parts.append(f"{it} within {SOON_DAYS} days.")
    return " ".join([told, *filter(None, parts)])


def _in_force(rows: pd.DataFrame) -> str:
    alive, number = int(rows["in_force"].sum()), len(rows)
    if number == 1:
        return "The one certificate is" if alive else "The one certificate is not"
    if alive == number:
        return f"All {number} certificates are"
    return f"{alive or 'None'} of {number} certificates {'are' if alive > 1 else 'is'}"


def _lapses(rows: pd.DataFrame, verb: str, when: list[str]) -> str:
    columns = ["certificate", "process", "lapses_on", "because"]
    told = [
        f"{certificate} (process {process}) {verb} {show.day(day)}{then}: {why}."
        for (certificate, process, day, why), then in zip(
            rows[columns].itertuples(index=False), when, strict=True
        )
    ]
    return " ".join(told)


def outside_sentence(rows: pd.DataFrame) -> str:
    """Return how many deposits lie outside a certificate by the records."""
    if rows.empty:
        return "By the records every deposit was covered by a certificate on its day."
    is_ = "is" if len(rows) == 1 else "are"
    return (
        f"{show.count(len(rows), 'deposit')} {is_} not covered by a certificate on the day, going "
        "by the records. That may be the records' fault: a certificate that was not entered, or a "
        "position that was written down wrongly."
    )
