"""Signals of one welder's record: normal, tightened, stopped, and back."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy.stats import beta, binom

from ndtstats.escalation import severity_of
from ndtstats.rules.signals import Signals
from ndtstats.statistics import choose_cusum, proportion_interval

DAY_0 = pd.Timestamp("2026-03-01")
BOUND = Signals(watch=("lower-bound",), limit=0.10, release_after=5)


def record(verdicts, welder="K7", first=0):
    """First examinations of one welder, a day each; R is rejected."""
    return pd.DataFrame(
        {
            "welder": welder, "date": [DAY_0 + pd.Timedelta(days=first + n)
                                       for n in range(len(verdicts))],
            "rejected": [verdict == "R" for verdict in verdicts],
            "ref": [f"{welder}-{first + n + 1}" for n in range(len(verdicts))],
        }
    )  # fmt: skip


def reviews(*days, welder="K7"):
    return pd.DataFrame(
        {"welder": welder, "day": [DAY_0 + pd.Timedelta(days=day) for day in days],
         "decision": [f"D{n + 1}" for n in range(len(days))]}
    )  # fmt: skip


def course(changes):
    return list(zip(changes["after"], changes["because"], strict=True))


@pytest.mark.parametrize("accepts", range(12))
def test_the_bound_signals_where_clopper_and_pearson_put_it_above_the_limit(accepts):
    # Clopper & Pearson 1934: the one-sided lower bound solves P(X >= k) = 1 - level. scipy's beta.
    changes = severity_of(record("A" * accepts + "RR"), BOUND)
    lower = beta.ppf(0.05, 2, accepts + 1)
    assert lower == pytest.approx(
        float(proportion_interval(2, accepts + 2, level=0.95, sides="lower").lower)
    )
    assert bool(len(changes)) == (lower > 0.10)


@pytest.mark.parametrize(("verdicts", "signals"), [("R", True), ("AAR", False), ("AARR", True)])
def test_the_probability_is_that_of_jeffreys_posterior(verdicts, signals):
    # Brown, Cai & DasGupta 2001: beta(k + 1/2, n - k + 1/2). A first film rejected is a signal.
    settings = Signals(watch=("probability",), limit=0.10)
    k, n = verdicts.count("R"), len(verdicts)
    assert bool(beta.sf(0.10, k + 0.5, n - k + 0.5) > 0.95) is signals
    assert bool(len(severity_of(record(verdicts), settings))) is signals


def test_the_cusum_is_the_one_of_the_trend():
    settings = Signals(watch=("cusum",), limit=0.10, borne=0.03)
    chart = choose_cusum(0.03, 0.10, spots_between_false_alarms=1000)
    verdicts = "RARAARAAARARRARA"
    track = chart.track([verdict == "R" for verdict in verdicts])
    first = int(track["signal"].to_numpy().argmax())
    changes = severity_of(record(verdicts), settings)
    assert changes["day"].iloc[0] == DAY_0 + pd.Timedelta(days=first)
    assert changes["cause"].iloc[0] == "cusum over 10 %"


def test_a_second_signal_stops_and_each_names_what_is_behind_it():
    changes = severity_of(record("RRARR" + "A" * 30), BOUND)
    assert course(changes) == [("tightened", "K7-1; K7-2"), ("stopped", "K7-4; K7-5")]
    assert changes[["rejected", "examined"]].to_numpy().tolist() == [[2, 2], [2, 3]]


def test_a_run_of_accepts_since_it_was_tightened_releases():
    changes = severity_of(record("ARR" + "AAAA" + "R" + "AAAAA"), BOUND)
    assert course(changes) == [
        ("tightened", "K7-2; K7-3"),
        ("normal", "K7-9; K7-10; K7-11; K7-12; K7-13"),
    ]
    assert changes["cause"].iloc[1] == "5 accepts in a row"


def test_only_a_review_ends_a_stop_and_work_resumes_tightened():
    # Inspection resumes on tightened once the corrective action is accepted: ISO 2859-1; seen.
    films = record("RRARR" + "A" * 30)
    changes = severity_of(films, BOUND, reviews(10))
    assert changes["after"].tolist() == ["tightened", "stopped", "tightened", "normal"]
    assert changes["cause"].tolist()[2:] == ["review D1", "5 accepts in a row"]
    # The five begin after the review, which comes after the films of its day.
    assert changes["because"].iloc[3] == "K7-12; K7-13; K7-14; K7-15; K7-16"


def test_a_review_while_tightened_releases_and_one_while_normal_does_nothing():
    films = record("ARRAA")
    changes = severity_of(films, BOUND, reviews(1, 3))
    assert changes["after"].tolist() == ["tightened", "normal"]
    assert changes["cause"].tolist() == ["lower-bound over 10 %", "review D2"]


def test_a_review_of_the_day_of_a_signal_comes_after_it():
    assert severity_of(record("RR"), BOUND, reviews(1))["after"].tolist() == [
        "tightened", "normal",
    ]  # fmt: skip


def test_what_led_to_a_change_is_not_held_against_him_twice():
    changes = severity_of(record("RRA" + "AR"), BOUND)
    assert changes["after"].tolist() == ["tightened"]


WELDERS = st.lists(st.text("AR", max_size=25), min_size=1, max_size=4)


@given(WELDERS)
def test_welders_side_by_side_fare_as_each_alone(records):
    settings = Signals(release_after=4)
    films = [record(verdicts, f"W{n}") for n, verdicts in enumerate(records)]
    mixed = pd.concat(films).sort_values("date", kind="stable")
    together = severity_of(mixed, settings)
    alone = pd.concat([severity_of(one, settings) for one in films])
    keys = ["welder", "day", "after", "cause", "rejected", "examined", "because"]
    pd.testing.assert_frame_equal(
        together[keys].sort_values(["welder", "day"], ignore_index=True),
        alone[keys].sort_values(["welder", "day"], ignore_index=True),
    )


@given(st.text("AR", min_size=1, max_size=40), st.integers(0, 39))
def test_what_changed_once_stays_changed(verdicts, until):
    """What comes later takes back no change that the record up to a day had made."""
    before = severity_of(record(verdicts[:until]), Signals(release_after=4))
    after = severity_of(record(verdicts), Signals(release_after=4))
    pd.testing.assert_frame_equal(before, after.head(len(before)))


def share_signalled(rate, settings, films):
    """Return by exact recursion how many welders of a rate the bound signals within some films."""
    chances, signalled = {0: 1.0}, 0.0
    for n in range(1, films + 1):
        moved: dict[int, float] = {}
        for k, chance in chances.items():
            moved[k] = moved.get(k, 0.0) + chance * (1 - rate)
            if binom.sf(k, n, settings.limit) < 1 - settings.level:
                signalled += chance * rate
            else:
                moved[k + 1] = moved.get(k + 1, 0.0) + chance * rate
        chances = moved
    return signalled


@pytest.mark.parametrize(("rate", "share"), [(0.03, 0.004), (0.10, 0.173), (0.20, 0.932)])
def test_how_often_the_bound_signals_is_as_the_docstring_says(rate, share):
    assert share_signalled(rate, BOUND, 100) == pytest.approx(share, abs=5e-4)


def test_nothing_examined_changes_nothing():
    assert severity_of(record(""), Signals()).empty
    assert severity_of(record(""), Signals(), reviews(1)).empty


@pytest.mark.parametrize(
    "wrong", [{"limit": 0.02}, {"watch": ()}, {"factor": 0.5}, {"level": 1.0}, {"release": 3}]
)
def test_impossible_settings_are_refused(wrong):
    with pytest.raises(ValidationError):
        Signals(**wrong)
