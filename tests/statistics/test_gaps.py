import numpy as np
import pytest

from ndtstats.errors import UseError
from ndtstats.statistics import gap_chart


def test_published_valve_failures(reference):
    # Montgomery ch. 7, Nelson 1994: the power 0.2777.
    rows = reference("chart_t_valve.csv")
    chart = gap_chart(rows["hours"], labels=rows["failure"])
    np.testing.assert_allclose(chart["transformed"], rows["transformed"], rtol=1e-10)
    np.testing.assert_allclose(chart["transformed_centre"], rows["center"], rtol=1e-10)
    np.testing.assert_allclose(chart["transformed_lower"], rows["lcl"], atol=1e-12)
    np.testing.assert_allclose(chart["transformed_upper"], rows["ucl"], rtol=1e-9)
    # The source prints five decimals, and one of them is cut the other way.
    np.testing.assert_allclose(chart["transformed"], rows["published_transformed"], atol=1.1e-5)
    assert round(chart["transformed_centre"].iloc[0], 5) == rows["published_center"].iloc[0]
    assert (chart["signal"] == "").all()


def test_limits_come_back_in_the_unit_of_the_gaps():
    chart = gap_chart(
        [100.0, 120.0, 90.0, 110.0, 3.0, 105.0, 95.0, 100.0, 112.0, 108.0, 98.0, 101.0]
    )
    assert chart["lower"].iloc[0] ** 0.2777 == pytest.approx(chart["transformed_lower"].iloc[0])
    assert chart.index[chart["signal"] == "close"].tolist() == [4]


def test_exponential_gaps_seldom_signal():
    # Gaps of a steady rate: 0.27 % each way if normal; the power makes them nearly so.
    chart = gap_chart(np.random.default_rng(2).exponential(50.0, 20_000))
    assert (chart["signal"] != "").mean() < 0.004


@pytest.mark.parametrize("gaps", [[5.0, 4.0], [5.0, 0.0, 3.0]])
def test_too_few_gaps_or_none_are_told(gaps):
    with pytest.raises(UseError, match="3 gaps or more"):
        gap_chart(gaps)
