"""Warnings stand until they are answered, their row is corrected, or what lacked came in."""

import pandas as pd
import pytest

from ndtstats.errors import UseError
from ndtstats.intake import load
from ndtstats.release import answer_warnings, release, warnings_of, warnings_sentence

WHO = {"person": "A. Lead", "reason": "seen on site"}
EXAM = "job,joint,method,verdict,date,report,exposure,remark\n"


@pytest.fixture
def bring(yard, tmp_path):
    """Load a text as a table, as a file of its own."""

    def load_text(table, text, name="file.csv"):
        path = tmp_path / name
        path.write_text(text)
        result = load(yard.register, table, path, now=yard.now)
        assert result.errors == []
        return result

    return load_text


def states(yard):
    return warnings_of(yard.register, everything=True)["state"].tolist()


def test_a_warning_names_its_joint_and_where_it_stands(yard, bring):
    bring("examinations", EXAM + "H1,T-1,RT,not done,2026-02-05,R-1,,\n")
    (row,) = warnings_of(yard.register).itertuples()
    assert (row.code, row.joint, row.zone, row.state) == ("NO-REASON", "T-1", "TANK", "open")
    assert row.place == "file.csv, row 2, column verdict"
    assert warnings_sentence(warnings_of(yard.register)) == (
        "1 warning waits for an answer: 1 NO-REASON."
    )


def test_an_empty_register_has_no_warnings(register):
    found = warnings_of(register, everything=True)
    assert found.empty
    assert warnings_sentence(found) == "No warning waits for an answer."


def test_an_answered_warning_stands_no_longer_and_says_who_answered(yard, bring):
    bring("examinations", EXAM + "H1,T-1,RT,not done,2026-02-05,R-1,,\n")
    number = warnings_of(yard.register)["warning"].iloc[0]
    answer_warnings(yard.register, [number], now=yard.now, **WHO)
    assert warnings_of(yard.register).empty
    row = warnings_of(yard.register, everything=True).iloc[0]
    assert (row["state"], row["answered_by"], row["answer"]) == (
        "answered",
        "A. Lead",
        "seen on site",
    )
    with pytest.raises(UseError, match="not an open warning"):
        answer_warnings(yard.register, [number], now=yard.now, **WHO)


def test_a_warning_settles_when_its_row_is_corrected_and_not_before(yard, bring):
    bring("examinations", EXAM + "H1,T-1,RT,not done,2026-02-05,R-1,,\n")
    bring("examinations", EXAM + "H1,T-1,RT,not done,2026-02-06,R-1,,\n", name="same.csv")
    assert states(yard) == ["settled", "open"], "corrected, and as wrong as before"
    bring(
        "examinations", EXAM + "H1,T-1,RT,not done,2026-02-06,R-1,,no access\n", name="better.csv"
    )
    assert states(yard) == ["settled", "settled"]


def test_a_weld_seen_by_eye_after_all_settles_the_warning(yard, bring):
    yard.examine("D-1", "VT", date="2026-02-03")
    bring("examinations", EXAM + "H1,T-1,RT,accept,2026-02-05,R-1,,\n")
    assert warnings_of(yard.register)["code"].tolist() == ["NO-VISUAL"]
    yard.examine("T-1", "VT", date="2026-02-06")
    assert states(yard) == ["open"], "looked at too late"
    yard.examine("T-1", "VT", date="2026-02-04", report="V-2")
    assert states(yard) == ["settled"]


def test_a_certificate_that_comes_in_settles_the_warning_about_the_deposit(yard, bring):
    bring("deposits", "job,joint,welder,date\nH1,T-1,M2,2026-02-01\n")
    assert warnings_of(yard.register)["code"].tolist() == ["UNQUALIFIED"]
    yard.add(
        "qualifications",
        {"welder": "M2", "certificate": "C-2", "standard": "ISO 9606-2", "process": "131",
         "qualified_on": "2025-12-01", "valid_until": "2027-12-01"},
    )  # fmt: skip
    assert states(yard) == ["settled"]


def test_what_is_wrong_with_a_welder_hinders_the_zones_that_he_welded(yard, bring):
    head = "welder,certificate,standard,process,qualified_on,valid_until\n"
    bring("qualifications", head + "K7,C-9,ISO 9606-2,131,2026-01-10,2025-01-10\n")
    (row,) = warnings_of(yard.register).itertuples()
    assert row.welder == "K7"
    assert pd.isna(row.job)
    yard.weld("D-1")
    assert "warning" in set(release(yard.register, "DECK").obstacles["check"])
    assert "warning" not in set(release(yard.register, "TANK").obstacles["check"])


def test_an_unanswered_warning_stands_in_the_way_of_its_zone(yard, bring):
    bring("examinations", EXAM + "H1,T-1,RT,not done,2026-02-05,R-1,,\n")
    assert "warning" in set(release(yard.register, "TANK").obstacles["check"])
    assert "warning" not in set(release(yard.register, "DECK").obstacles["check"])


def test_a_deposit_that_somebody_answered_for_hinders_nothing(yard, bring):
    yard.examine("T-1", "VT", date="2026-02-03")
    yard.examine("T-2", "VT", date="2026-02-03")
    yard.weld("T-1")
    yard.examine("T-1", "RT")
    bring("deposits", "job,joint,welder,date\nH1,T-2,M2,2026-02-01\n")
    number = warnings_of(yard.register)["warning"].iloc[0]
    (row,) = release(yard.register, "TANK").obstacles.itertuples()
    assert (row.check, row.joint) == ("qualification", "T-2")
    assert f"--answer {number}" in row.clears
    answer_warnings(yard.register, [number], now=yard.now, **WHO)
    assert release(yard.register, "TANK").free
