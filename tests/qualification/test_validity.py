"""Until when certificates are in force.

The clocks of ISO 9606-1 (9.2, 9.3), of ISO 9606-2 and -3, and of ASME IX QW-322 and AWS D1.1 are
those of published accounts of the standards (not read in copies of them; ISO 9606-2 from memory).
Month ends, late confirmations and inclusive last days are common practice, no source. Worked by
hand.
"""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from ndtstats.qualification import spans, validity
from ndtstats.register.frames import typed
from ndtstats.register.schema import STORED


def table(name, rows):
    return typed(pd.DataFrame(rows), STORED[name])


def day(text):
    return date.fromisoformat(text)


@pytest.fixture
def ask(signed, welded):
    """The validity of the only certificate on a day."""

    def call(tickets, on, confirmed=(), **used):
        return validity(tickets, signed(*confirmed), welded(**used), on=day(on)).iloc[0]

    return call


@pytest.mark.parametrize(("on", "in_force"), [("2026-09-30", True), ("2026-10-01", False)])
def test_a_process_last_used_on_31_march_is_in_to_30_september(ask, certificates, on, in_force):
    # ASME IX QW-322.1 as read in published answers: used within six months, end day inclusive.
    tickets = certificates({"standard": "ASME IX", "process": "141", "qualified_on": "2025-11-03"})
    found = ask(tickets, on, p141=["2026-01-15", "2026-03-31"])
    assert found["in_force"] == in_force
    assert found["lapses_on"] == pd.Timestamp("2026-09-30")
    assert found["because"] == "continuity of the process"


def test_each_process_has_its_own_clock_and_a_weld_keeps_all_certificates_of_it(
    certificates, signed, welded
):
    # ASME IX QW-322.1 as read in published accounts: 111 used monthly, 141 last on 1 February.
    asme = {"standard": "ASME IX", "qualified_on": "2026-01-05"}
    tickets = certificates(
        asme | {"process": "111", "certificate": "F3"},
        asme | {"process": "111", "certificate": "F4"},
        asme | {"process": "141", "certificate": "T1"},
    )
    monthly = [f"2026-0{month}-10" for month in range(1, 9)]
    used = welded(p111=monthly, p141=["2026-02-01"])
    found = validity(tickets, signed(), used, on=day("2026-09-01")).set_index("certificate")
    assert found["in_force"].to_dict() == {"F3": True, "F4": True, "T1": False}
    assert found["lapses_on"]["T1"] == pd.Timestamp("2026-08-01")


CHAIN = ["2024-12-15", "2025-06-15", "2025-12-15"]


def test_route_b_ends_two_years_after_the_test_unless_the_certificate_says_later(ask, certificates):
    # ISO 9606-1, 9.3 b): prolonged by an examiner, not by itself.
    found = ask(certificates({"route": "b"}), "2026-06-15", CHAIN)
    assert (found["in_force"], found["because"]) == (True, "end of validity")
    assert not ask(certificates({"route": "b"}), "2026-06-16", [*CHAIN, "2026-06-15"])["in_force"]
    later = certificates({"route": "b", "valid_until": "2028-06-15"})
    found = ask(later, "2026-06-16", [*CHAIN, "2026-06-15"])
    assert (found["in_force"], found["lapses_on"]) == (True, pd.Timestamp("2026-12-15"))


def test_a_missed_confirmation_ends_it_whatever_else(ask, certificates):
    missed = [CHAIN[0], CHAIN[2]]
    for route in ("a", "b", "c"):
        tickets = certificates({"route": route, "valid_until": "2030-01-01"})
        assert ask(tickets, "2025-06-15", missed)["in_force"]
        found = ask(tickets, "2025-06-16", missed)
        assert not found["in_force"]
        assert found["lapses_on"] == pd.Timestamp("2025-06-15")
        assert not ask(tickets, "2026-01-01", missed)["in_force"]


@pytest.mark.parametrize(
    ("route", "last"), [("a", "2027-06-15"), ("b", "2026-06-15"), ("c", "2029-03-01")]
)
def test_the_route_sets_the_end_of_an_unbroken_chain(certificates, signed, welded, route, last):
    # ISO 9606-1, 9.3: a) three years, b) two, c) as long as it is confirmed.
    chain = pd.date_range("2024-09-01", "2028-09-01", freq="3MS").strftime("%Y-%m-%d")
    found = spans(certificates({"route": route}), signed(*chain), welded())
    assert found["ends"].tolist() == [pd.Timestamp(last)]


def test_a_stated_end_cannot_put_off_a_new_test(certificates, signed, welded):
    tickets = certificates({"route": "a", "valid_until": "2030-01-01"})
    chain = pd.date_range("2024-09-01", "2029-09-01", freq="3MS").strftime("%Y-%m-%d")
    assert spans(tickets, signed(*chain), welded())["ends"].tolist() == [pd.Timestamp("2027-06-15")]


def test_route_c_says_where_it_is_not_open(ask, certificates):
    assert (
        "PED categories II, III and IV" in ask(certificates({"route": "c"}), "2024-07-01")["note"]
    )


@pytest.mark.parametrize(
    ("tested", "lapses"),
    [
        ("2026-08-31", "2027-02-28"),
        ("2027-08-31", "2028-02-29"),
        ("2026-03-31", "2026-09-30"),
        ("2026-02-28", "2026-08-28"),
        ("2024-02-29", "2024-08-29"),
    ],
)
def test_month_ends(ask, certificates, tested, lapses):
    found = ask(certificates({"qualified_on": tested}), tested)
    assert (found["in_force"], found["since"]) == (True, pd.Timestamp(tested))
    assert found["lapses_on"] == pd.Timestamp(lapses)


def test_two_years_from_a_leap_day_end_on_28_february(certificates, signed, welded):
    chain = pd.date_range("2024-06-01", "2026-06-01", freq="3MS").strftime("%Y-%m-%d")
    tickets = certificates({"qualified_on": "2024-02-29", "standard": "ISO 9606-2"})
    assert spans(tickets, signed(*chain), welded())["ends"].tolist() == [pd.Timestamp("2026-02-28")]


@pytest.mark.parametrize(("signed_on", "in_force"), [("2024-12-15", True), ("2024-12-16", False)])
def test_a_confirmation_counts_on_the_last_day_and_not_one_later(
    ask, certificates, signed_on, in_force
):
    assert ask(certificates({}), "2025-03-01", [signed_on])["in_force"] == in_force


def test_before_the_test_weld_nothing_is_in_force(ask, certificates):
    found = ask(certificates({}), "2024-06-14")
    assert not found["in_force"]
    assert pd.isna(found["lapses_on"])


def test_the_certificate_vouches_for_what_came_before_the_register(ask, certificates):
    stated = certificates({"confirmed_on": "2026-01-10", "valid_until": "2026-06-15"})
    found = ask(stated, "2026-05-01")
    assert found["in_force"]
    assert "confirmations before 2026-01-10 on its word" in found["note"]
    # The register takes over where it begins: later confirmations must follow on one another.
    assert ask(stated, "2026-05-01", ["2026-04-01"])["in_force"]
    later = stated.assign(confirmed_on=pd.Timestamp("2026-12-01"), valid_until=pd.NaT)
    assert not ask(later, "2026-11-01", ["2026-04-01"])["in_force"]


def test_a_first_confirmation_within_six_months_takes_nothing_for_granted(ask, certificates):
    found = ask(certificates({"confirmed_on": "2024-12-01", "route": "b"}), "2024-12-02")
    assert found["note"] == ""


def test_confirmations_of_an_earlier_qualification_do_not_count(ask, certificates):
    found = ask(certificates({"confirmed_on": "2024-06-01"}), "2024-12-16", ["2024-05-01"])
    assert not found["in_force"]


def test_a_weld_keeps_no_certificate_that_is_confirmed_in_writing(ask, certificates):
    assert not ask(certificates({}), "2025-01-01", p135=["2024-12-01"])["in_force"]


def test_a_weld_after_the_lapse_brings_nothing_back(ask, certificates):
    tickets = certificates({"standard": "AWS D1.1:2020"})
    found = ask(tickets, "2025-02-01", p135=["2025-01-10"])
    assert not found["in_force"]
    assert found["lapses_on"] == pd.Timestamp("2024-12-15")


@pytest.mark.parametrize(("standard", "restored"), [("ASME Section IX", True), ("AWS D1.1", False)])
def test_a_new_test_restores_the_ranges_of_its_process(
    certificates, signed, welded, standard, restored
):
    # ASME IX QW-322.2 as read in published accounts: one coupon restores all previous ranges.
    tickets = certificates(
        {"standard": standard, "certificate": "OLD"},
        {"standard": standard, "certificate": "NEW", "qualified_on": "2026-03-02"},
        {"standard": standard, "certificate": "TIG", "process": "141"},
    )
    found = validity(tickets, signed(), welded(), on=day("2026-03-02")).set_index("certificate")
    assert found["in_force"].to_dict() == {"OLD": restored, "NEW": True, "TIG": False}


def test_an_unknown_standard_is_taken_as_it_states_and_that_is_said(ask, certificates):
    tickets = certificates({"standard": "Yard rule 7", "valid_until": "2026-06-15"})
    found = ask(tickets, "2026-06-15")
    assert found["in_force"]
    assert pd.isna(found["scheme"])
    assert found["note"].startswith("Yard rule 7 is not a scheme known here")
    assert not ask(tickets, "2026-06-16")["in_force"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "neither route nor valid_until stated"),
        ({"valid_until": "2026-06-15"}, "no route stated: ends on its valid_until"),
        ({"standard": "ISO 9606-2", "route": "c"}, "ISO 9606-2 has no route c"),
    ],
)
def test_what_is_not_stated_is_said(ask, certificates, change, words):
    assert words in ask(certificates(change), "2024-07-01")["note"]


def test_copper_and_aluminium_are_valid_for_two_years(certificates, signed, welded):
    chain = pd.date_range("2024-09-01", "2028-09-01", freq="3MS").strftime("%Y-%m-%d")
    tickets = certificates({"standard": "ISO 9606-2:2004"}, {"standard": "EN ISO 9606-3"})
    found = spans(tickets, signed(*chain), welded())
    assert found["ends"].tolist() == [pd.Timestamp("2026-06-15")] * 2


def test_what_lies_after_the_day_is_not_promised(ask, certificates):
    found = ask(certificates({}), "2024-07-01", ["2024-12-01"])
    assert found["lapses_on"] == pd.Timestamp("2024-12-15")


def test_no_certificates_have_no_validity(certificates, signed, welded):
    assert validity(certificates({}).iloc[:0], signed(), welded(), on=day("2026-01-01")).empty


STANDARDS = ["ISO 9606-1", "ISO 9606-2", "ASME IX", "AWS D1.1", "other"]
FIRST = np.datetime64("2024-01-31")


def many(seed, n=300):
    """Certificates at random, each of a welder of its own, with confirmations and uses."""
    rng = np.random.default_rng(seed)
    rows = {
        "welder": [f"W{i}" for i in range(n)], "certificate": "C-1", "process": "135",
        "standard": rng.choice(STANDARDS, n), "qualified_on": FIRST + rng.integers(0, 60, n),
        "route": rng.choice(np.array(["a", "b", "c", None]), n),
    }  # fmt: skip
    return table("qualifications", rows), *(dates(rng, n) for _ in range(3))


def dates(rng, n):
    at = rng.integers(0, n, 5 * n)
    frame = pd.DataFrame(
        {
            "welder": [f"W{i}" for i in at], "certificate": "C-1", "process": "135",
            "date": FIRST + rng.integers(0, 1500, 5 * n),
        }
    )  # fmt: skip
    return frame.astype({"date": "datetime64[s]"})


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_in_force_after_its_lapse(seed):
    tickets, confirmed, used, _ = many(seed)
    for on in ("2024-10-01", "2025-03-01", "2026-08-31", "2028-02-29"):
        found = validity(tickets, confirmed, used, on=day(on))
        begun = found["since"].notna()
        alive = begun & ~(found["lapses_on"] < pd.Timestamp(on))
        assert found["in_force"].equals(alive)
        assert 0 < alive.sum() < len(alive)
        # Whatever was known on the day, the day after the last one is out if nothing is added.
        known = confirmed[confirmed["date"] <= on], used[used["date"] <= on]
        last = found.loc[alive, "lapses_on"].dropna().max()
        late = validity(tickets, *known, on=(last + pd.Timedelta(days=1)).date())
        assert not late.loc[late["lapses_on"].notna(), "in_force"].any()


@pytest.mark.parametrize("seed", range(4))
def test_more_confirmations_and_more_work_never_shorten(seed):
    tickets, confirmed, used, more = many(seed)
    fewer = spans(tickets, confirmed, used)
    for longer in (
        spans(tickets, pd.concat([confirmed, more]), used),
        spans(tickets, confirmed, pd.concat([used, more])),
    ):
        far = pd.Timestamp("2100-01-01")
        first, then = (
            found.groupby("ticket").agg({"begins": "min", "ends": "max"}).fillna(far)
            for found in (fewer, longer)
        )
        assert (then["ends"] >= first["ends"]).all()
        assert then["begins"].equals(first["begins"])
    assert (then["ends"] > first["ends"]).any()
