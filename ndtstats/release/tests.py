"""Leak and pressure tests of zones: which are required, done, too low, too high, or out of date."""

from datetime import datetime
from typing import Any, Final

import numpy as np
import pandas as pd

from ndtstats.register import Register
from ndtstats.rules import Rules, how_tested, rules_in_force

#: What the test of a zone can be, and what each means.
STATES: Final[dict[str, str]] = {
    "accepted": "accepted, and nothing was welded since",
    "missing": "required and not done",
    "failed": "the latest test of some kind was rejected",
    "above the drawing": "accepted at more than the drawing or the rules allow; the structure may "
    "have suffered",
    "too low": "accepted at less than the drawing or the rules ask for",
    "pressure not stated": "accepted, and nobody wrote down at which pressure",
    "welded since": "accepted, and something in the zone was welded or repaired since",
}

#: Columns of :func:`zone_tests`, and their types.
COLUMNS: Final[dict[str, str]] = {
    "job": "str",
    "zone": "str",
    "required": "bool",
    "state": "str",
    "test": "str",
    "date": "datetime64[s]",
    "report": "str",
    "pressure_bar": "float64",
    "needed_bar": "float64",
    "most_bar": "float64",
    "note": "str",
}

#: A gauge is read to so much of the pressure asked for: common practice, no source.
READING = 0.02


def zone_tests(register: Register, *, job: str, as_of: datetime | None = None) -> pd.DataFrame:
    """Return how the leak and pressure tests of a job's zones stand.

    Parameters
    ----------
    job : str
        The job.
    as_of : datetime, optional
        What was known then.

    Returns
    -------
    DataFrame
        A row for each zone that requires a test (its flag ``leak_test``) or was tested, in the
        order of the register, columns :data:`COLUMNS`: ``state`` is one of :data:`STATES`;
        ``test``, ``date``, ``report`` and ``pressure_bar`` are those of the latest test that
        decides; ``needed_bar`` and ``most_bar`` bound the pressure; ``note`` says what is to be
        known, "" if nothing.

    Notes
    -----
    The later test of a kind supersedes the earlier; a zone whose latest test of some kind was
    rejected has failed, whatever another kind said. The pressure is held against that of the
    drawing (``test_pressure_bar`` of the zone), which is never exceeded; where it states none,
    against the rules. Whatever is welded in a zone, or in a zone within it, after its test makes
    the test void: common practice, no source. Pressure is for licensed people.
    """
    tables = {
        name: register.table(name, job=job, as_of=as_of)
        for name in ("zones", "tests", "deposits", "joints")
    }
    zone_of = tables["joints"].set_index("joint")["zone"]
    deposits = tables["deposits"]
    work = deposits.assign(zone=zone_of.reindex(deposits["joint"]).set_axis(deposits.index))
    rules = rules_in_force(register, job, as_of)
    return state_of_zones(tables["zones"], tables["tests"], work, rules)


def state_of_zones(
    zones: pd.DataFrame, tests: pd.DataFrame, work: pd.DataFrame, rules: Rules | None
) -> pd.DataFrame:
    """Return how the tests of zones stand, as :func:`zone_tests` does.

    Parameters
    ----------
    zones : DataFrame
        Columns of the zones table of one job.
    tests : DataFrame
        Columns of the tests table, and ``id``, which settles which of two on one day came later.
    work : DataFrame
        What was welded: ``zone``, ``joint``, ``date``.
    rules : Rules or None
        Give the pressures where no drawing does.
    """
    required = zones["leak_test"].astype("boolean").fillna(value=False).astype(bool)
    rows = zones.assign(required=required)
    rows = rows[required | rows["zone"].isin(tests["zone"])].set_index("zone")
    latest = tests.sort_values(["date", "id"]).drop_duplicates(["zone", "test"], keep="last")
    # Of the latest of each kind a reject decides; among equals the later one.
    decides = latest.assign(bad=latest["verdict"] == "reject").sort_values(["bad", "date", "id"])
    decides = decides.drop_duplicates("zone", keep="last").set_index("zone").reindex(rows.index)
    of_test = ["test", "date", "report", "verdict", "pressure_bar"]
    rows = rows[["job", "required", "test_pressure_bar", "due", "milestone"]].join(decides[of_test])
    rows = _with_bounds(rows, rules)
    rows = rows.join(_last_welded(zones, work)).reset_index(names="zone")
    state = _states(rows)
    rows = rows.assign(state=state, note=_notes(rows.assign(state=state)))
    return rows[list(COLUMNS)].astype(COLUMNS)


def _with_bounds(rows: pd.DataFrame, rules: Rules | None) -> pd.DataFrame:
    """Return rows with the least and the greatest pressure, and how the rules say to test."""
    kinds = {name: rules.zone_test(name) for name in ("leak", "pressure")} if rules else {}
    known = {name: test for name, test in kinds.items() if test is not None}
    # A zone that was not tested yet is asked for the test for leaks.
    of = rows["test"].astype("str").fillna("leak")
    least = of.map({name: test.pressure_bar for name, test in known.items()}).astype("float64")
    most = of.map({name: test.most_bar for name, test in known.items()}).astype("float64")
    fills = of.map({name: test.fills for name, test in known.items()}).astype("boolean")
    drawing = rows["test_pressure_bar"].astype("float64").where(fills.fillna(value=True))
    return rows.assign(
        test_pressure_bar=drawing,
        needed_bar=drawing.fillna(least),
        most_bar=drawing.fillna(most),
        how=of.map({name: how_tested(test) for name, test in known.items()}).astype("str"),
    )


def _last_welded(zones: pd.DataFrame, work: pd.DataFrame) -> pd.DataFrame:
    """Return what was welded last in each zone and in those within it: joint and day."""
    parent = zones.set_index("zone")["parent"]
    at = work[["zone", "joint", "date"]].dropna(subset=["zone", "date"])
    levels = [at]
    # As deep as zones nest; a circle of parents ends with the number of zones.
    for _ in range(len(zones)):
        around = levels[-1]["zone"].map(parent)
        if around.isna().all():
            break
        levels.append(levels[-1].assign(zone=around).dropna(subset="zone"))
    everything = pd.concat(levels).sort_values("date", kind="stable")
    last = everything.drop_duplicates("zone", keep="last").set_index("zone")
    last = last.astype({"joint": "str"})
    return last.rename(columns={"joint": "welded_joint", "date": "welded_on"})


def _states(rows: pd.DataFrame) -> "pd.Series[str]":
    measured = rows["pressure_bar"].astype("float64")
    cases = {
        "missing": rows["verdict"].isna(),
        "failed": rows["verdict"] == "reject",
        "above the drawing": measured > rows["most_bar"] * (1 + READING),
        "too low": measured < rows["needed_bar"] * (1 - READING),
        "pressure not stated": measured.isna() & rows["needed_bar"].notna(),
        "welded since": rows["welded_on"] > rows["date"],
    }
    state = np.select([case.to_numpy(bool) for case in cases.values()], list(cases), "accepted")
    return pd.Series(state, rows.index, dtype="str")


def _notes(rows: pd.DataFrame) -> Any:
    """Return what is to be known of each zone: why it stands so, and how it is to be tested."""
    bar = {
        name: rows[name].map("{:g} bar".format).astype("str")
        for name in ("pressure_bar", "needed_bar", "most_bar")
    }
    day = {name: _day(rows[name]) for name in ("date", "welded_on", "due")}
    report = rows["report"].astype("str")
    done = rows["test"].astype("str") + " test of " + day["date"] + ", report " + report
    drawn = rows["test_pressure_bar"].notna()
    drawing = "the drawing states " + bar["needed_bar"]
    asked = drawing.where(drawn, rows["how"]).astype("str").fillna("no pressure is stated for it")
    source = pd.Series(np.where(drawn, "the drawing", "the rules"), rows.index, dtype="str")
    cases = {
        "missing": asked,
        "failed": done + " was rejected; find the leak, mend it, test again",
        "above the drawing": done + ": " + bar["pressure_bar"] + ", and " + source
        + " allows " + bar["most_bar"] + "; have the structure looked at",
        "too low": done + ": " + bar["pressure_bar"] + ", and " + source + " asks for "
        + bar["needed_bar"],
        "pressure not stated": done + "; " + source + " asks for " + bar["needed_bar"],
        "welded since": rows["welded_joint"] + " was welded on " + day["welded_on"]
        + ", after the " + done,
    }  # fmt: skip
    note = np.select([rows["state"] == name for name in cases], list(cases.values()), "")
    told = pd.Series(note, rows.index, dtype="str").fillna("")
    late = (rows["milestone"] == "paint") & (rows["date"] > rows["due"])
    painted = "it was to be painted by " + day["due"] + ", and paint can hide a leak"
    return told.mask(late & (told == ""), painted).mask(late & (told != ""), told + "; " + painted)


def _day(dates: Any) -> "pd.Series[str]":
    days = np.datetime_as_string(dates.to_numpy("datetime64[s]"), unit="D")
    return pd.Series(days, dates.index, dtype="str").mask(dates.isna())


def tightness_sentence(table: pd.DataFrame) -> str:
    """Return the conclusion of :func:`zone_tests`: how many zones are tested, how many are not.

    Examples
    --------
    >>> table = pd.DataFrame({"required": [True, True], "state": ["accepted", "missing"]})
    >>> tightness_sentence(table)
    '1 of 2 zones that need a leak or pressure test has one that holds: 1 missing.'
    """
    needed = table[table["required"]]
    if needed.empty:
        return "No zone needs a leak or pressure test; a zone does where its leak_test says yes."
    good = int((needed["state"] == "accepted").sum())
    zones = "zone that needs" if len(needed) == 1 else "zones that need"
    has = "has" if good == 1 else "have"
    words = f"{good:,} of {len(needed):,} {zones} a leak or pressure test {has} one that holds"
    rest = needed.loc[needed["state"] != "accepted", "state"].value_counts(sort=False)
    listed = ", ".join(f"{number} {state}" for state, number in rest.items())
    return f"{words}: {listed}." if listed else f"{words}."
