"""How often welds are rejected, and how sure that is: by welder, process, month and the like."""

from collections.abc import Callable, Sequence
from datetime import datetime

import numpy as np
import pandas as pd

from ndtstats.errors import UseError, nearest
from ndtstats.rates.charge import Charges
from ndtstats.rates.counted import first_counted
from ndtstats.rates.measures import Settings, described, joints_examined, unbiased
from ndtstats.rates.sample import (
    OF_INDICATION,
    first_charged,
    group_keys,
    known_columns,
    known_method,
)
from ndtstats.register import Register
from ndtstats.statistics import proportion_interval

MEASURES = ("spots", "joints", "length", "per-metre")

#: Columns that follow those of ``by``.
COLUMNS = (
    "basis", "measure", "rejected", "examined", "rate", "lower", "upper", "level", "interval",
    "joints", "shared", "effective", "design_effect", "no_length", "methods",
)  # fmt: skip

_Bound = Callable[[Charges, str, Settings], pd.DataFrame]


def rates(
    register: Register,
    *,
    by: Sequence[str] = ("welder",),
    measure: str = "spots",
    method: str | None = None,
    level: float = 0.95,
    interval: str = "clopper-pearson",
    sides: str = "two",
    job: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return reject rates of first examinations with their bounds.

    Parameters
    ----------
    by : sequence of str
        Columns of :data:`BY`; none gives one rate for all. Welder, process, position and procedure
        are those of the deposits examined, where they state them.
    measure : {"spots", "joints", "length", "per-metre"}
        Rejected ÷ examined spots; joints with a reject ÷ joints examined; length of rejectable
        indications ÷ length examined, in mm, overlaps counted once; rejectable indications per
        metre examined.
    method : str, optional
        Only this method, such as "RT".
    level, interval, sides
        As in :func:`ndtstats.statistics.proportion_interval`; rates per metre have the Poisson
        bound of Garwood.
    job : str, optional
        Only this job.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        The columns of ``by``, then :data:`COLUMNS`: ``joints`` examined; ``shared``, rejects
        charged to others too; ``effective``, what the bound rests on (spots, joints or metres);
        ``design_effect``, how many times more was examined than that;
        ``no_length``, indications of unknown length, for which the whole spot counts as rejected;
        ``methods``, how many methods stand together.

        Two bases. ``unbiased``: places that the rules require and places drawn by chance, weighted
        with 1 / their probability; there is one where a plan made it possible. ``described``:
        everything examined, unweighted; it describes what was examined, not what was welded. What
        was aimed at, and what a reject led to, is only in the second: only dirty samples are ever
        completed, so that completed lots would bias the first.

    Raises
    ------
    UseError
        If a column, measure, method, level, interval or side is unknown.
    """
    by, method = known_columns(by), known_method(method)
    _check(by, measure)
    settings = Settings(level, interval, sides)
    proportion_interval(0, 0, level=level, method=interval, sides=sides)  # refuses the unknown
    # Lengths need every place; of spots and joints it is enough to know how many there are, unless
    # other questions read the places anyway.
    counted = measure in {"spots", "joints"} and not register.remembers
    sample = first_counted if counted else first_charged
    charges = sample(register, by, method=method, job=job, as_of=as_of)
    return rates_of(charges, by, measure, settings)


def rates_of(charges: Charges, by: Sequence[str], measure: str, settings: Settings) -> pd.DataFrame:
    """Return the rates of first examinations as charged, as :func:`rates` does."""
    keys, seen = group_keys(charges.seen, [name for name in by if name != OF_INDICATION])
    charges = charges._replace(seen=seen)
    chance = charges.only(seen["weight"].notna().to_numpy())
    bases: list[tuple[str, Charges, _Bound]] = [
        ("unbiased", chance, unbiased),
        ("described", charges, described),
    ]
    parts = [
        _bounded(sample, bound, measure, settings, apart=OF_INDICATION in by).assign(basis=basis)
        for basis, sample, bound in bases
        if len(sample.seen)
    ]
    if not parts:
        return pd.DataFrame(columns=[*by, *COLUMNS])
    table = pd.concat(parts).join(keys)
    table = table.assign(
        measure=measure, level=settings.level,
        interval="garwood" if measure == "per-metre" else settings.interval,
    )  # fmt: skip
    ordered = table.sort_values([*by, "basis"], ascending=[True] * len(by) + [False])
    result: pd.DataFrame = ordered[[*by, *COLUMNS]]
    return result.reset_index(drop=True)


def _check(by: Sequence[str], measure: str) -> None:
    if measure not in MEASURES:
        close = nearest(measure, MEASURES)
        hint = f'did you mean "{close}"?' if close else f"use one of {', '.join(MEASURES)}"
        raise UseError(f'"{measure}" is not a measure; {hint}')
    if OF_INDICATION in by and measure != "per-metre":
        raise UseError(
            f"{OF_INDICATION} goes with the measure per-metre, not with {measure}: a spot is "
            "rejected for all that is in it"
        )


def _bounded(
    charges: Charges, bound: _Bound, measure: str, settings: Settings, *, apart: bool
) -> pd.DataFrame:
    """Return the table of one basis by group, each imperfection by itself if told apart."""
    seen, found = charges.seen, charges.found
    groups = seen.groupby("group")
    about = pd.DataFrame(
        {
            "joints": joints_examined(seen),
            "shared": groups["shared"].sum(),
            "no_length": seen["group"]
            .take(found.loc[found["no_length"], "of"].to_numpy())
            .value_counts(),
            "methods": groups["method"].nunique(),
        }
    ).fillna({"no_length": 0})
    about = about.astype("int64")
    if not apart:
        return bound(charges, measure, settings).join(about)
    tables = [
        bound(charges._replace(found=found[found[OF_INDICATION] == name]), measure, settings)
        .join(about)
        .assign(**{OF_INDICATION: name})
        for name in sorted(found[OF_INDICATION].unique()) or ["any"]
    ]
    return pd.concat(tables)


def trend(
    register: Register,
    *,
    measure: str = "spots",
    method: str | None = None,
    level: float = 0.95,
    interval: str = "clopper-pearson",
    sides: str = "two",
    job: str | None = None,
    as_of: datetime | None = None,
) -> pd.DataFrame:
    """Return reject rates month by month, as :func:`rates` does, with no month left out.

    A month between the first and the last in which nothing was examined stands there with nothing
    known of it, lest the gap be overlooked.
    """
    table = rates(
        register, by=("month",), measure=measure, method=method, level=level, interval=interval,
        sides=sides, job=job, as_of=as_of,
    )  # fmt: skip
    if table.empty:
        return table
    months = pd.period_range(table["month"].min(), table["month"].max(), freq="M").astype("str")
    every = pd.MultiIndex.from_product([months, table["basis"].unique()], names=["month", "basis"])
    known = table.set_index(["month", "basis"])
    nothing: dict[str, object] = dict.fromkeys(
        known.columns.difference(["rate", "design_effect"]), 0
    )
    nothing |= {name: table[name].iloc[0] for name in ("measure", "level", "interval")}
    nothing["upper"] = np.inf if measure == "per-metre" else 1.0
    filled = known.reindex(every).fillna(nothing).astype(known.dtypes)
    result: pd.DataFrame = filled.reset_index()[list(table.columns)]
    return result
