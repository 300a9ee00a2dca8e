import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, special

from ndtstats.errors import UseError
from ndtstats.statistics.logistic import fit_logistic, is_separated


@pytest.fixture
def counts():
    rng = np.random.default_rng(4)
    x = np.column_stack([np.ones(40), rng.integers(0, 2, (40, 3)), rng.normal(size=40)])
    n = rng.integers(1, 60, 40)
    y = rng.binomial(n, special.expit(x @ [-2.0, 0.5, -0.4, 1.0, 0.3]))
    return x, y, n


def test_agrees_with_statsmodels(counts):
    # statsmodels GLM, binomial on (rejected, accepted), run to a tight tolerance.
    x, y, n = counts
    known = sm.GLM(np.column_stack([y, n - y]), x, family=sm.families.Binomial()).fit(tol=1e-14)
    fit = fit_logistic(x, y, n)
    np.testing.assert_allclose(fit.coefficients, known.params, rtol=1e-9)
    np.testing.assert_allclose(fit.covariance, known.cov_params(), rtol=1e-6)
    np.testing.assert_allclose(fit.probability, known.fittedvalues, rtol=1e-9)
    assert fit.deviance == pytest.approx(known.deviance, rel=1e-9)
    assert fit.degrees_of_freedom == known.df_resid


def test_budworm(reference):
    # Venables & Ripley, MASS ch. 7; R glm with epsilon 1e-13.
    rows = reference("pod_budworm.csv").query("sex == 'M'")
    expected = reference("pod_budworm_a90_expected.csv").set_index("quantity")["value"]
    fit = fit_logistic(np.column_stack([np.ones(6), rows["x"]]), rows["hits"], rows["n"])
    assert fit.coefficients.tolist() == pytest.approx(
        [expected["intercept"], expected["slope"]], rel=1e-10
    )
    # R's covariance is that of the step before the last, right to some 3e-8.
    assert fit.covariance.ravel().tolist() == pytest.approx(
        expected[["var_intercept", "cov", "cov", "var_slope"]].tolist(), rel=1e-7
    )
    assert fit.deviance == pytest.approx(expected["residual_deviance"], rel=1e-10)


def test_grouping_changes_no_coefficient(counts):
    x, y, n = counts
    each = np.repeat(np.arange(40), n)
    hit = (np.arange(len(each)) - np.repeat(np.cumsum(n) - n, n) < y[each]).astype(float)
    grouped, single = fit_logistic(x, y, n), fit_logistic(x[each], hit, np.ones(len(each)))
    np.testing.assert_allclose(grouped.coefficients, single.coefficients, rtol=1e-9)
    np.testing.assert_allclose(grouped.covariance, single.covariance, rtol=1e-9)


def test_an_offset_shifts_the_intercept(counts):
    x, y, n = counts
    shifted = fit_logistic(x, y, n, offset=1.5)
    expected = fit_logistic(x, y, n).coefficients - np.array([1.5, 0, 0, 0, 0])
    np.testing.assert_allclose(shifted.coefficients, expected, rtol=1e-9)


def test_firth_of_a_saturated_model_adds_one_half_to_each_cell():
    # Jeffreys' prior of a saturated binomial model: Firth 1993; closed form.
    y, n = np.array([0, 3]), np.array([12, 20])
    fit = fit_logistic([[1, 0], [1, 1]], y, n, firth=True)
    np.testing.assert_allclose(fit.probability, (y + 0.5) / (n + 1), rtol=1e-9)


def test_firth_is_the_maximum_of_the_penalised_likelihood(counts):
    # scipy.optimize on log L + log |I| / 2 (Firth 1993), with no code in common.
    x, y, n = counts

    def lost(beta):
        p = special.expit(x @ beta)
        penalty = np.linalg.slogdet(x.T @ ((n * p * (1 - p))[:, None] * x))[1] / 2
        return -(special.xlogy(y, p) + special.xlogy(n - y, 1 - p)).sum() - penalty

    known = optimize.minimize(lost, np.zeros(5), method="BFGS", options={"gtol": 1e-7})
    fit = fit_logistic(x, y, n, firth=True)
    np.testing.assert_allclose(fit.coefficients, known.x, atol=1e-5)


@pytest.mark.parametrize(
    ("successes", "separated"),
    [
        ([0, 0, 5, 5], True),  # complete
        ([0, 2, 5, 5], True),  # quasi-complete: the last two sizes have no miss
        ([0, 2, 3, 5], False),
        ([1, 2, 3, 4], False),
        ([0, 3, 0, 3], False),
        ([0, 0, 0, 0], True),
    ],
)
def test_separation_is_found(successes, separated):
    # By hand for one regressor: separated when hits and misses share at most one size (Albert &
    # Anderson 1984).
    x = np.column_stack([np.ones(4), [1.0, 2.0, 3.0, 4.0]])
    n = np.full(4, 5)
    assert is_separated(x, successes, n) == separated
    if separated:
        with pytest.raises(UseError, match="without overlap"):
            fit_logistic(x, successes, n)
        assert np.all(np.isfinite(fit_logistic(x, successes, n, firth=True).coefficients))
    else:
        fit = fit_logistic(x, successes, n)
        # At the maximum the fitted counts have the margins of those seen.
        np.testing.assert_allclose(x.T @ (n * fit.probability), x.T @ np.array(successes))


def test_rows_with_no_trial_say_nothing():
    x = [[1, 0], [1, 1], [1, 0]]
    some, all_rows = fit_logistic(x[:2], [2, 6], [10, 10]), fit_logistic(x, [2, 6, 0], [10, 10, 0])
    np.testing.assert_allclose(some.coefficients, all_rows.coefficients)
    assert some.degrees_of_freedom == all_rows.degrees_of_freedom


@pytest.mark.parametrize("seed", range(25))
def test_sparse_counts_settle_with_the_score_at_nought(seed):
    # Few spots in many kinds of work, as yards have them; Firth's score, written out, is 0.
    rng = np.random.default_rng(seed)
    x = np.column_stack([np.ones(36), (rng.random((36, 9)) < 0.3).astype(float)])
    n = rng.integers(1, 12, 36)
    y = rng.binomial(n, 0.12)
    fit = fit_logistic(x, y, n, firth=True)
    p = fit.probability
    weight = n * p * (1 - p)
    leverage = weight * np.einsum("ij,jk,ik->i", x, fit.covariance, x)
    np.testing.assert_allclose(x.T @ (y - n * p + leverage * (0.5 - p)), 0, atol=1e-8)


def test_firth_settles_where_full_steps_swing():
    # Two cells of one spot: a full scoring step goes from one side of the maximum to the other.
    fit = fit_logistic([[1, 0], [1, 1]], [0, 0], [1, 1], firth=True)
    np.testing.assert_allclose(fit.probability, 0.25, rtol=1e-9)
