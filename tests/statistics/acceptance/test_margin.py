import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance import examinations_for_margin


def test_published_numbers(reference):
    # Cochran 1977 sect. 4.4 (t = 2: 356) and the rule z^2 / 4 e^2 (385): source in each row.
    rows = reference("sample_size_precision.csv")
    for row in rows.itertuples():
        level = 1 - 2 * stats.norm.sf(row.z)
        lot = None if np.isnan(row.N) else row.N
        examine, unrounded = examinations_for_margin(row.P, row.e, level=level, lot=lot)
        assert float(unrounded) == pytest.approx(row.n_cochran, rel=1e-10)
        assert int(examine) == np.ceil(row.n_cochran)
        if not np.isnan(row.published):
            assert int(examine) == row.published


def test_a_whole_number_is_not_rounded_up():
    # z = 2, p = 0.5, e = 0.05: n0 = 400, but for the last bits of z.
    assert examinations_for_margin(0.5, 0.05, level=1 - 2 * stats.norm.sf(2.0)).examine == 400


@given(st.floats(0.05, 0.95), st.floats(0.005, 0.05), st.integers(1, 10_000))
def test_a_finite_lot_never_needs_more(rate, margin, lot):
    finite = examinations_for_margin(rate, margin, lot=lot).examine
    assert 1 <= finite <= min(lot, examinations_for_margin(rate, margin).examine)


def test_arrays_broadcast():
    size = examinations_for_margin([[0.1], [0.5]], [0.05, 0.1], lot=300)
    assert size.examine.shape == (2, 2)
    assert size.examine.dtype == np.int64


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"rate": 0.02, "margin": 0.05}, "reaches below 0 %"),
        ({"rate": 0.5, "margin": 5}, "5 % is 0.05"),
        ({"rate": 0.5, "margin": 0.05, "lot": 0}, "at least 1"),
    ],
)
def test_impossible_questions_are_told(arguments, says):
    with pytest.raises(UseError, match=says):
        examinations_for_margin(**arguments)
