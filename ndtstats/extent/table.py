"""Required against achieved, for each extent rule, category and method."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ndtstats.errors import UseError
from ndtstats.extent.achieved import examined_spans
from ndtstats.extent.measure import Measured, Tables, measure
from ndtstats.extent.notes import MOST_NAMES, notes
from ndtstats.register import Register, require_job
from ndtstats.rules import Rules, in_no_rule, is_under, rules_in_force, standing
from ndtstats.rules.families import CheckPoints
from ndtstats.units import SLACK_MM

#: Columns of the result, in order, and their types.
COLUMNS: dict[str, str] = {
    "job": "str",
    "rule": "str",
    "category": "str",
    "method": "str",
    "family": "str",
    "unit": "str",
    "joints": "int64",
    "length_mm": "float64",
    "required": "float64",
    "achieved": "float64",
    "missing": "float64",
    "examined_mm": "float64",
    "share_examined": "float64",
    "state": "str",
    "note": "str",
}

#: Up to this much of a joint or a spot is no shortfall but the last bits of a sum.
_NOTHING = 1e-6


def extent(
    register: Register,
    *,
    job: str | None = None,
    as_of: datetime | None = None,
    rules: Rules | None = None,
) -> pd.DataFrame:
    """Return what is required and what is achieved in a job.

    Parameters
    ----------
    register : Register
        Holds joints, deposits and examinations.
    job : str, optional
        The job; may be left out where there is only one.
    as_of : datetime, optional
        The answer that was known then.
    rules : Rules, optional
        Rules to measure by; None: those in force for the job.

    Returns
    -------
    DataFrame
        As :func:`extent_table` returns it, with ``job`` before.

    Raises
    ------
    UseError
        If there is no such job, or no rules are in force for it and none are given.
    """
    job = require_job(register, job, as_of)
    rules = rules or rules_in_force(register, job, as_of)
    if rules is None:
        raise UseError(
            f'no rules are in force for job "{job}"; adopt some with: '
            f"ndtstats rules adopt FILE --job {job}, or name them with --rules"
        )
    found = register.once(
        ("extent", job, as_of, rules.sha256), lambda: _of_job(register, job, as_of, rules)
    )
    return found.assign(job=pd.Series(job, index=found.index, dtype="str"))[list(COLUMNS)]


def _of_job(register: Register, job: str, as_of: datetime | None, rules: Rules) -> pd.DataFrame:
    joints, deposits, examinations = (
        register.table(name, job=job, as_of=as_of)
        for name in ("joints", "deposits", "examinations")
    )
    return extent_table(joints, deposits, examinations, rules=rules)


def extent_table(
    joints: pd.DataFrame, deposits: pd.DataFrame, examinations: pd.DataFrame, *, rules: Rules
) -> pd.DataFrame:
    """Return what rules require and what examinations achieve: a pure function of its tables.

    Parameters
    ----------
    joints, deposits, examinations : DataFrame
        Tables of the register, of one job.
    rules : Rules
        What is required.

    Returns
    -------
    DataFrame
        Columns ``rule``, ``category``, ``method``, ``family``, ``unit`` (joints, spots or mm: that
        of the three that follow the lengths), ``joints``, ``length_mm``, ``required``,
        ``achieved``, ``missing``, ``examined_mm`` (the union of examined intervals),
        ``share_examined``, ``state`` ("met", "short" or "no rule"), ``note`` (why).

        A row for each rule with joints under it, or for each of its categories where it counts by
        category; then one for each category of the joints that no rule is about, without method and
        numbers. ``required`` includes what welders and places add that must be shown and are not
        yet. A surplus in one group of joints (``counted_per``) does not make good what another
        lacks, so that ``missing`` may exceed ``required - achieved``.
    """
    rejected = (examinations["round"] == 0) & (examinations["verdict"] == "reject")
    rejects = examinations.loc[rejected, ["joint", "method"]]
    tables = Tables(joints, deposits, rejects, examined_spans(examinations, joints))
    rows: list[dict[str, Any]] = []
    left = standing(joints)
    for rule in rules.extent:
        if isinstance(rule.amount, CheckPoints) or is_under(left, rule).any():
            rows += _rows(measure(rule, rules, tables))
    rows += _nameless(joints[in_no_rule(joints, rules)], rules)
    types = {name: dtype for name, dtype in COLUMNS.items() if name != "job"}
    return pd.DataFrame(rows, columns=list(types)).astype(types)


def _rows(found: Measured) -> list[dict[str, Any]]:
    """Return the rows of a rule: one in all, or one for each category."""
    joints, rule = found.under.joints, found.rule
    if "category" in rule.counted_per:
        named = joints.drop_duplicates("group").set_index("group")["category"]
        category = named.reindex(found.groups.index)
    else:
        present = [name for name in rule.categories if name in set(joints["category"])]
        category = pd.Series(", ".join(present or rule.categories), index=found.groups.index)
    return [
        _row(found, str(name), groups)
        for name, groups in found.groups.groupby(category, sort=False)
    ]


def _row(found: Measured, category: str, groups: pd.DataFrame) -> dict[str, Any]:
    rule, total = found.rule, groups.sum()
    basis = total["basis_mm"]
    slack = SLACK_MM if rule.unit == "mm" else _NOTHING
    return {
        "rule": rule.name,
        "category": category,
        "method": rule.method,
        "family": rule.amount.family,
        "unit": rule.unit,
        "joints": int(total["joints"]),
        "length_mm": total["length_mm"],
        "required": total["required"],
        "achieved": total["achieved"],
        "missing": total["missing"],
        "examined_mm": total["examined_mm"],
        "share_examined": total["examined_mm"] / basis if basis > 0 else np.nan,
        "state": "short" if total["missing"] > slack else "met",
        "note": "; ".join(notes(found, groups)),
    }


def _nameless(joints: pd.DataFrame, rules: Rules) -> list[dict[str, Any]]:
    """Return a row for each category of joints that no rule is about."""
    return [
        {
            "category": category,
            "joints": len(group),
            "length_mm": group["length_mm"].sum(),
            "state": "no rule",
            "note": _why_in_no_rule(str(category), group["joint"], rules),
        }
        for category, group in joints.groupby("category", sort=True)
    ]


def _why_in_no_rule(category: str, joints: "pd.Series[str]", rules: Rules) -> str:
    if category not in rules.categories:
        return "no rule names this category"
    names = ", ".join(joints.head(MOST_NAMES))
    more = len(joints) - MOST_NAMES
    told = f"{names} and {more} more" if more > 0 else names
    return f"the condition (where) of no rule for this category holds: {told}"
