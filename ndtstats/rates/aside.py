"""What is counted apart from the rates: repairs, re-shoots, and what was not done."""

from collections.abc import Sequence
from datetime import datetime

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.numbers import numbered, positions
from ndtstats.rates.base import (
    NEEDED,
    attributes_at,
    indications,
    joints_of,
    planned,
    read_examinations,
)
from ndtstats.rates.charge import OF_DEPOSIT, charge
from ndtstats.rates.sample import (
    OF_INDICATION,
    attributes_of,
    deposits_of,
    group_keys,
    known_columns,
    known_method,
)
from ndtstats.register import Register, overturned_ids, verdict_counts
from ndtstats.statistics import proportion_interval


def set_aside(
    register: Register,
    *,
    by: Sequence[str] = (),
    method: str | None = None,
    job: str | None = None,
    as_of: datetime | None = None,
    level: float = 0.95,
    interval: str = "clopper-pearson",
    sides: str = "two",
) -> pd.DataFrame:
    """Return what is counted apart from the rates.

    Parameters as in :func:`ndtstats.rates.rates`. By welder, every welder of the length counts; how
    repairs go says as much of who mended as of who welded first.

    Returns
    -------
    DataFrame
        The columns of ``by``, then ``what``, ``count``, ``of``, ``rate``, ``lower``, ``upper``,
        ``level``, ``interval``. For each group: "repairs accepted" of the repairs examined (round 1
        and more), which says how repairs go; "re-shoots" of the exposures taken, which is the
        contractor's own quality; "not done" of all that was reported; and "overturned" of those
        rejected at first: a second reading judged them acceptable, and they count as accepted.

    Raises
    ------
    UseError
        If a column or method is unknown, or a column is not known of an examination.
    """
    by, method = known_columns(by), known_method(method)
    if OF_INDICATION in by:
        raise UseError(f"repairs and re-shoots cannot be counted by {OF_INDICATION}")
    one_by_one = any(name in {"part", *OF_DEPOSIT} for name in by)
    told = _each if one_by_one else _counted
    rows = told(register, by, method=method, job=job, as_of=as_of)
    keys, rows = group_keys(rows, by)
    counts = _counts(rows).join(keys, on="group") if by else _counts(rows)
    bounds = proportion_interval(
        counts["count"], counts["of"], level=level, method=interval, sides=sides
    )
    with np.errstate(invalid="ignore"):
        share = counts["count"].to_numpy(float) / counts["of"].to_numpy(float)
    table = counts.assign(
        rate=share, lower=bounds.lower, upper=bounds.upper, level=level, interval=interval
    )
    columns = [*by, "what", "count", "of", "rate", "lower", "upper", "level", "interval"]
    ordered: pd.DataFrame = table.sort_values(by, kind="stable") if by else table
    return ordered[columns].reset_index(drop=True)


def _counted(
    register: Register,
    by: Sequence[str],
    *,
    method: str | None,
    job: str | None,
    as_of: datetime | None,
) -> pd.DataFrame:
    """Return examinations as the database counts them; ``times`` says how many a row stands for."""
    overturned = overturned_ids(register, job=job, as_of=as_of)
    attributes = attributes_of(by)
    of_joint = [name for name in ("job", "joint") if attributes or name in by]
    apart = [*of_joint, *(name for name in ("method", "month") if name in by)]
    rows = verdict_counts(
        register, apart, overturned=overturned, job=job, method=method, as_of=as_of
    )
    again = rows["overturned"] == 1
    rows = rows.assign(
        verdict=rows["verdict"].mask(again, "accept"), overturned=again, round=rows["repair"],
        times=rows["number"],
    )  # fmt: skip
    if attributes:
        joints = joints_of(register, attributes, job=job, as_of=as_of)
        known = attributes_at(joints, positions(*numbered(joints, rows)), attributes)
        rows = rows.assign(**{name: known[name].to_numpy() for name in attributes})
    return rows


def _each(
    register: Register,
    by: Sequence[str],
    *,
    method: str | None,
    job: str | None,
    as_of: datetime | None,
) -> pd.DataFrame:
    """Return every examination, once for each that it is charged to."""
    rows = read_examinations(
        register, job=job, method=method, as_of=as_of, attributes=attributes_of(by), columns=NEEDED
    ).assign(times=1)
    if "part" in by:
        rows = planned(register, rows, rows, job=job, as_of=as_of)
    deposits = deposits_of(register, by, job=job, as_of=as_of)
    if deposits is None:
        return rows
    of_deposit = [name for name in by if name in OF_DEPOSIT]
    rows = rows.assign(rejected=False)  # so that none is charged to one welder more than others
    none = indications(register, rows, job=job, as_of=as_of)
    seen = charge(rows, none, deposits, of_deposit).seen
    each = rows.take(seen["row"].to_numpy()).reset_index(drop=True)
    return each.assign(**{name: seen[name] for name in of_deposit})


def _counts(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the counts of each group, one below the other."""
    verdict = rows["verdict"]
    repair = (rows["round"] > 0) & verdict.isin(["accept", "reject"])
    first = rows["round"] == 0
    overturned = rows["overturned"] & first
    flags = {
        "repairs accepted": (repair & (verdict == "accept"), repair),
        "re-shoots": (verdict == "re-shoot", verdict != "not done"),
        "not done": (verdict == "not done", verdict.notna()),
        "overturned": (overturned, overturned | (first & (verdict == "reject"))),
    }
    groups = np.unique(rows["group"]) if len(rows) else np.zeros(1, dtype=np.int64)

    def number(kept: "pd.Series[bool]") -> "pd.Series[int]":
        some = rows[kept].groupby("group")["times"].sum()
        return some.reindex(groups, fill_value=0)

    parts = [
        pd.DataFrame({"group": groups, "what": what, "count": number(part), "of": number(whole)})
        for what, (part, whole) in flags.items()
    ]
    return pd.concat(parts, ignore_index=True).sort_values("group", kind="stable")
