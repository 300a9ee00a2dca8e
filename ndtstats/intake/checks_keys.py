"""Checks of what a row is about: known jobs, zones, joints and welders, and no key twice."""

from typing import Any

import pandas as pd

from ndtstats.errors import nearest
from ndtstats.intake.draft import Draft
from ndtstats.intake.known import Known


def job_known(draft: Draft, known: Known) -> None:
    """Tell the jobs that the register does not have."""
    _unknown(draft, "job", "JOB-UNKNOWN", set(known.table("jobs")["job"]), "is not a job")


def zone_known(draft: Draft, known: Known) -> None:
    """Tell the zones that their job does not have."""
    _unknown_of_job(draft, "zone", "zone", "ZONE-UNKNOWN", known.table("zones"))


def parent_known(draft: Draft, known: Known) -> None:
    """Tell the parent zones that stand neither in the register nor in the file."""
    columns = ["job", "zone"]
    zones = pd.concat([known.table("zones")[columns], draft.frame[columns]])
    _unknown_of_job(draft, "parent", "zone", "ZONE-UNKNOWN", zones)


def joint_known(draft: Draft, known: Known) -> None:
    """Tell the joints that their job does not have."""
    _unknown_of_job(draft, "joint", "joint", "JOINT-UNKNOWN", known.table("joints"))


def welder_known(draft: Draft, known: Known) -> None:
    """Tell the stamps that the register does not have."""
    stamps = set(known.table("welders")["welder"])
    _unknown(draft, "welder", "WELDER-UNKNOWN", stamps, "is not a welder of the register")


def category_known(draft: Draft, known: Known) -> None:
    """Tell the categories that no rule in force names; silent where no rules are in force."""
    for job, rules in known.rules.items():
        of_job = draft.frame["job"] == job
        wrong = of_job & ~draft.frame["category"].isin(list(rules.categories))
        remedy = _hints(draft.frame["category"], wrong, set(rules.categories))
        reason = f'is not a category of the rules "{rules.title}"'
        draft.tell("CATEGORY-UNKNOWN", wrong, "category", reason, remedy)


def _unknown(draft: Draft, column: str, code: str, known: set[str], reason: str) -> None:
    values = draft.frame[column]
    wrong = values.notna() & ~values.isin(known)
    draft.tell(code, wrong, column, reason, _hints(values, wrong, known))


def _unknown_of_job(draft: Draft, column: str, theirs: str, code: str, table: pd.DataFrame) -> None:
    values, jobs = draft.frame[column], draft.frame["job"]
    pairs = pd.MultiIndex.from_frame(table[["job", theirs]].astype("str"))
    mine = pd.MultiIndex.from_arrays([jobs.astype("str"), values.astype("str")])
    wrong = values.notna() & jobs.notna() & ~mine.isin(pairs)
    remedy = _hints(values, wrong, set(table[theirs].dropna()))
    draft.tell(code, wrong, column, f"is not a {theirs} of the job", remedy)


def _hints(values: Any, wrong: Any, known: set[str]) -> Any:
    """Return for each row what would be right: the nearest known word."""
    words = pd.unique(values[wrong])
    # Looking for the nearest of many takes long; a file of strangers gets the plain advice.
    few = len(words) * len(known) <= 200_000
    hints = {}
    for word in words:
        close = nearest(str(word), known) if few else None
        hints[word] = f'did you mean "{close}"?' if close else "load it first, or mend it here"
    return values.astype(object).map(hints)
