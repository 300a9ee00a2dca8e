"""Checks that need the trade: places, dates, repairs, methods, qualifications."""

from typing import Any

import pandas as pd

from ndtstats.intake.draft import Draft
from ndtstats.intake.known import Known
from ndtstats.qualification import outside_of
from ndtstats.words import IMPERFECTIONS, VOLUMETRIC

#: Places are measured with a tape: half a millimetre beyond the end is the end.
_TOLERANCE_MM = 0.5


def within_joint(draft: Draft, known: Known) -> None:
    """Tell the places that reach beyond the end of their joint."""
    length = known.joints["length_mm"]
    for column in ("from_mm", "to_mm"):
        if column in draft.frame:
            values = draft.frame[column].astype("float64")
            wrong = values > length + _TOLERANCE_MM
            remedy = _worded("the joint is {:g} mm long", length[wrong])
            draft.tell("BEYOND-JOINT", wrong, column, "is beyond the joint's end", remedy)


def bead_within_joint(draft: Draft, known: Known) -> None:
    """Tell the beads that reach beyond the end of their joint."""
    length = known.joints["length_mm"]
    end = draft.frame["from_mm"].astype("float64") + draft.frame["length_mm"].astype("float64")
    wrong = end > length + _TOLERANCE_MM
    remedy = _worded("the joint is {:g} mm long", length[wrong])
    draft.tell("BEYOND-JOINT", wrong, "length_mm", "reaches beyond the joint's end", remedy)


def crossings_within_joint(draft: Draft, known: Known) -> None:  # noqa: ARG001  (one shape)
    """Tell the crossings that lie beyond the end of their joint."""
    crossings = draft.frame["crossings_mm"].dropna().str.split(";").explode().astype("float64")
    farthest = crossings.groupby(level=0).max().reindex(draft.frame.index)
    wrong = farthest > draft.frame["length_mm"].astype("float64") + _TOLERANCE_MM
    remedy = _worded("the joint is {:g} mm long", draft.frame.loc[wrong, "length_mm"])
    draft.tell("BEYOND-JOINT", wrong, "crossings_mm", "is beyond the joint's end", remedy)


def after_welding(draft: Draft, known: Known) -> None:
    """Tell the examinations dated before their joint was welded, or within the hold time."""
    joints = known.joints
    keys = draft.frame[["job", "joint"]].astype("str")
    welded = keys.merge(known.welded(), on=["job", "joint"], how="left").set_axis(keys.index)
    date = draft.frame["date"]
    early = date < welded["first"]
    remedy = _worded("it was welded on {:%Y-%m-%d}", welded.loc[early, "first"])
    draft.tell("BEFORE-WELDED", early, "date", "is before the joint was welded", remedy)
    hold = known.hold_hours(draft.frame, joints)
    # Only days are known: within d days at least (d - 1) and at most (d + 1) times 24 h went by.
    waited = (date - welded["last"]).dt.days.fillna(-1) * 24.0
    soon = ~early & (waited >= 0) & (waited < hold["hours"])
    unknown = hold.loc[soon, "assumed"]
    unknown = (", with " + unknown + " not known").where(unknown != "", "")
    remedy = _worded("the rule asks for {:g} h after welding{}", hold.loc[soon, "hours"], unknown)
    reason = "may be sooner than the hold time allows"
    draft.tell("HOLD-TIME", soon, "date", reason, remedy)


def reject_before_repair(draft: Draft, known: Known) -> None:
    """Tell the examinations of a repair that no reject of an earlier round calls for."""
    columns = ["job", "joint", "method", "round", "verdict", "date"]
    mine = draft.frame[columns].astype({"round": "float64"}).fillna({"round": 0.0})
    repairs = mine[mine["round"] > 0].reset_index(names="row").drop(columns="verdict")
    everything = pd.concat([known.table("examinations")[columns], mine])
    rejects = everything[everything["verdict"] == "reject"].astype({"round": "float64"})
    rejects = rejects.drop(columns="verdict").drop_duplicates()
    pairs = repairs.merge(rejects, on=["job", "joint", "method"], suffixes=("", "_rejected"))
    earlier = pairs["round_rejected"] < pairs["round"]
    earlier &= ~(pairs["date_rejected"] > pairs["date"])
    lonely = repairs.loc[~repairs["row"].isin(pairs.loc[earlier, "row"]), "row"]
    wrong = draft.frame.index.isin(lonely)
    reason = "has no reject of an earlier round before it"
    remedy = "load the rejected examination first, or mend the round"
    draft.tell("NO-REJECT-BEFORE", wrong, "round", reason, remedy)


def indication_in_spot(draft: Draft, known: Known) -> None:
    """Tell the indications that lie outside the examined place."""
    frame = draft.frame
    length = known.joints["length_mm"]
    low = frame["from_mm"].astype("float64").fillna(0.0)
    high = frame["to_mm"].astype("float64").fillna(length)
    start = frame["imp_from_mm"].astype("float64")
    end = start + frame["imp_length_mm"].astype("float64").fillna(0.0)
    wrong = (start < low - _TOLERANCE_MM) | (end > high + _TOLERANCE_MM)
    remedy = _worded("the spot is {:g} to {:g} mm", low[wrong], high[wrong])
    draft.tell("OUTSIDE-SPOT", wrong, "imp_from_mm", "lies outside the spot", remedy)


def verdict_fits(draft: Draft, known: Known) -> None:  # noqa: ARG001
    """Tell the verdicts that their own row contradicts."""
    frame = draft.frame
    rejectable = frame["imp_rejectable"].astype("boolean").fillna(value=False)
    wrong = (frame["verdict"] == "accept") & rejectable
    remedy = "mend the verdict, or imp_rejectable"
    reason = "stands with a rejectable indication"
    draft.tell("ACCEPTED-REJECTABLE", wrong, "verdict", reason, remedy)
    unexplained = (frame["verdict"] == "not done") & frame["remark"].isna()
    draft.tell("NO-REASON", unexplained, "verdict", "has no reason", "say why under remark")
    numbers = frame["imperfection"]
    strange = numbers.notna() & ~numbers.isin(list(IMPERFECTIONS))
    reason = "is not an ISO 6520-1 number that is known here"
    draft.tell("IMPERFECTION-UNKNOWN", strange, "imperfection", reason, "such as 2011, 401 or 402")


def method_fits(draft: Draft, known: Known) -> None:
    """Tell the fillets that were examined by a method that looks inside."""
    joints = known.joints
    fillet = (joints["penetration"] == "fillet") | (
        joints["penetration"].isna() & joints["joint_type"].isin(["lap"])
    )
    wrong = fillet & draft.frame["method"].isin(VOLUMETRIC)
    remedy = "fillets are looked at, and tested by PT or MT; check joint and method"
    draft.tell("RT-ON-FILLET", wrong, "method", "was used on a fillet", remedy)


def exposure_once(draft: Draft, known: Known) -> None:
    """Tell the exposure numbers that one report gives to two places."""
    columns = ["job", "method", "report", "exposure", "joint", "from_mm", "to_mm"]
    mine = draft.frame[columns].assign(row=draft.frame.index)
    everything = pd.concat([known.table("examinations")[columns].assign(row=-1), mine])
    everything = everything[everything["exposure"].notna()]
    places = everything.drop_duplicates(columns)
    twice = places.groupby(columns[:4], dropna=False)["joint"].transform("size") > 1
    wrong_rows = places.loc[twice, columns[:4]].drop_duplicates()
    found = mine.merge(wrong_rows, on=columns[:4], how="inner")["row"]
    remedy = "check the exposure numbers of the report"
    reason = "stands for two places in one report"
    draft.tell("EXPOSURE-TWICE", draft.frame.index.isin(found), "exposure", reason, remedy)


def seen_by_eye_first(draft: Draft, known: Known) -> None:
    """Tell the joints examined inside with no accepted visual examination before.

    Silent for a job of which no visual examination is recorded at all.
    """
    columns = ["job", "joint", "method", "verdict", "date"]
    everything = pd.concat([known.table("examinations")[columns], draft.frame[columns]])
    visual = everything[everything["method"] == "VT"]
    accepted = visual[visual["verdict"] == "accept"]
    first = accepted.groupby(["job", "joint"], as_index=False)["date"].min()
    keys = draft.frame[["job", "joint"]]
    seen = keys.merge(first, on=["job", "joint"], how="left").set_axis(keys.index)["date"]
    inside = draft.frame["method"].isin(VOLUMETRIC) & keys["job"].isin(pd.unique(visual["job"]))
    # A joint or a date that is not known is told by itself.
    inside &= known.joints["length_mm"].notna() & draft.frame["date"].notna()
    wrong = inside & ~(seen <= draft.frame["date"])
    reason = "has no accepted visual examination before it"
    draft.tell("NO-VISUAL", wrong, "joint", reason, "look at the weld first, and record it")


def by_qualified_welder(draft: Draft, known: Known) -> None:
    """Tell the deposits that no qualification of their welder covers on the day.

    Silent while the register holds no qualifications at all.
    """
    if known.papers.qualifications.empty:
        return
    joints = known.joints
    work = draft.frame[["welder", "date", "process", "position"]].copy()
    for column in ("process", "position"):
        work[column] = work[column].astype("str").fillna(joints[column])
    for column in ("joint_type", "thickness_mm", "material"):
        work[column] = joints[column]
    # A stamp, joint or date that is not known is told by itself.
    sound = work["welder"].isin(known.table("welders")["welder"]) & work["date"].notna()
    work = work[sound & joints["length_mm"].notna()]
    found = outside_of(work, known.papers.with_uses(work))
    what = (found[column].fillna("?") for column in ("process", "position", "joint_type"))
    reason = _worded("has no qualification on the day for {} {} {}: {}", *what, found["reason"])
    remedy = "check stamp, process and position, or load certificate or confirmation"
    draft.tell("UNQUALIFIED", draft.frame.index.isin(found.index), "welder", reason, remedy)


def certificate_runs(draft: Draft, known: Known) -> None:  # noqa: ARG001
    """Tell the certificates that end before they begin."""
    wrong = draft.frame["valid_until"] < draft.frame["qualified_on"]
    remedy = "check both dates"
    draft.tell("CERTIFICATE-OUT", wrong, "valid_until", "is before the test weld", remedy)


def _worded(sentence: str, *values: "pd.Series[Any]") -> "pd.Series[str]":
    """Return a sentence about each row, with its values put in."""
    rows = zip(*values, strict=True)
    return pd.Series([sentence.format(*row) for row in rows], values[0].index, dtype="str")
