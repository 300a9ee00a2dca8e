import numpy as np
import pytest
import statsmodels.api as sm

from ndtstats.errors import UseError
from ndtstats.statistics import hit_miss_pod, true_rate
from ndtstats.statistics.detection import PodCurve
from ndtstats.statistics.logistic import fit_logistic


@pytest.fixture
def budworm(reference):
    return reference("pod_budworm.csv")


@pytest.fixture
def males(budworm):
    rows = budworm[budworm["sex"] == "M"]
    return hit_miss_pod(rows["x"], rows["hits"], rows["n"], scale="linear")


def test_a90_and_four_bounds_of_it(males, reference):
    # Logit fit to the male budworm rows by R: Wald, pointwise band, profile likelihood, and the
    # two-parameter region of Cheng & Iles.
    expected = reference("pod_budworm_a90_expected.csv").set_index("quantity")["value"]
    assert males.a50 == pytest.approx(expected["a50"], rel=1e-9)
    assert males.a90 == pytest.approx(expected["a90"], rel=1e-9)
    assert males.deviance == pytest.approx(expected["residual_deviance"], rel=1e-9)
    # R's covariance is that of the step before the last, right to some 3e-8.
    for method, quantity in (
        ("wald", "a90_95_wald_delta"),
        ("band", "a90_95_pointwise_wald_band"),
        ("simultaneous", "a90_95_simultaneous_band_chisq2"),
        ("likelihood-ratio", "a90_95_profile_likelihood"),
    ):
        bound = males.size_bound(0.9, 0.95, method=method)
        assert bound == pytest.approx(expected[quantity], rel=1e-7)
    assert males.a90_95 == males.size_bound(0.9, 0.95)


def test_published_doses_and_their_errors(budworm, reference):
    # Venables & Ripley, MASS ch. 7: both sexes, one slope; doses of the females.
    male = (budworm["sex"] == "M").to_numpy(float)
    design = np.column_stack([1 - male, male, budworm["x"]])
    fit = fit_logistic(design, budworm["hits"], budworm["n"])
    kept = [0, 2]
    females = PodCurve(
        *fit.coefficients[kept], fit.covariance[np.ix_(kept, kept)], "linear", fit.deviance,
        np.zeros((3, 0)),
    )  # fmt: skip
    for row in reference("pod_budworm_dose_expected.csv").itertuples():
        pod = int(row.quantity[1:]) / 100
        # R's default stops its fit at 1e-8.
        assert females.size_at(pod) == pytest.approx(row.value, rel=1e-6)
        assert females.standard_error(pod) == pytest.approx(row.se, rel=1e-5)
        assert females.size_at(pod) == pytest.approx(row.published, abs=2e-6)


def test_the_log_scale_is_a_fit_to_logarithms():
    # statsmodels GLM on ln(size).
    size, hits = np.array([0.5, 1, 1.5, 2, 3, 5, 8]), np.array([1, 2, 5, 4, 8, 9, 10])
    curve = hit_miss_pod(size, hits, 10)
    both = np.column_stack([hits, 10 - hits])
    model = sm.GLM(both, sm.add_constant(np.log(size)), family=sm.families.Binomial())
    known = model.fit(tol=1e-14)
    assert [curve.intercept, curve.slope] == pytest.approx(known.params.tolist(), rel=1e-9)
    np.testing.assert_allclose(curve.probability(size), known.fittedvalues, rtol=1e-9)
    assert curve.a90 == pytest.approx(
        np.exp((np.log(9) - known.params[0]) / known.params[1]), rel=1e-9
    )


def test_single_trials_give_the_curve_of_their_counts():
    size, hits = np.array([1.0, 2, 4, 8]), np.array([1, 3, 6, 9])
    grouped = hit_miss_pod(size, hits, 10)
    single = hit_miss_pod(np.repeat(size, 10), (np.arange(10) < hits[:, None]).ravel())
    assert single.a90_95 == pytest.approx(grouped.a90_95, rel=1e-9)
    assert single.deviance == pytest.approx(grouped.deviance, rel=1e-9)


def test_the_bounds_cover_as_often_as_they_say():
    # Simulated trials of 120 imperfections with a known a90, one-sided 90 %.
    rng = np.random.default_rng(10)
    size = np.geomspace(0.5, 12, 120)
    truth = np.exp((np.log(9) + 2.0) / 2.5)
    probability = 1 / (1 + np.exp(2.0 - 2.5 * np.log(size)))
    bounds = []
    for _ in range(150):
        curve = hit_miss_pod(size, rng.random(120) < probability)
        bounds.append(curve.size_bound(0.9, 0.9))
    covered = np.mean(np.array(bounds) >= truth)
    assert abs(covered - 0.9) < 4 * np.sqrt(0.09 / 150)


def test_a_curve_that_may_be_flat_has_no_bound():
    curve = hit_miss_pod([1, 2, 3, 4], [4, 5, 6, 5], 10)
    assert curve.slope > 0
    for method in ("likelihood-ratio", "band", "simultaneous"):
        assert curve.size_bound(0.9, 0.95, method=method) == np.inf


def test_a_falling_curve_is_told():
    curve = hit_miss_pod([1, 2, 3, 4], [8, 6, 5, 3], 10)
    with pytest.raises(UseError, match="not found oftener"):
        _ = curve.a90


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: hit_miss_pod([1, 2, 3, 4], [0, 0, 1, 1]), "without overlap"),
        (lambda: hit_miss_pod([0, 2], [0, 1], 5), "above 0"),
        (lambda: hit_miss_pod([1, 2], [7, 1], 5), "between 0 and the number"),
        (lambda: hit_miss_pod([2, 2], [1, 1], 5), "2 sizes or more"),
        (lambda: hit_miss_pod([1, 2], [1, 3], 5, scale="sqrt"), '"log" or "linear"'),
        (lambda: hit_miss_pod([1, 2], [1, 3], 5).size_at(90), "0.9 for a90"),
        (lambda: hit_miss_pod([1, 2], [1, 3], 5).size_bound(0.9, 0.95, method="walt"), '"wald"'),
        (lambda: true_rate(1, 10, sensitivity=0.4, specificity=0.6), "than a coin"),
    ],
)
def test_impossible_questions_are_told(make, says):
    with pytest.raises(UseError, match=says):
        make()


def test_published_true_rates(reference):
    # epiR documentation epi.prev: Rogan & Gladen 1978; Clopper-Pearson limits by R.
    rows = reference("rogan_gladen.csv")
    rate = true_rate(
        rows["positives"], rows["tested"], sensitivity=rows["sensitivity"],
        specificity=rows["specificity"],
    )  # fmt: skip
    np.testing.assert_allclose(rate.value, rows["value_tp"], rtol=1e-10)
    np.testing.assert_allclose(rate.lower, rows["value_cp_lower"], rtol=1e-9)
    np.testing.assert_allclose(rate.upper, rows["value_cp_upper"], rtol=1e-9)
    np.testing.assert_allclose(rate.standard_error, rows["value_wald_se"], rtol=1e-9)
    assert np.round(100 * rate.value).tolist() == rows["published_tp_percent"].tolist()


def test_a_perfect_method_changes_no_rate():
    rate = true_rate([3, 0], 40, sensitivity=1.0, specificity=1.0)
    np.testing.assert_allclose(rate.value, [0.075, 0.0], atol=1e-15)
