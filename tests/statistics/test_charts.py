import numpy as np
import pytest
from scipy import stats

from ndtstats.errors import UseError
from ndtstats.statistics import p_chart, u_chart
from ndtstats.statistics.charts import BEYOND_THREE, dispersion_test, laney_spread


@pytest.fixture
def shewhart(reference):
    table = reference("chart_shewhart_expected.csv")

    def of(chart):
        rows = table[table["chart"] == chart].set_index("quantity")
        return rows["value"].to_dict() | {"samples": rows["text"].to_dict().get("signal_samples")}

    return of


def samples(chart):
    return " ".join(str(number + 1) for number in chart.signals)


def test_published_p_chart(reference, shewhart):
    # Montgomery's orange-juice cans = NIST 6.3.3.2.
    data, expected = reference("chart_p_orangejuice.csv"), shewhart("p_orangejuice")
    chart = p_chart(data["nonconforming"], data["size"], limits="three-sigma")
    first = chart.points.iloc[0]
    assert first["centre"] == pytest.approx(expected["center"], rel=1e-10)
    assert first["lower"] == pytest.approx(expected["lcl"], rel=1e-10)
    assert first["upper"] == pytest.approx(expected["ucl"], rel=1e-10)
    assert samples(chart) == expected["samples"]


def test_published_c_chart(reference, shewhart):
    # NIST/SEMATECH e-Handbook 6.3.3.1.
    data, expected = reference("chart_c_nist.csv"), shewhart("c_nist")
    chart = u_chart(data["defects"], limits="three-sigma")
    row = chart.points.iloc[0]
    assert (row["centre"], row["lower"], row["upper"]) == pytest.approx(
        (expected["center"], expected["lcl"], expected["ucl"]), rel=1e-10
    )
    assert samples(chart) == str(int(expected["samples"]))


def test_published_u_charts(reference, shewhart):
    # Montgomery: personal computers, and dyed cloth in rolls of unlike size.
    data, expected = reference("chart_u_computers.csv"), shewhart("u_computers")
    row = u_chart(data["defects"], data["units"], limits="three-sigma").points.iloc[0]
    assert (row["centre"], row["lower"], row["upper"]) == pytest.approx(
        (expected["center"], expected["lcl"], expected["ucl"]), rel=1e-10
    )
    cloth = reference("chart_u_dyed_cloth.csv")
    points = u_chart(cloth["defects"], cloth["units"], limits="three-sigma").points
    for ours, theirs in (("value", "u"), ("centre", "center"), ("lower", "lcl"), ("upper", "ucl")):
        np.testing.assert_allclose(points[ours], cloth[theirs], rtol=1e-10)
    of_first = shewhart("u_dyed_cloth")
    assert points["lower"].iloc[0] == pytest.approx(of_first["lcl_roll1"], rel=1e-10)
    assert points["upper"].iloc[0] == pytest.approx(of_first["ucl_roll1"], rel=1e-10)


def test_laneys_p_prime(reference):
    # Laney 2002 on attendance counts, by R: chance alone would let every point signal.
    rows = reference("chart_laney_p_prime.csv")
    chart = p_chart(rows["r"], rows["n"], limits="laney")
    assert chart.spread == pytest.approx(rows["sigma_z"].iloc[0], rel=1e-9)
    np.testing.assert_allclose(chart.points["lower"], rows["lcl"], rtol=1e-9)
    np.testing.assert_allclose(chart.points["upper"], rows["ucl"], rtol=1e-9)
    plain = p_chart(rows["r"], rows["n"], limits="three-sigma")
    np.testing.assert_allclose(plain.points["lower"], rows["lcl_plain_p"], rtol=1e-9)
    np.testing.assert_allclose(plain.points["upper"], rows["ucl_plain_p"], rtol=1e-9)
    auto = p_chart(rows["r"], rows["n"])
    assert auto.limits == "laney"
    assert auto.signals == []
    assert len(plain.signals) > 10
    deviation = np.sqrt(rows["center"] * (1 - rows["center"]) / rows["n"])
    assert laney_spread((rows["p"] - rows["center"]) / deviation) == pytest.approx(chart.spread)


def test_published_dispersion_tests(reference):
    # Wetherill and Brown 1991 pp. 212-218.
    data = reference("chart_overdispersion_data.csv")
    expected = reference("chart_overdispersion_expected.csv").set_index("data")
    for name, chart in (
        ("binomial_n50", p_chart(data["binomial_n50"], 50)),
        ("poisson", u_chart(data["poisson"])),
    ):
        row, test = expected.loc[name], chart.dispersion
        assert (test.ratio, test.statistic, test.degrees_of_freedom, test.p) == pytest.approx(
            (row["ratio"], row["statistic"], row["df"], row["p_value"]), rel=1e-9
        )


@pytest.mark.parametrize(("n", "p"), [(40, 0.05), (300, 0.02), (25, 0.9), (2, 0.01)])
def test_exact_limits_leave_the_chance_of_three_sigma(n, p):
    # scipy.stats.binom: within the limits a count has more than the chance, beyond them no more.
    points = p_chart([0], [n], centre=p, limits="exact").points.iloc[0]
    low, high = round(points["lower"] * n), round(points["upper"] * n)
    law = stats.binom(n, p)
    assert law.cdf(low) > BEYOND_THREE
    assert low == 0 or law.cdf(low - 1) <= BEYOND_THREE
    assert high == n or law.sf(high) <= BEYOND_THREE
    assert law.sf(high - 1) > BEYOND_THREE


@pytest.mark.parametrize(("size", "rate"), [(3.0, 0.5), (120.0, 0.3), (0.2, 0.1), (4000.0, 2.0)])
def test_exact_limits_of_a_rate(size, rate):
    points = u_chart([0], [size], centre=rate, limits="exact").points.iloc[0]
    low, high = round(points["lower"] * size), round(points["upper"] * size)
    law = stats.poisson(size * rate)
    assert law.cdf(low) > BEYOND_THREE
    assert low == 0 or law.cdf(low - 1) <= BEYOND_THREE
    assert law.sf(high) <= BEYOND_THREE < law.sf(high - 1)


def test_exact_limits_signal_as_seldom_as_they_say():
    rng = np.random.default_rng(1)
    n = rng.integers(1, 400, 20_000)
    chart = p_chart(rng.binomial(n, 0.04), n, centre=0.04, limits="exact")
    above = (chart.points["signal"] == "above").mean()
    assert above <= BEYOND_THREE + 4 * np.sqrt(BEYOND_THREE / 20_000)
    assert above > 0


def test_a_reject_among_few_spots_is_no_signal():
    # At 2 % the classic upper limit of four spots is 23 %; one of four lies beyond it, though
    # chance brings that in 8 of 100 months.
    chart = p_chart([1, 9], [4, 500], centre=0.02, limits="three-sigma")
    assert chart.points["value"].iloc[0] > chart.points["upper"].iloc[0]
    assert chart.signals == []


def test_a_month_that_could_not_signal_is_not_judged():
    chart = p_chart([1, 2, 10], [1, 2, 300], centre=0.05, limits="exact")
    assert chart.points["judged"].tolist() == [False, False, True]
    assert any("2 points hold too little" in caveat for caveat in chart.caveats)


def test_a_month_of_nothing_is_a_point_without_value():
    chart = p_chart([3, 0, 2], [100, 0, 90], labels=["May", "June", "July"])
    assert np.isnan(chart.points.loc["June", "value"])
    assert not chart.points.loc["June", "judged"]
    assert chart.signals == []


def test_one_bad_month_does_not_hide_itself():
    rng = np.random.default_rng(12)
    k = rng.binomial(100, 0.03, 24)
    k[17] = 15
    months = [f"2026-{i:02d}" for i in range(24)]
    chart = p_chart(k, 100, labels=months)
    assert chart.limits == "exact"
    assert "2026-17" in chart.signals
    assert any("limits that take chance" in caveat for caveat in chart.caveats)


def test_months_that_differ_in_general_widen_the_limits():
    rng = np.random.default_rng(3)
    k = rng.binomial(400, rng.beta(4, 60, 40))
    chart = p_chart(k, 400)
    assert chart.limits == "laney"
    assert len(chart.signals) < len(p_chart(k, 400, limits="exact").signals)
    assert any("times as wide" in caveat for caveat in chart.caveats)


def test_no_reject_is_no_signal():
    chart = p_chart([0, 0, 0], [10, 20, 30])
    assert chart.signals == []
    assert chart.dispersion.p == 1.0


def test_few_points_are_provisional():
    assert any("provisional" in caveat for caveat in p_chart([1, 2], [50, 60]).caveats)


def test_dispersion_of_one_point_says_nothing():
    assert dispersion_test([2.0]).p == 1.0


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: p_chart([5], [4]), "between 0 and examined"),
        (lambda: u_chart([-1], [4]), "negative"),
        (lambda: p_chart([1], [4], centre=3), "write it as a share"),
        (lambda: p_chart([1], [4], limits="three sigma"), 'did you mean "three-sigma"'),
        (lambda: p_chart([1], [4], limits="xyz"), "use one of"),
    ],
)
def test_impossible_charts_are_told(make, says):
    with pytest.raises(UseError, match=says):
        make()
