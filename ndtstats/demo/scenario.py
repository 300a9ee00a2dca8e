"""The invented yard: two jobs, nine welders, eight months. Everything is invented.

A pure function of a seed. The tables have the columns of :mod:`ndtstats.columns`; beside them
stands the truth, which nobody in the yard knows.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ndtstats.demo import build, people, work
from ndtstats.demo.early import early_results
from ndtstats.demo.frames import shaped, working_day
from ndtstats.demo.results import visual_results
from ndtstats.demo.truth import truth_table

#: Seed of the files that come with the package: one of those with which something happens at every
#: step of the tour. Another seed gives another yard, in which there may be nothing to follow up.
DEFAULT_SEED = 2


@dataclass(frozen=True, slots=True)
class Yard:
    """The tables of the yard, and what is really in its welds.

    Attributes
    ----------
    tables : dict of DataFrame
        By the names of :data:`ndtstats.columns.TABLES`, all but the examinations.
    visual : DataFrame
        Examinations by eye of all welded joints, both jobs.
    early : DataFrame
        Radiographs of the hull from before there was a plan.
    truth : DataFrame
        Every imperfection of every weld: see :func:`ndtstats.demo.truth.truth_table`.
    """

    seed: int
    tables: dict[str, pd.DataFrame]
    visual: pd.DataFrame
    early: pd.DataFrame
    truth: pd.DataFrame


def make_yard(seed: int = DEFAULT_SEED) -> Yard:
    """Return the invented yard of a seed; the same seed gives the same yard.

    Examples
    --------
    >>> make_yard(2).tables["jobs"]["job"].tolist()
    ['WB-41', 'PL-7']
    """
    rng = np.random.default_rng(seed)
    hull, piping = build.hull_joints(rng), build.piping_joints(rng)
    hull_parts = work.deposits_of_hull(hull, rng)
    piping_parts = work.deposits_of_piping(piping, rng)
    hull_truth, piping_truth = truth_table(hull_parts, rng), truth_table(piping_parts, rng)
    visual = [
        visual_results(hull, hull_truth, rng, left_out=2),
        visual_results(piping, piping_truth, rng),
    ]
    deposits = [work.deposits_table(parts) for parts in (hull_parts, piping_parts)]
    tables = {
        "jobs": build.jobs_table(),
        "zones": build.zones_table(),
        "joints": shaped("joints", pd.concat([hull, piping])),
        "welders": people.welders_table(),
        "qualifications": people.qualifications_table(),
        "confirmations": people.confirmations_table(),
        "deposits": shaped("deposits", pd.concat(deposits)),
        "beads": work.beads_table(hull, rng),
        "tests": _tests(),
    }
    return Yard(
        seed,
        tables,
        shaped("examinations", pd.concat(visual)),
        early_results(hull, hull_truth, rng),
        pd.concat([hull_truth, piping_truth], ignore_index=True),
    )


def known_on(yard: Yard, day: pd.Timestamp) -> Yard:
    """Return the yard as its records stand on a day: what is done later is not in them yet."""
    tables = {name: _until(table, day) for name, table in yard.tables.items()}
    return replace(
        yard, tables=tables, visual=_until(yard.visual, day), early=_until(yard.early, day)
    )


def _until(table: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    return table[~(table["date"] > day)].reset_index(drop=True) if "date" in table else table


def _tests() -> pd.DataFrame:
    """Return the leak and pressure tests done so far; one tank failed at first."""
    rows = pd.DataFrame(
        [
            (build.HULL, "FUEL TANK PS", "leak", 100, 0.15, "accept", "LT-1"),
            (build.HULL, "FUEL TANK SB", "leak", 108, 0.15, "reject", "LT-2"),
            (build.HULL, "FUEL TANK SB", "leak", 112, 0.15, "accept", "LT-3"),
            (build.PIPING, "LINE 101", "pressure", 104, 15.0, "accept", "PT-1"),
        ],
        columns=["job", "zone", "test", "day", "pressure_bar", "verdict", "report"],
    )
    dated = rows.assign(date=working_day(people.FIRST_DAY, rows["day"]))
    return shaped("tests", dated)
