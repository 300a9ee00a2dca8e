import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance import accept_probability, examinations_needed

RATES = st.floats(0.001, 0.6)
CONFIDENCES = st.floats(0.5, 0.999)


def test_published_numbers_of_a_stream(reference):
    # Success-run rule; demonstrations of a probability of detection (29 of 29, 45 of 46, 59 of
    # 61): source in each row.
    rows = reference("sample_size_infinite.csv")
    needed = examinations_needed(rows["defect_rate"], rows["conf"], allowed=rows["allowed_defects"])
    assert needed.tolist() == rows["value_n"].tolist() == rows["published_n"].tolist()


def test_published_numbers_of_a_finite_lot(reference):
    # Cannon & Roe 1982 where published; else an exact search over phyper in R.
    rows = reference("sample_size_finite.csv")
    assert len(rows) >= 40
    needed = examinations_needed(rows["rate"], rows["conf"], lot=rows["N"])
    assert needed.tolist() == rows["value_n_exact"].tolist()
    published = rows["published_n"].notna()
    assert needed[published].tolist() == rows["published_n"][published].tolist()
    stream = examinations_needed(rows["rate"], rows["conf"])
    assert stream.tolist() == rows["value_n_binomial"].tolist()


def test_numbers_with_an_imperfect_method(reference):
    # The herd of 1,000 in the documentation of epiR. It prints two approximations, 62 and 65; the
    # exact number lies between them, and with 62 the confidence asked for is not reached.
    rows = reference("imperfect_inspection_sample_size.csv").set_index("method")
    exact = int(examinations_needed(0.05, 0.95, lot=1000, detection=0.9))
    assert exact == rows["value_n"]["exact hypergeometric-binomial"]
    assert examinations_needed(0.05, 0.95, detection=0.9) == rows["value_n"]["binomial"]
    published = rows["published_n"].dropna()
    assert published.min() < exact < published.max()
    missed = accept_probability(0.05, int(published.min()), lot=1000, detection=0.9)
    assert round(1 - float(missed), 3) == 0.947


@pytest.mark.parametrize(
    ("rate", "n95", "n90"), [(0.10, 29, 22), (0.05, 59, 45), (0.02, 149, 114), (0.01, 299, 230)]
)
def test_numbers_without_a_reject(rate, n95, n90):
    # The success-run rule, computed for the project's notes on trade practice.
    assert examinations_needed(rate, [0.95, 0.90]).tolist() == [n95, n90]


def test_a_risk_met_exactly_is_met():
    # 0.9 x 0.9 = 0.81 and 1 - 0.19 = 0.81, which floating point does not see.
    assert examinations_needed(0.1, 0.19) == 2
    # A lot of 10 with 1 bad: 9 examined leave exactly 10 %.
    assert examinations_needed(0.1, 0.9, lot=10) == 9


@given(RATES, CONFIDENCES, st.integers(0, 4), st.floats(0.2, 1))
def test_it_is_the_least_number_that_is_enough(rate, confidence, allowed, detection):
    n = int(examinations_needed(rate, confidence, allowed=allowed, detection=detection))
    below, at = accept_probability(rate, [n - 1, n], allowed, detection=detection)
    assert at <= (1 - confidence) * (1 + 1e-9) < below * (1 + 1e-8)


@given(st.lists(RATES, min_size=2), CONFIDENCES)
def test_a_higher_rate_needs_fewer(rates, confidence):
    assert np.all(np.diff(examinations_needed(np.sort(rates), confidence)) <= 0)


@given(RATES, st.lists(CONFIDENCES, min_size=2))
def test_more_confidence_needs_more(rate, confidences):
    assert np.all(np.diff(examinations_needed(rate, np.sort(confidences))) >= 0)


@given(RATES, st.floats(0.8, 0.99), st.integers(1, 500))
def test_a_finite_lot_never_needs_more(rate, confidence, lot):
    finite = examinations_needed(rate, confidence, lot=lot)
    assert finite <= min(lot, examinations_needed(rate, confidence))


@given(RATES, CONFIDENCES, st.lists(st.floats(0.2, 1), min_size=2))
def test_a_better_method_needs_fewer(rate, confidence, detections):
    needed = examinations_needed(rate, confidence, detection=np.sort(detections))
    assert np.all(np.diff(needed) <= 0)


def test_lots_and_allowances_broadcast():
    needed = examinations_needed(0.05, lot=np.array([100, 1000])[:, None], allowed=[0, 1, 2])
    assert needed.shape == (2, 3)
    assert np.all(np.diff(needed, axis=0) > 0)
    assert np.all(np.diff(needed, axis=1) > 0)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"rate": 0}, "and be neither"),
        ({"rate": 0.05, "confidence": 95}, "95 % is 0.95"),
        ({"rate": 0.05, "confidence": 1}, "and be neither"),
        ({"rate": 0.05, "detection": 0}, "and not be 0"),
        ({"rate": 0.05, "lot": 20, "allowed": 1}, "1 allowed cannot exclude 1 bad"),
        ({"rate": 0.05, "lot": [500, 20], "detection": 0.8}, "whole lot of 20 examined, 1 bad"),
        ({"rate": 1e-17}, "more examinations than can be counted"),
    ],
)
def test_impossible_questions_are_told(arguments, says):
    with pytest.raises(UseError, match=says):
        examinations_needed(**arguments)
