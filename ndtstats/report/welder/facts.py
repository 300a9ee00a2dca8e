"""What the page for a welder says: gathered from the stages, decided by none of this.

What all welders have in common is asked once (:func:`shop_of`), so that the pages of a whole shop
cost little more than one.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.escalation import lives
from ndtstats.qualification import outside, papers_of, validity
from ndtstats.rates import compare_welders, rates, trend_of
from ndtstats.rates.compare import Comparison
from ndtstats.rates.trend_charts import Trend
from ndtstats.register import Register, jobs_known, require_job
from ndtstats.report import gather
from ndtstats.report.origins import origin_without_seeds

#: What a welder's work is broken down by.
PARTS = ("process", "position")
#: Fewer welders than this give no range of the shop: it would tell who is who.
LEAST_WELDERS = 5
#: Share of the welders that the range of the shop holds.
MIDDLE = 0.9
#: Fewer months or spots than this are no trend: common practice, no source.
LEAST_MONTHS, LEAST_SPOTS = 3, 20


@dataclass(frozen=True, slots=True)
class Shop:
    """What is asked once for all welders; its tables hold all of them.

    Attributes
    ----------
    register : Register
        As of ``as_of``.
    job : str or None
        The job asked for; None: all.
    as_of, level, method
        The instant, the level of all bounds, the method of the rates.
    rates, lengths, parts, kinds : DataFrame
        By welder: spots, length, spots by process and position, indications by imperfection.
    comparison : Comparison
        All welders side by side.
    lives : DataFrame
        Of :func:`ndtstats.escalation.lives`.
    tickets, outside : DataFrame
        Certificates with their validity on the day; deposits outside one.
    names : Series
        Names by stamp, of all who are registered or have welded.
    origin : tuple of (str, str)
        Hashes and versions.
    """

    register: Register
    job: str | None
    as_of: datetime
    level: float
    method: str
    rates: pd.DataFrame
    lengths: pd.DataFrame
    parts: pd.DataFrame
    kinds: pd.DataFrame
    comparison: Comparison
    lives: pd.DataFrame
    tickets: pd.DataFrame
    outside: pd.DataFrame
    names: "pd.Series[str]"
    origin: tuple[tuple[str, str], ...]

    @property
    def welders(self) -> list[str]:
        """Stamps of those with a page: who has welded, or holds a certificate."""
        return sorted(self.names.index)


@dataclass(frozen=True, slots=True)
class WelderFacts:
    """Everything on the page for a welder.

    Attributes
    ----------
    welder, name : str
        Stamp, and name where it is known.
    job : str or None
        The job of which the page speaks; None: all.
    as_of, level, method
        The instant, the level of all bounds, the method of the rates.
    basis : {"unbiased", "described"}
        Of ``own`` and ``parts``: the better one there is.
    own, seen : Series or None
        His rate on that basis, and of everything examined; None where nothing was.
    length : Series or None
        The same as a share of length, of everything examined.
    parts, kinds : DataFrame
        By process and position on that basis; ``kinds`` by imperfection, of everything examined.
    compared : Series or None
        His row of the comparison; None where he is not in it.
    others : int
        How many welders were compared.
    low, high : float
        Range of the middle of the shop's shrunk rates; missing where they are too few.
    trend : Trend or None
        Charts by month; None where there is too little.
    rejects : DataFrame
        The life of each reject charged to him, those of others too left unnamed.
    tickets, outside : DataFrame
        His certificates with validity on the day; his deposits outside one.
    origin : tuple of (str, str)
        Hashes and versions.
    """

    welder: str
    name: str
    job: str | None
    as_of: datetime
    level: float
    method: str
    basis: str
    own: "pd.Series[Any] | None"
    seen: "pd.Series[Any] | None"
    length: "pd.Series[Any] | None"
    parts: pd.DataFrame
    kinds: pd.DataFrame
    compared: "pd.Series[Any] | None"
    others: int
    low: float
    high: float
    trend: Trend | None
    rejects: pd.DataFrame
    tickets: pd.DataFrame
    outside: pd.DataFrame
    origin: tuple[tuple[str, str], ...]


def shop_of(
    register: Register,
    *,
    job: str | None = None,
    method: str | None = None,
    level: float = 0.95,
    as_of: datetime | None = None,
) -> Shop:
    """Return what all welders have in common; parameters as for :func:`.welder_page`."""
    one = None if job is None else require_job(register, job, as_of)
    moment = gather.moment_of(register, as_of)
    register = register.snapshot(moment)
    chosen = method or gather.usual_method(register, one, moment)
    asked: dict[str, Any] = {"job": one, "as_of": moment, "level": level, "method": chosen}
    papers = papers_of(register, moment)
    today = moment.astimezone(UTC).date()
    valid = validity(papers.qualifications, papers.confirmations, papers.uses, on=today)
    ranges = ["material", "positions", "thickness_min_mm", "thickness_max_mm"]
    return Shop(
        register=register,
        job=one,
        as_of=moment,
        level=level,
        method=chosen,
        rates=rates(register, by=("welder",), **asked),
        lengths=rates(register, by=("welder",), measure="length", **asked),
        parts=rates(register, by=("welder", *PARTS), **asked),
        kinds=rates(register, by=("welder", "imperfection"), measure="per-metre", **asked),
        comparison=compare_welders(register, **asked),
        lives=lives(register, job=one, as_of=moment),
        tickets=valid.join(papers.qualifications[ranges]),
        outside=outside(register, job=one, as_of=moment),
        names=_names(register, one, moment),
        origin=origin_without_seeds(
            register, [one] if one else jobs_known(register, moment), moment
        ),
    )  # fmt: skip


def _names(register: Register, job: str | None, moment: datetime) -> "pd.Series[str]":
    welders = register.table("welders", as_of=moment, columns=["welder", "name"])
    made = register.table("deposits", job=job, as_of=moment, columns=["welder"])["welder"]
    known = welders.drop_duplicates("welder").set_index("welder")["name"].fillna("")
    stamps = made.dropna().unique() if job else np.union1d(made.dropna(), known.index)
    return known.reindex(pd.Index(stamps, name="welder")).fillna("")


def welder_facts(shop: Shop, welder: str) -> WelderFacts:
    """Return everything that stands on the page of one welder.

    Raises
    ------
    UseError
        If no such welder has welded or is registered.
    """
    welder = _known(shop, welder)
    mine = _of(shop.rates, welder)
    basis = gather.basis_of(mine)
    compared = _of(shop.comparison.table, welder)
    low, high = _range(shop.comparison.table)
    parts, kinds = _of(shop.parts, welder), _of(shop.kinds, welder)
    charged = (", " + shop.lives["welders"].astype("str") + ",").str.contains(
        f", {welder},", regex=False
    )  # fmt: skip
    return WelderFacts(
        welder=welder,
        name=str(shop.names[welder]),
        job=shop.job,
        as_of=shop.as_of,
        level=shop.level,
        method=shop.method,
        basis=basis,
        own=_one(mine, basis),
        seen=_one(mine, "described"),
        length=_one(_of(shop.lengths, welder), "described"),
        parts=parts[parts["basis"] == basis],
        kinds=kinds[(kinds["basis"] == "described") & (kinds["rejected"] > 0)],
        compared=None if compared.empty else compared.iloc[0],
        others=len(shop.comparison.table),
        low=low,
        high=high,
        trend=_trend(shop, welder, compared),
        rejects=shop.lives[charged],
        tickets=_of(shop.tickets, welder),
        outside=_of(shop.outside, welder),
        origin=shop.origin,
    )


def _known(shop: Shop, welder: str) -> str:
    stamps = shop.welders
    for stamp in stamps:
        if stamp.casefold() == welder.strip().casefold():
            return stamp
    close = nearest(welder, stamps)
    known = ", ".join(stamps[:20]) or "none yet"
    hint = f'did you mean "{close}"?' if close else f"known: {known}"
    where = f" in job {shop.job}" if shop.job else ""
    raise UseError(f'no welder "{welder}" has welded{where}; {hint}')


def _of(table: pd.DataFrame, welder: str) -> pd.DataFrame:
    return table[table["welder"] == welder] if len(table) else table


def _one(table: pd.DataFrame, basis: str) -> "pd.Series[Any] | None":
    rows = table[(table["basis"] == basis) & (table["examined"] > 0)]
    return None if rows.empty else rows.iloc[0]


def _range(table: pd.DataFrame) -> tuple[float, float]:
    """Return the range of the middle of the shop, or nothing where it would tell who is who."""
    if len(table) < LEAST_WELDERS:
        return np.nan, np.nan
    tail = (1 - MIDDLE) / 2
    low, high = np.quantile(table["shrunk"].to_numpy(float), [tail, 1 - tail])
    return float(low), float(high)


def _trend(shop: Shop, welder: str, compared: pd.DataFrame) -> Trend | None:
    if compared.empty or compared["examined"].iloc[0] < LEAST_SPOTS:
        return None
    found = trend_of(
        shop.register, method=shop.method, job=shop.job, welder=welder, as_of=shop.as_of
    )  # fmt: skip
    some = found.months["examined"] > 0
    return found if some.sum() >= LEAST_MONTHS else None
