"""Deposits outside a qualification, and why.

What certificates range by is that of ISO 9606-1 and -2 (from memory); that two ranges of two
certificates are not put together, and that a blank passes, is common practice, no source. Worked by
hand.
"""

import pandas as pd
import pytest

from ndtstats.qualification import Papers, covered, outside_of, pieces
from ndtstats.register.frames import typed
from ndtstats.register.schema import STORED

TICKET = {
    "process": "131", "standard": "ISO 9606-2", "material": "22", "joint_types": "butt;tee",
    "positions": "PA;PF", "thickness_min_mm": 3.0, "thickness_max_mm": 12.0,
    "qualified_on": "2025-10-01", "confirmed_on": "2026-03-01", "valid_until": "2027-10-01",
}  # fmt: skip


def table(name, rows):
    return typed(pd.DataFrame(rows), STORED[name])


@pytest.fixture
def reasons(certificates, signed, welded):
    """Why deposits of K7 on a joint lie outside, in order; "" where they do not."""

    def call(*changes, deposits, joint=None, used=None):
        tickets = certificates(*(TICKET | change for change in changes))
        papers = Papers(tickets, signed(), welded() if used is None else used)
        plain = {"job": "H1", "joint": "B-1", "welder": "K7"}
        rows = [plain | ({"date": row} if isinstance(row, str) else row) for row in deposits]
        usual = {
            "job": "H1", "joint": "B-1", "joint_type": "butt", "thickness_mm": 6.0,
            "material": "22.3", "process": "131", "position": "PF",
        }  # fmt: skip
        joints = table("joints", [usual | (joint or {})])
        work = pieces(table("deposits", rows), joints)
        found = outside_of(work, papers)
        good = covered(work, tickets, papers.spans())
        assert found.index.tolist() == work.index[~good].tolist()
        return found["reason"].reindex(work.index).fillna("").tolist()

    return call


def test_work_in_range_on_days_in_force_is_inside(reasons):
    assert reasons({}, deposits=["2025-10-01", "2026-03-01", "2026-09-01"]) == ["", "", ""]


def test_the_days_before_and_after_are_outside(reasons):
    assert reasons({}, deposits=["2025-09-30", "2026-09-02"]) == [
        "C-1 was not in force yet",
        "C-1 was in force until 2026-09-01 only: "
        "its six-monthly confirmation is missing or came late",
    ]


@pytest.mark.parametrize(
    ("joint", "reason"),
    [
        ({"process": "141"}, "no certificate for process 141"),
        ({"position": "PE"}, "C-1 does not cover position PE"),
        ({"joint_type": "lap"}, "C-1 does not cover joint type lap"),
        ({"material": "8"}, "C-1 does not cover material 8"),
        ({"thickness_mm": 14.0}, "C-1 does not cover 14 mm"),
        ({"thickness_mm": 2.5, "position": "PE"}, "C-1 does not cover position PE, 2.5 mm"),
        ({"position": None, "thickness_mm": None, "material": None}, ""),
    ],
)
def test_the_reason_says_what_is_not_covered(reasons, joint, reason):
    assert reasons({}, deposits=["2026-04-01"], joint=joint) == [reason]


def test_a_blank_range_covers_everything(reasons):
    blank = {"positions": None, "material": None, "thickness_max_mm": None}
    joint = {"position": "PE", "material": "8", "thickness_mm": 90.0}
    assert reasons(blank, deposits=["2026-04-01"], joint=joint) == [""]


def test_what_the_deposit_says_outranks_the_joint(reasons):
    row = {"date": "2026-04-01", "process": "141"}
    assert reasons({}, deposits=[row]) == ["no certificate for process 141"]


def test_two_certificates_are_not_put_together(reasons):
    overhead = {"certificate": "C-2", "positions": "PE", "joint_types": "tee"}
    assert reasons({}, overhead, deposits=["2026-04-01"], joint={"position": "PE"}) == [
        "C-1 does not cover position PE"
    ]
    # A tee overhead is what the second one is for.
    tee = {"position": "PE", "joint_type": "tee"}
    assert reasons({}, overhead, deposits=["2026-04-01"], joint=tee) == [""]


def test_the_certificate_named_is_the_one_that_lapsed_last(reasons):
    older = {"certificate": "C-0", "qualified_on": "2024-01-10", "confirmed_on": "2025-06-01"}
    assert reasons(older, {}, deposits=["2026-10-01"])[0].startswith("C-1 was in force until")


def test_a_stranger_has_no_certificate(reasons):
    row = {"date": "2026-04-01", "welder": "M2"}
    assert reasons({}, deposits=[row]) == ["no certificate of M2 is in the register"]


def test_without_certificates_all_work_lies_outside(certificates, signed, welded):
    papers = Papers(certificates({}).iloc[:0], signed(), welded())
    deposits = table(
        "deposits", [{"job": "H1", "joint": "B-1", "welder": "K7", "date": "2026-04-01"}]
    )
    work = pieces(deposits, table("joints", [{"job": "H1", "joint": "B-1"}]))
    assert outside_of(work, papers)["reason"].tolist() == [
        "no certificate of K7 is in the register"
    ]


def test_work_by_the_process_keeps_it_and_comes_back_with_a_new_test(reasons, welded):
    # ASME IX QW-322 as read in published accounts.
    asme = {"standard": "ASME IX", "confirmed_on": None, "valid_until": None}
    again = asme | {"certificate": "C-2", "qualified_on": "2027-06-01", "positions": "PA"}
    days = ["2026-03-31", "2026-09-30", "2027-04-01", "2027-06-01"]
    found = reasons(asme, again, deposits=days, used=welded(p131=days))
    lapsed = "C-1 was in force until 2027-03-30 only: no work by the process within six months"
    # The new test is made in PA, and restores the range of the old certificate.
    assert found == ["", "", lapsed, ""]
