import numpy as np
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics.run_length import cusum_run_length, ewma_run_length, shewhart_run_length

CHARTS = {
    "shewhart_3sigma": lambda row: shewhart_run_length(row["par2"], row["shift"]),
    "cusum_two_sided": lambda row: cusum_run_length(row["par1"], row["par2"], row["shift"]),
    "ewma_two_sided": lambda row: ewma_run_length(row["par1"], row["par2"], row["shift"]),
}


@pytest.mark.parametrize(
    ("chart", "rows"), [("shewhart_3sigma", 4), ("cusum_two_sided", 5), ("ewma_two_sided", 10)]
)
def test_published_run_lengths(chart, rows, reference):
    # Montgomery; Hawkins 1993; Lucas & Saccucci 1990; Champ & Woodall 1987, by R's spc.
    table = reference("arl.csv")
    some = table[table["chart"] == chart]
    assert len(some) == rows
    for _, row in some.iterrows():
        value = CHARTS[chart](row)
        assert value == pytest.approx(row["value"], rel=1e-8)
        if row["decimals"] >= 0:
            assert round(value, int(row["decimals"])) == row["published"]


def test_agrees_with_the_markov_chain_of_brook_and_evans():
    # Brook & Evans 1972: the one-sided CUSUM cut into states; its error falls with their square.
    k, h, n = 0.5, 4.0, 1500
    width = 2 * h / (2 * n - 1)
    step = np.arange(n)
    upper = stats.norm.cdf((step[None, :] - step[:, None] + 0.5) * width + k)
    lower = stats.norm.cdf((step[None, :] - step[:, None] - 0.5) * width + k)
    chain = upper - lower
    chain[:, 0] = upper[:, 0]
    one_sided = np.linalg.solve(np.eye(n) - chain, np.ones(n))[0]
    assert cusum_run_length(k, h) == pytest.approx(one_sided / 2, rel=1e-5)


def test_an_ewma_of_the_last_point_only_is_a_shewhart_chart():
    for shift in (0.0, 1.5):
        assert ewma_run_length(1.0, 3.0, shift) == pytest.approx(shewhart_run_length(3.0, shift))


@pytest.mark.parametrize("make", [lambda: cusum_run_length(0, 5), lambda: ewma_run_length(2, 3)])
def test_impossible_charts_are_told(make):
    with pytest.raises(UseError, match="above 0"):
        make()
