"""Checks that need the trade: places, dates, repairs, methods, qualifications."""

from typing import Any

import numpy as np
import pandas as pd

from ndtstats.intake.body import Body
from ndtstats.intake.cells import Numbers, combined, several
from ndtstats.intake.draft import Draft, draft_of
from ndtstats.intake.known import Known
from ndtstats.qualification import outside_of
from ndtstats.words import IMPERFECTIONS, VOLUMETRIC

#: Places are measured with a tape: half a millimetre beyond the end is the end.
_TOLERANCE_MM = 0.5

#: What an exposure number counts within, and the place that it stands for.
_EXPOSURE = ("job", "method", "report", "exposure")
_PLACE = ("joint", "from_mm", "to_mm")


def within_joint(draft: Draft, known: Known) -> None:
    """Tell the places that reach beyond the end of their joint."""
    length = known.of_joint(draft, "length_mm")
    for column in ("from_mm", "to_mm"):
        if column in draft.frame:
            values = draft.frame[column].astype("float64")
            wrong = values > length + _TOLERANCE_MM
            remedy = _worded("the joint is {:g} mm long", length[wrong])
            draft.tell("BEYOND-JOINT", wrong, column, "is beyond the joint's end", remedy)


def bead_within_joint(draft: Draft, known: Known) -> None:
    """Tell the beads that reach beyond the end of their joint."""
    length = known.of_joint(draft, "length_mm")
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
    welded = known.welded(draft)
    date = draft.frame["date"]
    early = date < welded["first"]
    remedy = _worded("it was welded on {:%Y-%m-%d}", welded.loc[early, "first"])
    draft.tell("BEFORE-WELDED", early, "date", "is before the joint was welded", remedy)
    hold = known.hold_hours(draft.frame, known.joints(draft))
    # Only days are known: within d days at least (d - 1) and at most (d + 1) times 24 h went by.
    waited = (date - welded["last"]).dt.days.fillna(-1) * 24.0
    soon = ~early & (waited >= 0) & (waited < hold["hours"])
    unknown = hold.loc[soon, "assumed"]
    unknown = (", with " + unknown + " not known").where(unknown != "", "")
    remedy = _worded("the rule asks for {:g} h after welding{}", hold.loc[soon, "hours"], unknown)
    reason = "may be sooner than the hold time allows"
    draft.tell("HOLD-TIME", soon, "date", reason, remedy)


def reject_before_repair(body: Body, known: Known) -> None:
    """Tell the examinations of a repair that no reject of an earlier round calls for."""
    columns = ["job", "joint", "method", "round", "date"]
    rounds, verdicts = body.columns["round"].values, body.columns["verdict"].values
    again = np.flatnonzero(body.where("round", rounds.fillna(0) > 0))
    if not len(again):
        return
    rejected = np.flatnonzero(body.where("verdict", verdicts == "reject"))
    before = known.some("examinations", columns, {"verdict": ["reject"], **known.named("joint")})
    rejects = pd.concat([before[columns], body.frame(rejected, columns)])
    rejects = rejects.astype({"round": "float64"}).drop_duplicates()
    repairs = body.frame(again, columns).astype({"round": "float64"}).reset_index(names="row")
    pairs = repairs.merge(rejects, on=["job", "joint", "method"], suffixes=("", "_rejected"))
    earlier = pairs["round_rejected"] < pairs["round"]
    earlier &= ~(pairs["date_rejected"] > pairs["date"])
    lonely = repairs.loc[~repairs["row"].isin(pairs.loc[earlier, "row"]), "row"]
    reason = "has no reject of an earlier round before it"
    remedy = "load the rejected examination first, or mend the round"
    body.tell("NO-REJECT-BEFORE", lonely.to_numpy(), "round", reason, remedy)


def indication_in_spot(draft: Draft, known: Known) -> None:
    """Tell the indications that lie outside the examined place."""
    frame = draft.frame
    length = known.of_joint(draft, "length_mm")
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
    joints = known.joints(draft)
    fillet = (joints["penetration"] == "fillet") | (
        joints["penetration"].isna() & joints["joint_type"].isin(["lap"])
    )
    wrong = fillet & draft.frame["method"].isin(VOLUMETRIC)
    remedy = "fillets are looked at, and tested by PT or MT; check joint and method"
    draft.tell("RT-ON-FILLET", wrong, "method", "was used on a fillet", remedy)


def exposure_once(body: Body, known: Known) -> None:
    """Tell the exposure numbers that one report gives to two places."""
    rows = np.flatnonzero(body.filled("exposure")).astype("int32")
    if not len(rows):
        return
    columns = [*_EXPOSURE, *_PLACE]
    before = known.some("examinations", columns, known.named("report"))
    before = before[before["exposure"].notna()]

    def said(name: str) -> Numbers:
        return np.append(body.value_numbers(name, rows), body.numbers_of(name, before[name]))

    groups = several(combined(map(said, _EXPOSURE)))
    elsewhere = np.zeros(len(groups.rows), dtype=bool)
    for name in _PLACE:
        place = said(name)[groups.rows]
        elsewhere |= place != place[groups.first]
    # All rows of an exposure are told, also the first.
    twice = np.isin(groups.first, groups.first[elsewhere]) & (groups.rows < len(rows))
    found = np.sort(rows[groups.rows[twice]])
    remedy = "check the exposure numbers of the report"
    reason = "stands for two places in one report"
    body.tell("EXPOSURE-TWICE", found, "exposure", reason, remedy)


def seen_by_eye_first(draft: Draft, known: Known) -> None:
    """Tell the joints examined inside with no accepted visual examination before.

    Silent for a job of which no visual examination is recorded at all.
    """
    first, jobs = known.seen(draft)
    inside = draft.frame["method"].isin(VOLUMETRIC) & draft.frame["job"].isin(jobs)
    # A joint or a date that is not known is told by itself.
    inside &= known.of_joint(draft, "length_mm").notna() & draft.frame["date"].notna()
    wrong = inside & ~(first <= draft.frame["date"])
    reason = "has no accepted visual examination before it"
    draft.tell("NO-VISUAL", wrong, "joint", reason, "look at the weld first, and record it")


def by_qualified_welder(body: Body, known: Known) -> None:
    """Tell the deposits that no qualification of their welder covers on the day.

    Silent while the register holds no qualifications at all.
    """
    if known.papers.qualifications.empty:
        return
    draft = draft_of(body)
    joints = known.joints(draft)
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
