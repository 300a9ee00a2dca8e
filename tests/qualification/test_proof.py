"""The windows in which a tested weld serves.

The rules are those of ISO 9606-1, 9.2 and 9.3 b), and of ISO 9606-3, as published accounts of them
tell (not read in copies of the standards); ISO 9606-2 from memory. Worked by hand.
"""

from datetime import date

import pandas as pd
import pytest

from ndtstats.qualification.proof import windows

CHAIN = ["2024-12-15", "2025-06-15", "2025-12-15"]


def on(day, tickets, confirmations):
    return windows(tickets, confirmations, on=date.fromisoformat(day))


@pytest.mark.parametrize(
    ("last", "closes"),
    [
        # A process used on 31 March is in date to 30 September, that day included: ASME IX QW-322
        # as read in published answers. Six calendar months, and the last of February: common
        # practice, no source.
        ("2026-03-31", "2026-09-30"),
        ("2026-08-31", "2027-02-28"),
        ("2027-08-31", "2028-02-29"),
        ("2024-12-15", "2025-06-15"),
    ],
)
def test_a_confirmation_holds_for_six_calendar_months(certificates, signed, last, closes):
    window = on(last, certificates({"confirmed_on": last}), signed()).iloc[0]
    assert (window["opens_on"], window["closes_on"]) == (pd.Timestamp(last), pd.Timestamp(closes))
    assert window["needed"] == 1


def test_without_confirmation_the_day_of_the_test_weld_counts(certificates, signed):
    window = on("2024-07-01", certificates({}), signed()).iloc[0]
    assert window["closes_on"] == pd.Timestamp("2024-12-15")


@pytest.mark.parametrize(
    ("change", "needed"),
    [
        ({"route": "b"}, 2),
        ({"valid_until": "2026-06-15"}, 2),  # no route: only b has an end that is stated
        ({"standard": "ISO 9606-2"}, 2),
        ({"standard": "ISO 9606-3"}, 1),
    ],
)
def test_a_prolongation_needs_tested_welds_of_the_last_six_months(
    certificates, signed, change, needed
):
    # Test weld 2024-06-15, two years: what is welded from 2025-12-16 to 2026-06-15 counts.
    found = on("2026-03-01", certificates(change), signed(*CHAIN)).set_index("window")
    window = found.loc["prolongation"]
    assert (window["opens_on"], window["closes_on"]) == (
        pd.Timestamp("2025-12-15"), pd.Timestamp("2026-06-15")
    )  # fmt: skip
    assert window["needed"] == needed


@pytest.mark.parametrize(
    "change", [{"route": "a"}, {"route": "c"}, {}], ids=["three years", "open-ended", "no route"]
)
def test_no_tested_weld_prolongs_the_other_routes(certificates, signed, change):
    found = on("2026-03-01", certificates(change), signed(*CHAIN))
    assert found["window"].tolist() == ["confirmation"]


@pytest.mark.parametrize(
    ("change", "day"),
    [
        ({}, "2026-06-16"),  # the confirmation is late
        ({"valid_until": "2026-02-01"}, "2026-03-01"),  # the end is past
        ({"standard": "ASME IX"}, "2026-03-01"),  # any weld keeps it: none need be tested
        ({"standard": "Yard rule 7"}, "2026-03-01"),  # nothing is known of what it asks
    ],
)
def test_what_no_tested_weld_helps_has_no_window(certificates, signed, change, day):
    assert on(day, certificates(change), signed(*CHAIN)).empty


def test_no_certificates_have_no_windows(certificates, signed):
    assert on("2026-01-01", certificates({}).iloc[:0], signed()).empty
