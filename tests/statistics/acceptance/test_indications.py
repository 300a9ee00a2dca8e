import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.statistics.acceptance import accept_probability_indications, indication_rate_accepted


def test_published_operating_characteristics(reference):
    # 7 CFR 42.140, curve 6 (500 units, 3 defects): 26 % at one defect per hundred units.
    table = reference("oc_single.csv")
    rows = table[table["model"] == "poisson"]
    assert len(rows) == 2
    passed = accept_probability_indications(rows["p"], rows["n"], rows["c"])
    np.testing.assert_allclose(passed, rows["value"], rtol=1e-10)
    printed = rows["published"].notna()
    assert np.all(np.abs(passed - rows["published"])[printed] <= rows["tolerance"][printed])


def test_published_rates_accepted(reference):
    # MIL-STD-105E Table X-K-1, AQL 1.0; one printed figure is cut, not rounded, in the last place.
    rows = reference("oc_quantiles_codeK.csv")
    rates = 100 * indication_rate_accepted(rows["prob_accept"], rows["n"], rows["c"])
    np.testing.assert_allclose(rates, rows["value_percent_poisson"], rtol=1e-10)
    np.testing.assert_allclose(rates, rows["published_percent"], atol=0.0051)


def test_published_number_for_a_limiting_rate(reference):
    # Birolini, Reliability Engineering, sect. 7.1: 3.9 expected, hence 195 at 2 %.
    row = reference("oc_ltpd.csv").iloc[0]
    expected = float(indication_rate_accepted(row["beta"], 1, row["c"]))
    assert expected == pytest.approx(row["value_np"], rel=1e-10)
    assert round(expected, 1) == row["published_np"]
    assert np.ceil(expected / row["ltpd"]) == row["published_n"]


@given(st.floats(0.001, 0.999), st.floats(0.1, 1e4), st.integers(0, 50))
def test_a_rate_accepted_is_accepted_so_often(probability, metres, allowed):
    rate = indication_rate_accepted(probability, metres, allowed)
    passed = accept_probability_indications(rate, metres, allowed)
    assert float(passed) == pytest.approx(probability, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: accept_probability_indications(-1, 10, 0), "rate -1"),
        (lambda: accept_probability_indications(1, float("nan"), 0), "examined length nan"),
        (lambda: indication_rate_accepted(0.9, 0, 0), "nothing examined"),
    ],
)
def test_impossible_questions_are_told(call, says):
    with pytest.raises(UseError, match=says):
        call()
