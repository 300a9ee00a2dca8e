"""Checks of what a row is about: known jobs, zones, joints and welders, and no key twice."""

from typing import Any

import pandas as pd

from ndtstats.errors import nearest
from ndtstats.intake.draft import Draft
from ndtstats.intake.known import Known

#: So many pairs of words are compared for a suggestion; a second of work at most.
MOST_COMPARED = 50_000


def job_known(draft: Draft, known: Known) -> None:
    """Tell the jobs that the register does not have."""
    _unknown(draft, "job", "JOB-UNKNOWN", set(known.table("jobs")["job"]), "is not a job")


def zone_known(draft: Draft, known: Known) -> None:
    """Tell the zones that their job does not have."""
    _unknown_of_job(draft, "zone", "zone", "ZONE-UNKNOWN", known.table("zones"))


def parent_known(draft: Draft, known: Known) -> None:
    """Tell the parent zones that stand neither in the register nor in the file."""
    columns = ["job", "zone"]
    zones = pd.concat([known.table("zones")[columns], draft.body.frame(names=columns)])
    _unknown_of_job(draft, "parent", "zone", "ZONE-UNKNOWN", zones)


def joint_known(draft: Draft, known: Known) -> None:
    """Tell the joints that their job does not have."""
    keys = draft.frame[["job", "joint"]].notna().all(axis=1)
    if (keys & known.of_joint(draft, "length_mm").isna()).any():
        joints = known.names_of_joints
        _unknown_of_job(draft, "joint", "joint", "JOINT-UNKNOWN", joints)


def welder_known(draft: Draft, known: Known) -> None:
    """Tell the stamps that the register does not have."""
    stamps = set(known.table("welders")["welder"])
    _unknown(draft, "welder", "WELDER-UNKNOWN", stamps, "is not a welder of the register")


def certificate_known(draft: Draft, known: Known) -> None:
    """Tell the confirmations of certificates that their welder does not have."""
    columns = ["welder", "certificate"]
    mine = draft.frame[columns].merge(
        known.table("qualifications")[columns].drop_duplicates(), how="left", indicator=True
    )
    wrong = (mine["_merge"] == "left_only").set_axis(draft.frame.index)
    wrong &= draft.frame[columns].notna().all(axis=1)
    wrong &= draft.frame["welder"].isin(known.table("welders")["welder"])
    hints = _hints(
        draft.frame["certificate"], wrong, set(known.table("qualifications")["certificate"])
    )
    reason = "is not a certificate of that welder"
    draft.tell("CERTIFICATE-UNKNOWN", wrong, "certificate", reason, hints)


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
    mine = pd.DataFrame({"job": jobs, theirs: values}).reset_index(names="row").dropna()
    there = table[["job", theirs]].drop_duplicates()
    found = mine.merge(there, on=["job", theirs], how="left", indicator=True)
    rows = found.loc[found["_merge"] == "left_only", "row"]
    wrong = pd.Series(values.index.isin(rows), index=values.index)
    hints = [
        _hints(values, wrong & (jobs == job), set(there.loc[there["job"] == job, theirs].dropna()))
        for job in pd.unique(jobs[wrong])
    ]
    if hints:
        draft.tell(code, wrong, column, f"is not a {theirs} of the job", pd.concat(hints))


def request_known(draft: Draft, known: Known) -> None:
    """Tell the requests that no plan made, and those of another joint or method.

    Silent while no plan has asked for anything: the ids are then somebody else's.
    """
    asked = draft.frame["request"]
    if known.spots.empty or asked.isna().all():
        return
    unknown = asked.notna() & ~asked.isin(known.spots.index)
    hints = _hints(asked, unknown, set(known.spots.index))
    draft.tell("REQUEST-UNKNOWN", unknown, "request", "is not a requested spot", hints)
    spots = known.spots.reindex(asked).set_axis(asked.index)
    mine = draft.frame[["job", "joint", "method"]]
    # Either the id is wrong or the joint is, and a verdict must not be kept on the wrong joint.
    other = (spots["joint"].notna() & mine["joint"].notna() & mine["job"].notna()) & (
        (spots["joint"] != mine["joint"]) | (spots["job"] != mine["job"])
    )
    where = "asks for joint " + spots["joint"] + " of job " + spots["job"]
    draft.tell("REQUEST-JOINT", other, "request", where, "mend the request or the joint")
    method = ~other & spots["method"].notna() & mine["method"].notna()
    method &= spots["method"] != mine["method"]
    remedy = "the spot stays open until it is examined so; or mend the method"
    draft.tell("REQUEST-METHOD", method, "request", "asks for " + spots["method"], remedy)


def _hints(values: Any, wrong: Any, known: set[str]) -> Any:
    """Return for each wrong row what would be right: the nearest known word."""
    words = pd.unique(values[wrong])
    bare: dict[str, list[str]] = {}
    for word in known:
        bare.setdefault(_bare(word), []).append(word)
    # Looking for the nearest of many takes long; a file of strangers gets the plain advice.
    few = len(words) * len(known) <= MOST_COMPARED
    hints = {}
    for word in words:
        # The same but for capitals, blanks and dashes is nearer than any other.
        same = bare.get(_bare(str(word)), [])
        close = same[0] if len(same) == 1 else nearest(str(word), known) if few else None
        hints[word] = f'did you mean "{close}"?' if close else "load it first, or mend it here"
    return values[wrong].map(hints).astype("str")


def _bare(word: str) -> str:
    return "".join(letter for letter in word.casefold() if letter.isalnum())
