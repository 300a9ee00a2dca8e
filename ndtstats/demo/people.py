"""The invented welders: who they are, what they may weld, and how well they really weld.

Nobody here exists. Names are first names of no one in particular; firms are "the yard" and "hired".
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.demo.frames import days, shaped

#: First and last day of welding that the demo knows of: eight months.
FIRST_DAY = pd.Timestamp("2026-01-12")
LAST_DAY = pd.Timestamp("2026-09-11")

#: The welder whose reject rate climbs, and the day from which it does.
DRIFTING = "H14"
DRIFT_FROM = pd.Timestamp("2026-03-02")

#: The welder whose certificate lacks overhead, and the one whose certificate runs out.
NOT_OVERHEAD = "H16"
RUNS_OUT = "P23"

#: The welder whose first confirmation came a week late, and the days between confirmations.
LATE = "P22"
_EVERY = pd.Timedelta(days=170)
_TOO_LATE = pd.Timedelta(days=190)


@dataclass(frozen=True, slots=True)
class Welder:
    """One welder as the generator knows him.

    Attributes
    ----------
    rate_per_m, late_rate_per_m : float
        True rejectable imperfections per metre of his deposits, at first and on the last day.
    share : float
        How much of the work of his trade he gets, against the others.
    """

    stamp: str
    name: str
    employer: str
    trade: str
    rate_per_m: float
    late_rate_per_m: float
    share: float = 1.0
    from_day: pd.Timestamp = FIRST_DAY


WELDERS = (
    Welder("H11", "Anton", "the yard", "hull", 0.03, 0.03, 1.2),
    Welder("H12", "Berta", "the yard", "hull", 0.04, 0.04, 1.2),
    Welder("H14", "Carl", "the yard", "hull", 0.05, 3.00, 1.2),
    Welder("H15", "Dora", "hired", "hull", 0.10, 0.08, 0.8, pd.Timestamp("2026-05-04")),
    Welder("H16", "Emil", "hired", "hull", 0.05, 0.05, 1.0),
    Welder("P21", "Frida", "the yard", "pipe", 0.10, 0.10, 1.2),
    Welder("P22", "Gustav", "hired", "pipe", 1.00, 1.00, 1.0),
    Welder("P23", "Hanna", "the yard", "pipe", 0.20, 0.20, 1.0),
    Welder("P24", "Ivo", "the yard", "pipe", 0.25, 0.25, 1.0),
)


def welders_table() -> pd.DataFrame:
    """Return the table of welders."""
    rows = [{"welder": w.stamp, "name": w.name, "employer": w.employer} for w in WELDERS]
    return shaped("welders", pd.DataFrame(rows))


def qualifications_table() -> pd.DataFrame:
    """Return the certificates: hull welders in MIG, pipe welders in TIG and in flux cored MAG.

    One lacks the overhead position of tee joints that its welder is given all the same; one ends
    before its welder's work does. Loading the deposits has to warn of both.
    """
    people = pd.DataFrame([{"welder": w.stamp, "trade": w.trade} for w in WELDERS])
    ranges = pd.DataFrame(
        [
            ("hull", "ISO 9606-2", "131", "22", "butt;tee;corner;lap", "PA;PB;PC;PD;PE;PF", 3, 20),
            ("pipe", "ISO 9606-1", "141", "8", "butt;lap", "PA;PB;PC;PD;PF;PH;H-L045", 1, 14),
            ("pipe", "ISO 9606-1", "136", "8", "butt;lap", "PA;PB;PC;PH", 3, 14),
        ],
        columns=[
            "trade", "standard", "process", "material", "joint_types", "positions",
            "thickness_min_mm", "thickness_max_mm",
        ],
    )  # fmt: skip
    table = people.merge(ranges, on="trade")
    number = pd.Series(np.arange(len(table)), index=table.index)
    table["certificate"] = "C-" + table["welder"] + "-" + table["process"]
    table["qualified_on"] = pd.Timestamp("2025-09-01") + pd.to_timedelta(7 * number, unit="D")
    table["valid_until"] = table["qualified_on"] + pd.DateOffset(years=2)
    out = table["welder"] == RUNS_OUT
    table.loc[out, ["qualified_on", "valid_until"]] = [
        pd.Timestamp("2024-08-31"), pd.Timestamp("2026-08-31"),
    ]  # fmt: skip
    table.loc[table["welder"] == NOT_OVERHEAD, "positions"] = "PA;PB;PC;PF"
    return shaped("qualifications", table)


def confirmations_table() -> pd.DataFrame:
    """Return the six-monthly confirmations of all certificates, one of them a week late."""
    tickets = qualifications_table()
    dates = _confirmed(tickets["qualified_on"], tickets["welder"])
    rows = (
        tickets[["welder", "certificate"]]
        .join(dates)
        .melt(id_vars=["welder", "certificate"], value_name="date")
    )
    rows = rows[rows["date"].notna()].sort_values(["certificate", "date"], ignore_index=True)
    return shaped(
        "confirmations", rows.assign(by="Foreman Mia", evidence="deposits of the register")
    )


def _confirmed(qualified_on: Any, welder: Any) -> pd.DataFrame:
    """Return the days of the confirmations up to the last day of the demo, one column a time."""
    first = qualified_on + _EVERY
    first = first.mask(welder == LATE, qualified_on + _TOO_LATE)
    dates = pd.DataFrame({number: first + number * _EVERY for number in range(5)})
    return dates.where(dates <= LAST_DAY)


def true_rate_per_m(welder: Any, date: Any) -> Any:
    """Return the true rejectable imperfections per metre of deposits, by welder and day.

    Parameters
    ----------
    welder : Series of str
        Stamps.
    date : Series of datetime
        Day welded, aligned to ``welder``.

    Examples
    --------
    >>> day = pd.to_datetime(pd.Series(["2026-01-12", "2026-09-11"]))
    >>> true_rate_per_m(pd.Series(["H14", "H14"]), day).tolist()
    [0.05, 3.0]
    """
    first = welder.map({w.stamp: w.rate_per_m for w in WELDERS})
    last = welder.map({w.stamp: w.late_rate_per_m for w in WELDERS})
    begun = welder.map({w.stamp: days(max(w.from_day, FIRST_DAY)) for w in WELDERS})
    begun = begun.mask(welder == DRIFTING, days(DRIFT_FROM))
    gone = (days(date) - begun) / (days(LAST_DAY) - begun)
    return first + (last - first) * gone.clip(0.0, 1.0)


def choose(trade: Any, date: Any, rng: np.random.Generator) -> Any:
    """Return a welder of the trade for each piece of work, among those at work on the day."""
    share = np.array([w.share for w in WELDERS])
    fits = np.array([w.trade for w in WELDERS])[None, :] == np.asarray(trade)[:, None]
    here = np.array([days(w.from_day) for w in WELDERS])[None, :] <= days(date).to_numpy()[:, None]
    weight = np.cumsum(share * fits * here, axis=1)
    at = rng.random(len(weight)) * weight[:, -1]
    stamps = np.array([w.stamp for w in WELDERS])
    chosen = stamps[(weight <= at[:, None]).sum(axis=1)]
    return pd.Series(chosen, index=date.index, dtype="str")
