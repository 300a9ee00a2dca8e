"""The attribute plans of MIL-STD-105E: code letter, single plan, arrows followed.

MIL-STD-105E, *Sampling Procedures and Tables for Inspection by Attributes*, 10 May 1989: a public
standard, withdrawn in 1995, whose tables live on in ANSI/ASQ Z1.4 and ISO 2859-1. Tables I, II-A,
II-B and II-C stand in ``data/`` as they are printed, for acceptance quality levels up to 10 %,
where they are per cent rejected; the higher ones are defects per hundred units and no plan for
welds. Figures from memory; they agree with a public copy of the tables, see the tests.

The standard is made for a series of lots. Used on one lot, look at the curve of the plan, not at
its name. For welds it is an analogy, not a code.
"""

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ndtstats.errors import UseError, nearest
from ndtstats.statistics.acceptance.arguments import counts

Inspection = Literal["normal", "tightened", "reduced"]
INSPECTIONS: tuple[Inspection, ...] = ("normal", "tightened", "reduced")
LEVELS = ("S1", "S2", "S3", "S4", "I", "II", "III")

#: Acceptance quality levels in per cent, as the standard steps them.
AQLS_PERCENT = (
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25,
    0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0,
)  # fmt: skip

_DATA = resources.files("ndtstats.statistics.acceptance") / "data"


@dataclass(frozen=True, slots=True)
class StandardPlan:
    """A single plan of the standard for one lot.

    Parameters
    ----------
    letter : str
        Sample size code letter of Table I.
    used_letter : str
        Letter of the plan used; another one where an arrow of the table points to it.
    examine : int
        Places to examine: the plan's number, or the whole lot if that is less.
    accept : int
        Rejects with which the lot is accepted, Ac.
    reject : int
        Rejects with which it is rejected, Re. Under reduced inspection there may be numbers in
        between: then the lot is accepted, and normal inspection returns (para. 4.10.1.4).
    whole_lot : bool
        Whether the plan asks for as many as the lot has, or more.
    """

    letter: str
    used_letter: str
    examine: int
    accept: int
    reject: int
    whole_lot: bool

    @property
    def allowed(self) -> int:
        """Rejects with which the lot is accepted on whatever terms: what its OC curve needs."""
        return self.reject - 1


def code_letters(lot: Any, level: str = "II") -> npt.NDArray[np.str_]:
    """Return the sample size code letters of Table I.

    Parameters
    ----------
    lot : array_like
        Places in the lot, 2 or more.
    level : {"S1", "S2", "S3", "S4", "I", "II", "III"}
        Inspection level; II unless there is a reason, S1 to S4 for small samples whose risks are
        accepted.

    Examples
    --------
    >>> code_letters([90, 91, 500]).tolist()
    ['E', 'F', 'H']
    """
    size = counts(lot, "lot", least=2)
    if level not in LEVELS:
        raise UseError(f'level "{level}" is not known; use one of {", ".join(LEVELS)}')
    largest, letters = _table_i()
    return letters[level][np.searchsorted(largest, size)]


def standard_plan(
    lot: int, aql_percent: float, *, level: str = "II", inspection: str = "normal"
) -> StandardPlan:
    """Return the single plan of the standard for a lot.

    Parameters
    ----------
    lot : int
        Places in the lot, 2 or more.
    aql_percent : float
        Acceptance quality level in per cent, one of :data:`AQLS_PERCENT`.
    level : str
        Inspection level, as in :func:`code_letters`.
    inspection : {"normal", "tightened", "reduced"}
        Severity; which one is in force is the business of the switching rules.

    Raises
    ------
    UseError
        If the lot, level, severity or acceptance quality level is not in the standard.

    Notes
    -----
    Tables II-A, II-B and II-C. An arrow means: use the first plan it points to, its sample size
    too. A plan that asks for the lot or more means: examine all (note under the tables). The chance
    that work passes is ``accept_probability(rate, plan.examine, plan.allowed)``.

    Examples
    --------
    >>> standard_plan(500, 1.0)
    StandardPlan(letter='H', used_letter='H', examine=50, accept=1, reject=2, whole_lot=False)
    >>> standard_plan(150, 1.0)
    StandardPlan(letter='F', used_letter='E', examine=13, accept=0, reject=1, whole_lot=False)
    """
    if inspection not in INSPECTIONS:
        close = nearest(inspection, list(INSPECTIONS))
        hint = f'did you mean "{close}"?' if close else f"use one of {', '.join(INSPECTIONS)}"
        raise UseError(f'inspection "{inspection}" is not known; {hint}')
    column = _aql_column(aql_percent)
    letter = str(code_letters(lot, level))
    table = _table_ii()[inspection]
    letters = list(table)
    row = letters.index(letter)
    while (cell := table[letters[row]][1][column]) in _ARROWS:
        row += _ARROWS[cell]
    examine = table[letters[row]][0]
    accept, reject = (int(number) for number in cell.split())
    return StandardPlan(letter, letters[row], min(examine, lot), accept, reject, examine >= lot)


_ARROWS = {"v": 1, "^": -1}


def _aql_column(aql_percent: float) -> int:
    for column, aql in enumerate(AQLS_PERCENT):
        if abs(aql_percent - aql) < 1e-9:
            return column
    steps = ", ".join(f"{aql:g}" for aql in AQLS_PERCENT)
    raise UseError(f"an AQL of {aql_percent:g} % is not a step of the standard; use one of {steps}")


@cache
def _table_i() -> tuple[npt.NDArray[np.float64], dict[str, npt.NDArray[np.str_]]]:
    """Return the largest lot of each row, and the letters of each level."""
    rows = list(csv.DictReader((_DATA / "mil_std_105e_letters.csv").read_text().splitlines()))
    largest = np.array([float(row["lot_to"] or "inf") for row in rows])
    return largest, {level: np.array([row[level] for row in rows]) for level in LEVELS}


@cache
def _table_ii() -> dict[str, dict[str, tuple[int, list[str]]]]:
    """Return, by severity and letter, the sample size and the cell of each AQL."""
    table: dict[str, dict[str, tuple[int, list[str]]]] = {name: {} for name in INSPECTIONS}
    for row in csv.reader((_DATA / "mil_std_105e_single.csv").read_text().splitlines()[1:]):
        inspection, letter, examine, *cells = row
        table[inspection][letter] = (int(examine), cells)
    return table
