"""Trend: which months lie outside what chance allows, and whose rate has gone up.

All on first examinations in order of time. A signal names the rejected examinations that made it,
so that somebody can look at them.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.rates.charge import UNKNOWN, Charges
from ndtstats.rates.chosen import charged_once, chosen
from ndtstats.rates.measures import Settings, described
from ndtstats.rates.sample import first_charged, group_keys, known_method
from ndtstats.rates.together import clusters_told
from ndtstats.register import Register
from ndtstats.statistics import (
    BernoulliCusum,
    ControlChart,
    choose_cusum,
    ewma_chart,
    joint_clustering,
    p_chart,
)
from ndtstats.statistics import u_chart as rate_chart
from ndtstats.statistics.run_length import ewma_run_length
from ndtstats.statistics.scores import binomial_scores

#: Rate that is borne and rate to be told of: common practice on new work, no source.
GOOD, BAD = 0.03, 0.10
#: Spots of good work between two false alarms of the CUSUM: common practice, no source.
SPOTS_BETWEEN_FALSE_ALARMS = 1000
#: Weight of the newest month and width of the limits (Lucas & Saccucci 1990, Technometrics 32:1).
EWMA_WEIGHT, EWMA_WIDTH = 0.2, 3.0

#: Examinations named in a sentence; the table has them all.
MOST_NAMED = 8

#: What an examination is named by.
_PLACE = ("id", "date", "month", "joint", "from_mm", "to_mm")
#: Names of a chart's points in the table of months.
_OF_SPOTS = {"count": "rejected", "size": "examined", "value": "share"}
_OF_METRES = {"count": "indications", "size": "metres", "value": "per_m", "centre": "per_m_centre",
              "lower": "per_m_lower", "upper": "per_m_upper", "judged": "per_m_judged",
              "signal": "per_m_signal"}  # fmt: skip
#: Bounds are not asked of the counts; the charts make their own limits.
_PLAIN = Settings(0.95, "clopper-pearson", "two")


@dataclass(frozen=True, slots=True)
class Trend:
    """Charts by month, and what is watched welder by welder.

    Parameters
    ----------
    months : DataFrame
        A row a month: ``month``, ``rejected``, ``examined``; ``share`` of spots with ``centre``,
        ``lower``, ``upper``, ``judged`` (some count could have signalled) and ``signal`` ("above",
        "below" or ""); the same of the rejectable indications per metre: ``indications``,
        ``metres``, ``per_m``, ``per_m_centre``, ``per_m_lower``, ``per_m_upper``,
        ``per_m_judged``, ``per_m_signal``; ``ewma`` of the months' scores with ``ewma_lower``,
        ``ewma_upper``, ``ewma_signal``; ``examinations``, those named by a signal of the month.
    welders : DataFrame
        A row a welder, the nearest to the limit first: ``welder``, ``examined``, ``rejected``,
        ``value`` and ``limit`` of the CUSUM, in rejects, ``signals``, ``last_signal``,
        ``examinations`` of the last signal.
    signals : DataFrame
        A row a signal: ``chart`` ("spots", "per metre", "EWMA", "CUSUM"), ``when`` (a month, or a
        day), ``welder``, ``direction``, ``rejected``, ``examined``, ``examinations``.
    cusum : BernoulliCusum
        What each welder is watched by.
    centre : float
        Share of rejected spots of all months.
    remarks : tuple of str
        What has to be known to read it rightly, in sentences.
    """

    months: pd.DataFrame
    welders: pd.DataFrame
    signals: pd.DataFrame
    cusum: BernoulliCusum
    centre: float
    remarks: tuple[str, ...]


def trend_of(
    register: Register,
    *,
    method: str,
    job: str | None = None,
    welder: str | None = None,
    good: float = GOOD,
    bad: float = BAD,
    spots_between_false_alarms: float = SPOTS_BETWEEN_FALSE_ALARMS,
    basis: str | None = None,
    as_of: datetime | None = None,
) -> Trend:
    """Return the charts of a method, month by month and welder by welder.

    Parameters
    ----------
    method : str
        The method, such as "RT".
    job : str, optional
        Only this job.
    welder : str, optional
        Only what is charged to this one.
    good, bad : float
        Rate that is borne, and rate to be told of quickly; 0 < good < bad < 1.
    spots_between_false_alarms : float
        Average number of spots until a CUSUM signals of work at the good rate.
    basis : {"chosen", "described"}, optional
        As in :func:`ndtstats.rates.chosen.chosen`.
    as_of : datetime, optional
        What was known then.

    Raises
    ------
    UseError
        If method, welder, rates or basis make no sense.

    Notes
    -----
    Charts of shares (p) and of rates per metre (u) with exact limits, Laney's where the months
    spread wider than chance (:mod:`ndtstats.statistics.charts`); EWMA (Roberts 1959) of the months'
    normal scores, so that a month with few spots weighs little; Bernoulli CUSUM of each welder
    (:mod:`ndtstats.statistics.cusum`). Within a day examinations stand as they were loaded.
    """
    method = known_method(method) or method
    cusum = choose_cusum(good, bad, spots_between_false_alarms=spots_between_false_alarms)
    sample = first_charged(register, ["welder", *_PLACE], method=method, job=job, as_of=as_of)
    by_welder = chosen(sample, basis)
    if welder is None:
        everything = first_charged(register, _PLACE, method=method, job=job, as_of=as_of)
        of_months = chosen(everything, basis).charges
    else:
        of_months = _of_welder(by_welder.charges, welder)
    names = _names(register, by_welder.charges.seen, method, job, as_of)
    seen = charged_once(by_welder.charges.seen, "welder")
    seen = seen[seen["welder"] == welder] if welder else seen[seen["welder"] != UNKNOWN]
    followed = _followed(seen, cusum)
    months, charts, signals = _by_month(of_months, names)
    watched, crossed = _by_welder(followed, cusum, names)
    centre = charts[0].points["centre"].max() if charts else np.nan
    told = [by_welder.remark, *_charts_told(charts), *_together(of_months.seen),
            _cusum_told(cusum, len(followed))]  # fmt: skip
    remarks = tuple(filter(None, told))
    every = pd.concat([signals, crossed], ignore_index=True)
    return Trend(months, watched, every, cusum, float(centre), remarks)


def _of_welder(charges: Charges, welder: str) -> Charges:
    mine = charges.seen["welder"] == welder
    if not mine.any():
        known = sorted(set(charges.seen["welder"]) - {UNKNOWN})
        close = nearest(welder, known)
        hint = f'did you mean "{close}"?' if close else f"known: {', '.join(known) or 'none'}"
        raise UseError(f'no first examination is charged to welder "{welder}"; {hint}')
    return charges.only(mine.to_numpy())


def _names(
    register: Register, seen: pd.DataFrame, method: str, job: str | None, as_of: datetime | None
) -> "pd.Series[str]":
    """Return how each rejected examination is named to people, by its id."""
    rows = seen[seen["rejected"]].drop_duplicates("id")
    if rows.empty:
        return pd.Series(dtype="str")
    papers = register.table("examinations", job=job, as_of=as_of, columns=["report", "exposure"])
    told = papers.set_index("id").reindex(rows["id"])
    exposure = (" no. " + told["exposure"].astype("str")).fillna("").to_numpy()
    first, last = (rows[name].map("{:g}".format).astype("str") for name in ("from_mm", "to_mm"))
    place = first + "-" + last + " mm"
    day = pd.Series(np.datetime_as_string(rows["date"].to_numpy(), unit="D"), rows.index, "str")
    text = method + " " + told["report"].astype("str").to_numpy() + exposure
    named: pd.Series[str] = text + ", " + rows["joint"] + " " + place + ", " + day
    return named.set_axis(rows["id"])


def _joined(ids: Any, names: "pd.Series[str]") -> str:
    return "; ".join(names.reindex(ids).dropna())


# ------------------------------------------------------------------ months


def _by_month(
    charges: Charges, names: "pd.Series[str]"
) -> tuple[pd.DataFrame, list[ControlChart], pd.DataFrame]:
    """Return the table of months, its two charts, and its signals."""
    if charges.seen.empty:
        return pd.DataFrame(columns=["month"]), [], _signals([])
    keys, seen = group_keys(charges.seen, ["month"])
    counted = charges._replace(seen=seen)
    spots, marks = (
        described(counted, measure, _PLAIN)[["rejected", "examined"]].set_axis(keys["month"])
        for measure in ("spots", "per-metre")
    )
    every = pd.period_range(keys["month"].min(), keys["month"].max(), freq="M").astype("str")
    spots, marks = spots.reindex(every, fill_value=0), marks.reindex(every, fill_value=0)
    shares = p_chart(spots["rejected"], spots["examined"], labels=every)
    per_m = rate_chart(marks["rejected"], marks["examined"], labels=every)
    drift = _drift(spots, shares)
    table = _points(shares, _OF_SPOTS).join(_points(per_m, _OF_METRES)).join(drift)
    signals = _month_signals(table, charged_once(seen, "month"), names)
    named = signals.groupby("when")["examinations"].agg(_distinct)
    table = table.assign(examinations=named.reindex(every).fillna("").to_numpy())
    return table.rename_axis("month").reset_index(), [shares, per_m], signals


def _points(chart: ControlChart, names: dict[str, str]) -> pd.DataFrame:
    """Return the points of a chart under names of their own.

    An empty month has no limits, and neither has one of a chart without a single reject: a usual
    rate of 0, taken for known, would make a signal of the first.
    """
    points = chart.points.astype({"count": "int64"})
    limits = ["lower", "upper"]
    points[limits] = points[limits].where((points["size"] > 0) & (points["centre"] > 0))
    return points.rename(columns=names)


def _drift(spots: pd.DataFrame, shares: ControlChart) -> pd.DataFrame:
    """Return the moving average of the months' scores; nothing to say at a share of 0 or 1."""
    centre = float(shares.points["centre"].iloc[0])
    scores = np.zeros(len(spots))
    if 0 < centre < 1:
        scores = binomial_scores(spots["rejected"], spots["examined"], centre) / shares.spread
    chart = ewma_chart(
        scores, target=0.0, deviation=1.0, weight=EWMA_WEIGHT, width=EWMA_WIDTH, labels=spots.index
    )
    names = {"lower": "ewma_lower", "upper": "ewma_upper", "signal": "ewma_signal"}
    return chart.drop(columns="value").rename(columns=names)


def _month_signals(
    table: pd.DataFrame, seen: pd.DataFrame, names: "pd.Series[str]"
) -> pd.DataFrame:
    """Return a row for each signal of a chart of months, with the rejects behind it."""
    # An average that is above its limit has gathered since it was last at what is usual or below.
    since = (table["ewma"] <= 0).cumsum()
    month = pd.Series(range(len(table)), table.index)
    first = month.groupby(since.shift(fill_value=0)).transform("min")
    rejects = seen[seen["rejected"]]
    at = rejects["month"].map(month)
    found = []
    charts = {"spots": ("signal", month), "per metre": ("per_m_signal", month),
              "EWMA": ("ewma_signal", first)}  # fmt: skip
    for chart, (column, begin) in charts.items():
        # There are few signals, whatever the number of months.
        for label in table.index[table[column] != ""]:
            months = table.iloc[begin[label] : month[label] + 1]
            behind = rejects.loc[at.between(begin[label], month[label]), "id"]
            found.append(
                (chart, label, None, table.loc[label, column], int(months["rejected"].sum()),
                 int(months["examined"].sum()),
                 "" if table.loc[label, column] == "below" else _joined(behind, names))
            )  # fmt: skip
    return _signals(found)


def _signals(found: Any) -> pd.DataFrame:
    """Return signals, given as rows or as a frame, with their columns in order."""
    columns = ["chart", "when", "welder", "direction", "rejected", "examined", "examinations"]
    table = pd.DataFrame(found, columns=columns).reset_index(drop=True)
    text = dict.fromkeys(("chart", "when", "welder", "direction", "examinations"), "str")
    return table.astype(text | dict.fromkeys(("rejected", "examined"), "int64"))


def _distinct(texts: "pd.Series[str]") -> str:
    return "; ".join(dict.fromkeys("; ".join(text for text in texts if text).split("; ")))


def _charts_told(charts: list[ControlChart]) -> list[str]:
    told = [
        f"{name}: {caveat}"
        for name, chart in zip(("Spots", "Per metre"), charts, strict=False)
        for caveat in chart.caveats
    ]
    if charts:
        length = ewma_run_length(EWMA_WEIGHT, EWMA_WIDTH)
        told.append(
            "While nothing changes, a month lies beyond either of its limits by chance at most "
            f"once in 370, and the moving average (EWMA) once in {length:,.0f} months or more."
        )
    return told


def _together(seen: pd.DataFrame) -> list[str]:
    """Return how much spots of a joint go together within months, which the charts leave out.

    Months with few spots have no room for a correction that is itself estimated; where twenty or
    more spread wider than chance, Laney's limits take this in with all else.
    """
    rows = charged_once(seen, "month")
    found = joint_clustering(rows["rejected"], rows["unit"], rows["month"])
    return clusters_told(rows, found, allowed=False)


# ------------------------------------------------------------------ welders


def _followed(seen: pd.DataFrame, cusum: BernoulliCusum) -> pd.DataFrame:
    """Return the CUSUM of each welder in order of time, with the run that each spot belongs to."""
    rows = seen.sort_values(["date", "id"], ignore_index=True)
    track = cusum.track(rows["rejected"], rows["welder"])
    rows = rows.assign(value=track["value"], signal=track["signal"])
    # The sum gathers anew after it was at 0, and after a signal.
    ended = (rows["value"] == 0) | rows["signal"]
    run = ended.groupby(rows["welder"]).transform(
        lambda over: over.shift(fill_value=False).cumsum()
    )
    return rows.assign(run=run)


def _by_welder(
    rows: pd.DataFrame, cusum: BernoulliCusum, names: "pd.Series[str]"
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return where each welder stands, and each signal."""
    signals = _crossings(rows, names)
    table = rows.groupby("welder").agg(
        examined=("rejected", "size"), rejected=("rejected", "sum"), value=("value", "last"),
        signals=("signal", "sum"),
    )  # fmt: skip
    last = signals.drop_duplicates("welder", keep="last").set_index("welder")
    table = table.assign(
        limit=cusum.limit / cusum.spots_per_reject,
        last_signal=last["when"].reindex(table.index),
        examinations=last["examinations"].reindex(table.index).fillna(""),
    ).reset_index()
    order = ["welder", "examined", "rejected", "value", "limit", "signals", "last_signal",
             "examinations"]  # fmt: skip
    ranked = table.sort_values(["signals", "value"], ascending=False, kind="stable")
    return ranked[order].reset_index(drop=True), signals


def _crossings(rows: pd.DataFrame, names: "pd.Series[str]") -> pd.DataFrame:
    """Return each signal in order of time, with the rejects of the run that made it."""
    keys = ["welder", "run"]
    made = rows[rows.groupby(keys)["signal"].transform("any")]
    rejects = made[made["rejected"]]
    behind = rejects["id"].map(names).groupby([rejects[key] for key in keys]).agg("; ".join)
    runs = made.groupby(keys).agg(
        day=("date", "last"), rejected=("rejected", "sum"), examined=("rejected", "size")
    )
    runs = runs.assign(examinations=behind).reset_index().sort_values(["day", "welder"])
    day = runs["day"].to_numpy("datetime64[D]").astype("str")
    return _signals(runs.assign(chart="CUSUM", when=day, direction="above"))


def _cusum_told(cusum: BernoulliCusum, spots: int) -> str:
    good, bad = cusum.run_length([cusum.good, cusum.bad])
    return (
        f"CUSUM of each welder: work at {_percent(cusum.good)} signals falsely once in "
        f"{good:,.0f} spots on average, work at {_percent(cusum.bad)} is told after {bad:,.0f}. "
        f"Watched so far: {spots:,} spots, by welders charged; if all were work at "
        f"{_percent(cusum.good)}, about {spots / good:.2g} signals would come by chance."
    )


# ------------------------------------------------------------------ words


def trend_sentence(trend: Trend) -> str:
    """Return the conclusion: how many signals there are, and what is usual."""
    if trend.months.empty:
        return "Nothing was examined for the first time yet, so there is no trend."
    months = len(trend.months)
    rejected, examined = (int(trend.months[name].sum()) for name in ("rejected", "examined"))
    usual = (
        f"{rejected:,} of {examined:,} spots rejected at first examination in {months} "
        f"month{'' if months == 1 else 's'}, {_percent(trend.centre)}"
    )
    number = len(trend.signals)
    if not rejected:
        return f"{usual}; no reject is not the same as no defect."
    if not number:
        return f"{usual}; nothing lies outside what chance allows, so no trend is shown."
    return f"{usual}; {number} signal{'' if number == 1 else 's'}."


def signal_sentences(trend: Trend) -> list[str]:
    """Return each signal in a sentence that names the rejected examinations behind it."""
    return [_one_signal(row) for row in trend.signals.itertuples()]


def _one_signal(row: Any) -> str:
    counted = f"{row.rejected:,} of {row.examined:,} spots rejected"
    what = {
        "spots": f"Month {row.when}: {counted}, {row.direction} the limit",
        "per metre": f"Month {row.when}: indications per metre {row.direction} the limit, "
        f"{counted}",
        "EWMA": f"Months to {row.when}: moving average {row.direction} its limit, {counted}",
        "CUSUM": f"Welder {row.welder}, {row.when}: CUSUM at its limit, {counted} since it began "
        "to rise",
    }[row.chart]
    named = row.examinations.split("; ") if row.examinations else []
    more = f" and {len(named) - MOST_NAMED:,} more" if len(named) > MOST_NAMED else ""
    return f"{what}: {'; '.join(named[:MOST_NAMED])}{more}." if named else f"{what}."


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"
