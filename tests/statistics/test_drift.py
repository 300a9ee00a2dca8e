import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.errors import UseError
from ndtstats.statistics import cusum_chart, ewma_chart


def test_published_ewma(reference):
    # NIST/SEMATECH e-Handbook 6.3.2.4: lambda 0.3, s 2.0539, target 50.
    rows = reference("chart_ewma_nist.csv")
    chart = ewma_chart(rows["x"], target=50, deviation=2.0539, weight=0.3, labels=rows["t"])
    np.testing.assert_allclose(chart["ewma"], rows["ewma"], rtol=1e-10)
    np.testing.assert_allclose(chart["lower"], rows["lcl_exact"], rtol=1e-10)
    np.testing.assert_allclose(chart["upper"], rows["ucl_exact"], rtol=1e-10)
    # The source prints two decimals, and ties in the third go either way.
    np.testing.assert_allclose(chart["ewma"], rows["published_ewma"], atol=0.0051)
    assert (chart["signal"] == "").all()
    # The limits settle where the source has them.
    long = ewma_chart(np.full(200, 50.0), target=50, deviation=2.0539, weight=0.3)
    assert long["upper"].iloc[-1] == pytest.approx(rows["ucl_asymptotic"].iloc[0], rel=1e-10)


def test_ewma_limits_follow_the_size_of_each_month():
    # Var z_t = sum of (w (1 - w) ** (t - i)) ** 2 s_i ** 2, written out.
    s = np.array([1.0, 3.0, 0.5])
    chart = ewma_chart([0.0, 0.0, 0.0], target=0, deviation=s, weight=0.4, width=2.0)
    shares = np.array([[0.4, 0, 0], [0.24, 0.4, 0], [0.144, 0.24, 0.4]])
    np.testing.assert_allclose(chart["upper"], 2 * np.sqrt(shares**2 @ s**2), rtol=1e-12)


def test_published_cusum(reference):
    # NIST/SEMATECH e-Handbook 6.3.2.3; the source prints two decimals.
    rows = reference("chart_cusum_nist.csv")
    target, k, h = (rows[name].iloc[0] for name in ("target", "k", "h"))
    chart = cusum_chart(rows["x"], target=target, reference=k, limit=h, labels=rows["t"])
    np.testing.assert_allclose(chart["high"], rows["s_hi"], atol=1e-9)
    np.testing.assert_allclose(chart["low"], rows["s_lo"], atol=1e-9)
    np.testing.assert_allclose(chart["high"], rows["published_s_hi"], atol=0.0051)
    assert (chart["signal"] != "").astype(int).tolist() == rows["signal"].tolist()
    assert chart.index[chart["signal"] == "above"][0] == rows["published_first_signal"].iloc[0]


@given(st.lists(st.integers(-20, 20), min_size=1, max_size=60))
def test_cusum_is_its_recursion(steps):
    high = low = 0.0
    chart = cusum_chart(np.array(steps) / 4, target=0.25, reference=0.5, limit=3)
    for step, row in zip(np.array(steps) / 4, chart.itertuples(), strict=True):
        high, low = max(0, high + step - 0.75), max(0, low - step - 0.25)
        assert (row.high, row.low) == pytest.approx((high, low), abs=1e-9)
        assert (row.signal == "above") == (high > 3)


def test_a_lasting_shift_is_found_by_both():
    values = np.concatenate([np.zeros(20), np.full(30, 1.5)])
    assert "above" in ewma_chart(values, target=0, deviation=1.0)["signal"].tolist()
    found = cusum_chart(values, target=0, reference=0.5, limit=5)["signal"]
    # From a sum of 0, each value adds 1 after the shift: beyond 5 at the sixth.
    assert found[found == "above"].index[0] == 25


def test_an_impossible_weight_is_told():
    with pytest.raises(UseError, match=r"such as 0\.2"):
        ewma_chart([1.0], target=0, deviation=1, weight=0)
