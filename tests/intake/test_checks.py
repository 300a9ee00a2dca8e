import pytest

from ndtstats.findings import CODES
from ndtstats.rules import adopt, load_rules

EXAM = (
    "job,joint,method,from_mm,to_mm,round,verdict,date,report,exposure,imperfection,imp_from_mm,"
    "imp_length_mm,imp_rejectable,remark\n"
)

# What is loaded, and (row, column, code) of what must be told.
# ruff: noqa: E501  (a file's line is read best as one line)
SPOILED = [
    ("zones", "job,zone\nH9,Z\n", [(2, "job", "JOB-UNKNOWN")]),
    ("zones", "job,zone,parent\nH1,A,B\nH1,C,A\n", [(2, "parent", "ZONE-UNKNOWN")]),
    (
        "joints",
        "job,zone,joint,category,joint_type,length_mm,crossings_mm\nH1,TANK 2,X,A,butt,900,100;950\n",
        [(2, "zone", "ZONE-UNKNOWN"), (2, "crossings_mm", "BEYOND-JOINT")],
    ),
    ("joints", "job,zone,joint,category,joint_type,length_mm\nH1,DECK,X,A,butt,0\n", [(2, "length_mm", "BOUND")]),
    (
        "joints",
        "job,zone,joint,category,joint_type,length_mm,crossings_mm,whole\nH1,DECK,X,A,butt,9,a;b,maybe\n",
        [(2, "whole", "FLAG"), (2, "crossings_mm", "NUMBERS")],
    ),
    ("deposits", "job,joint,welder,date\nH1,B-1,K9,2026-03-02\n", [(2, "welder", "WELDER-UNKNOWN")]),
    ("deposits", "job,joint,welder,date,from_mm,to_mm\nH1,B-1,K7,2026-03-02,500,1100\n", [(2, "to_mm", "BEYOND-JOINT")]),
    ("deposits", "job,joint,welder,date,from_mm,to_mm\nH1,B-1,K7,2026-03-02,500,400\n", [(2, "to_mm", "BOUND")]),
    (
        "qualifications",
        "welder,certificate,standard,process,qualified_on,valid_until\nK7,C-1,ISO 9606-2,131,2026-01-10,2025-01-10\n",
        [(2, "valid_until", "CERTIFICATE-OUT")],
    ),
    ("confirmations", "welder,certificate,date\nK7,C-77,2025-12-01\n", [(2, "certificate", "CERTIFICATE-UNKNOWN")]),
    ("beads", "job,joint,side,from_mm,length_mm\nH1,F-1,first,2950,75\n", [(2, "length_mm", "BEYOND-JOINT")]),
    ("tests", "job,zone,test,date,verdict,report\nH1,HOLD,leak,2026-05-01,accept,L-1\n", [(2, "zone", "ZONE-UNKNOWN")]),
    ("examinations", EXAM + "H1,B-1,RT,900,1200,,accept,2026-03-10,R-1,1,,,,,\n", [(2, "to_mm", "BEYOND-JOINT")]),
    ("examinations", EXAM + "H1,B-1,RT,0,300,,accept,2026-03-01,R-1,1,,,,,\n", [(2, "date", "BEFORE-WELDED")]),
    ("examinations", EXAM + "H1,B-1,RT,0,300,R1,accept,2026-03-10,R-1,1,,,,,\n", [(2, "round", "NO-REJECT-BEFORE")]),
    ("examinations", EXAM + "H1,B-1,RT,0,300,,reject,2026-03-10,R-1,1,401,290,30,,\n", [(2, "imp_from_mm", "OUTSIDE-SPOT")]),
    ("examinations", EXAM + "H1,B-1,RT,0,300,,accept,2026-03-10,R-1,1,401,90,,yes,\n", [(2, "verdict", "ACCEPTED-REJECTABLE")]),
    ("examinations", EXAM + "H1,F-1,RT,0,300,,accept,2026-03-10,R-1,1,,,,,\n", [(2, "method", "RT-ON-FILLET")]),
    ("examinations", EXAM + "H1,B-1,RT,0,300,,not done,2026-03-10,R-1,,,,,,\n", [(2, "verdict", "NO-REASON")]),
    ("examinations", EXAM + "H1,B-1,RT,0,300,,reject,2026-03-10,R-1,1,PO,90,,,\n", [(2, "imperfection", "IMPERFECTION-UNKNOWN")]),
    (
        "examinations",
        EXAM + "H1,B-1,RT,0,300,,accept,2026-03-10,R-1,1,,,,,\nH1,B-2,RT,0,300,,accept,2026-03-10,R-1,1,,,,,\n",
        [(2, "exposure", "EXPOSURE-TWICE"), (3, "exposure", "EXPOSURE-TWICE")],
    ),
    (
        "examinations",
        EXAM + "H1,B-1,RT,0,300,,accept,2026-03-10,R-1,1,,,,,\nH1,B-1,RT,0,300,,reject,2026-03-10,R-1,1,,,,,\n",
        [(3, None, "TWICE")],
    ),
    ("examinations", EXAM + "H1,B-1,RT,\"1,200\",300,1.5,accept,04/03/2026,R-1,1,,,,,\n",
     [(2, "from_mm", "NUMBER-AMBIGUOUS"), (2, "round", "WHOLE"), (2, "date", "DATE-AMBIGUOUS")]),
]  # fmt: skip


@pytest.mark.parametrize(("table", "text", "expected"), SPOILED)
def test_a_spoiled_row_is_told(yard, told, table, text, expected):
    assert told(yard(table, text, name="spoiled.csv")) == expected


def test_a_repair_after_its_reject_is_right(yard):
    text = EXAM + (
        "H1,B-1,RT,0,300,,reject,2026-03-10,R-1,1,401,90,,,\n"
        "H1,B-1,RT,0,300,R1,accept,2026-03-12,R-2,1,,,,,\n"
    )
    assert yard("examinations", text).findings == []


def test_a_repair_of_another_joint_is_no_excuse(yard, told):
    text = EXAM + (
        "H1,B-2,RT,0,300,,reject,2026-03-10,R-1,1,401,90,,,\n"
        "H1,B-1,RT,0,300,1,accept,2026-03-12,R-2,1,,,,,\n"
    )
    assert told(yard("examinations", text)) == [(3, "round", "NO-REJECT-BEFORE")]


def test_a_reject_after_the_repair_is_none_before_it(yard, told):
    text = EXAM + (
        "H1,B-1,RT,0,300,,reject,2026-03-20,R-1,1,401,90,,,\n"
        "H1,B-1,RT,0,300,R1,accept,2026-03-12,R-2,1,,,,,\n"
    )
    assert told(yard("examinations", text)) == [(3, "round", "NO-REJECT-BEFORE")]


def test_a_place_that_ends_before_it_begins_is_told_without_a_start(yard, told):
    text = "job,joint,method,to_mm,verdict,date,report\nH1,B-1,RT,0,accept,2026-03-10,R-1\n"
    assert told(yard("examinations", text)) == [(2, "to_mm", "BOUND")]


def test_a_category_must_stand_in_the_rules_in_force(yard, register, now, told):
    adopt(register, "H1", load_rules("process-piping"), agreed_by=None, by="lead", now=now)
    head = "job,zone,joint,category,joint_type,length_mm\n"
    result = yard("joints", head + "H1,DECK,P-1,NORMAL,butt,300\nH1,DECK,P-2,NORML,butt,300\n")
    assert told(result) == [(3, "category", "CATEGORY-UNKNOWN")]
    assert result.findings[0].remedy == 'did you mean "NORMAL"?'


def test_an_examination_within_the_hold_time_is_told(yard, register, now, told):
    # EN 1090-2, table 23, S235 to S420, over 12 mm, as read in a published page: 40 h over 3 kJ/mm.
    adopt(register, "H1", load_rules("steel-structure"), agreed_by=None, by="lead", now=now)
    head = "job,zone,joint,category,joint_type,length_mm,material,thickness_mm\n"
    yard("joints", head + "H1,DECK,S-1,TB-HIGH,butt,900,1.2,20\n", name="more.csv")
    yard("deposits", "job,joint,welder,date\nH1,S-1,K7,2026-03-02\n", name="more2.csv")
    text = EXAM + "H1,S-1,UT,0,300,,accept,2026-03-03,R-1,1,,,,,\n"
    result = yard("examinations", text)
    assert told(result) == [(2, "date", "HOLD-TIME")]
    assert result.findings[0].remedy == (
        "the rule asks for 40 h after welding, with heat input not known"
    )
    later = text.replace("2026-03-03,R-1", "2026-03-04,R-2")
    assert yard("examinations", later, name="later.csv").findings == []


def test_work_outside_a_qualification_is_told(yard, told):
    tickets = (
        "welder,certificate,standard,process,positions,joint_types,qualified_on,confirmed_on,"
        "valid_until\n"
        "K7,C-1,ISO 9606-2,131,PA;PF,butt,2025-06-01,2026-03-01,2026-06-01\n"
        "M2,C-2,ISO 9606-2,131,PA,butt,2025-06-01,2026-03-01,\n"
    )
    yard("qualifications", tickets)
    text = (
        "job,joint,welder,date\n"
        "H1,B-1,K7,2026-05-02\n"  # PF butt, covered
        "H1,B-1,M2,2026-05-02\n"  # PF, his ticket is for PA
        "H1,B-1,K7,2026-06-02\n"  # the ticket ended the day before
        "H1,F-1,K7,2026-05-02\n"  # a tee, his ticket is for butts
    )
    result = yard("deposits", text, name="more.csv")
    assert told(result) == [
        (3, "welder", "UNQUALIFIED"), (4, "welder", "UNQUALIFIED"), (5, "welder", "UNQUALIFIED"),
    ]  # fmt: skip
    assert [finding.reason.split(" for ")[1] for finding in result.findings] == [
        "131 PF butt: C-2 does not cover position PF",
        "131 PF butt: C-1 was in force until 2026-06-01 only: its validity ended",
        "131 PB tee: C-1 does not cover joint type tee, position PB",
    ]


def test_work_after_a_missed_confirmation_is_told(yard, told):
    # ISO 9606-2, six-monthly confirmation (from memory).
    tickets = "welder,certificate,standard,process,qualified_on\nK7,C-1,ISO 9606-2,131,2025-06-01\n"
    yard("qualifications", tickets)
    text = "job,joint,welder,date\nH1,B-1,K7,2025-12-01\nH1,B-1,K7,2025-12-02\n"
    result = yard("deposits", text, name="more.csv")
    assert told(result) == [(3, "welder", "UNQUALIFIED")]
    assert (
        "in force until 2025-12-01 only: its six-monthly confirmation is missing or came late"
        in result.findings[0].reason
    )


def test_the_work_that_is_loaded_keeps_a_process_alive(yard, told):
    # ASME IX QW-322.1, as read in published accounts: any weld by the process within six months.
    tickets = "welder,certificate,standard,process,qualified_on\nK7,C-1,ASME IX,131,2025-06-01\n"
    yard("qualifications", tickets)
    days = ["2025-12-01", "2026-06-01", "2026-12-02"]
    text = "job,joint,welder,date\n" + "".join(f"H1,B-1,K7,{day}\n" for day in days)
    # Already in the register: his welds of March 2026, so that June keeps it to December.
    assert told(yard("deposits", text, name="more.csv")) == [(4, "welder", "UNQUALIFIED")]


def test_a_film_before_the_eye_is_told(yard, told):
    text = EXAM + (
        "H1,B-1,VT,,,,accept,2026-03-09,V-1,,,,,,\n"
        "H1,B-1,RT,0,300,,accept,2026-03-10,R-1,1,,,,,\n"
        "H1,B-2,RT,0,300,,accept,2026-03-10,R-1,2,,,,,\n"
    )
    assert told(yard("examinations", text)) == [(4, "joint", "NO-VISUAL")]


def test_every_code_is_provoked_by_some_test_here():
    provoked = {code for _, _, expected in SPOILED for _, _, code in expected} | {
        "MISSING", "NUMBER", "DATE", "WORD", "JOINT-UNKNOWN",  # in test_load
        "CATEGORY-UNKNOWN", "HOLD-TIME", "UNQUALIFIED", "NO-VISUAL",
        "REQUEST-UNKNOWN", "REQUEST-JOINT", "REQUEST-METHOD",  # in test_requests
    }  # fmt: skip
    assert provoked == set(CODES)
