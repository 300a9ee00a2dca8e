import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.integrate import quad

from ndtstats.errors import UseError
from ndtstats.statistics import hidden_imperfections, hidden_sentence
from ndtstats.statistics.hidden import BetaDetection

#: Three welders in two zones: found, metres examined, metres not examined, prior.
STRATA = {
    "found": [0, 3, 1],
    "examined_m": [12.0, 20.0, 6.0],
    "unexamined_m": [200.0, 150.0, 80.0],
    "prior_shape": [0.5, 2.0, 1.0],
    "prior_length_m": [5.0, 30.0, 8.0],
}


def hidden(**more):
    given = {**STRATA, **more}
    numbers = [given.pop(name) for name in ("found", "examined_m", "unexamined_m")]
    return hidden_imperfections(*numbers, **given)


def test_one_stratum_is_the_posterior_predictive_negative_binomial():
    # Gamma-Poisson predictive: nbinom(α + k, (β + dE) / (β + dE + U + (1 - d) E)) by scipy.
    table = hidden(detection=0.8, level=0.95)
    for i, row in enumerate(table.itertuples()):
        k, e, u, a, b = (STRATA[name][i] for name in STRATA)
        known = b + 0.8 * e
        law = stats.nbinom(a + k, known / (known + u + 0.2 * e))
        assert row.mean == pytest.approx(law.mean(), rel=1e-12)
        assert row.none == pytest.approx(law.pmf(0), rel=1e-12)
        assert row.upper == law.ppf(0.95)
        assert row.mean_missed == pytest.approx((a + k) / known * 0.2 * e, rel=1e-12)
        assert row.mean_unexamined == pytest.approx((a + k) / known * u, rel=1e-12)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.99])
def test_a_sum_of_strata_is_the_convolution_of_theirs(level):
    row = hidden(group=["a"] * 3, detection=0.7, level=level).iloc[0]
    count = np.arange(4000)
    total = np.array([1.0])
    for k, e, u, a, b in zip(*STRATA.values(), strict=True):
        known = b + 0.7 * e
        law = stats.nbinom(a + k, known / (known + u + 0.3 * e))
        total = np.convolve(total, law.pmf(count))[:4000]
    assert row["upper"] == np.searchsorted(np.cumsum(total), level)
    assert row["none"] == pytest.approx(total[0], rel=1e-9)
    assert row["mean"] == pytest.approx(total @ count, rel=1e-9)


def simulated(detection, found, rng, size, of_found=False):
    """Simulate the whole model and keep what is hidden where as many were found as given."""
    d = detection(size)
    hidden_there, alike = np.zeros(size), np.ones(size, bool)
    for k, e, u, a, b in zip(found, *list(STRATA.values())[1:], strict=True):
        rate = rng.gamma(a, 1 / b, size) / (d if of_found else 1)
        alike &= rng.poisson(rate * d * e) == k
        hidden_there += rng.poisson(rate * u) + rng.poisson(rate * (1 - d) * e)
    return hidden_there[alike]


@pytest.mark.parametrize("prior_of", ["present", "found"])
@pytest.mark.parametrize("beta", [None, (6.0, 3.0)])
def test_agrees_with_a_simulation_of_the_whole_model(beta, prior_of):
    # No formula in common: rates, detection and counts are drawn, and the right cases kept.
    rng = np.random.default_rng(5)
    found = [0, 2, 1]
    detect = (
        (lambda size: np.full(size, 0.6)) if beta is None else (lambda size: rng.beta(*beta, size))
    )
    kept = simulated(detect, found, rng, 1_000_000, prior_of == "found")
    assert len(kept) > 10_000
    detection = 0.6 if beta is None else BetaDetection(*beta)
    row = hidden(
        found=found, group=[1, 1, 1], detection=detection, level=0.9, prior_of=prior_of
    ).iloc[0]
    error = kept.std() / np.sqrt(len(kept))
    assert abs(row["mean"] - kept.mean()) < 4 * error
    p = row["none"]
    assert abs(p - (kept == 0).mean()) < 4 * np.sqrt(p * (1 - p) / len(kept))
    within, below = (kept <= row["upper"]).mean(), (kept < row["upper"]).mean()
    slack = 4 * np.sqrt(0.09 / len(kept))
    assert within > 0.9 - slack
    assert below < 0.9 + slack


def test_the_bound_covers_what_is_hidden_as_often_as_it_says():
    # Truth drawn from the prior, every stratum a case of its own.
    rng = np.random.default_rng(8)
    n = 40_000
    e, u = rng.uniform(1, 40, n), rng.uniform(0, 500, n)
    rate = rng.gamma(1.2, 1 / 15, n)
    found = rng.poisson(rate * 0.75 * e)
    truth = rng.poisson(rate * (u + 0.25 * e))
    table = hidden_imperfections(
        found, e, u, prior_shape=1.2, prior_length_m=15.0, detection=0.75, level=0.9
    )
    within = (truth <= table["upper"]).mean()
    # The count is discrete, so that the bound covers a little more often than it says.
    assert 0.9 - 4 * np.sqrt(0.09 / n) < within < 0.93
    none = table["none"]
    error = np.sqrt((none * (1 - none)).sum()) / n
    assert abs((truth == 0).mean() - none.mean()) < 4 * error


def test_a_beta_that_is_nearly_a_number_is_that_number():
    sharp = hidden(group=[0, 0, 1], detection=BetaDetection(8e7, 2e7))
    plain = hidden(group=[0, 0, 1], detection=0.8)
    np.testing.assert_allclose(sharp["mean"], plain["mean"], rtol=1e-6)
    np.testing.assert_allclose(sharp["none"], plain["none"], rtol=1e-6)
    assert sharp["upper"].tolist() == plain["upper"].tolist()


@pytest.mark.parametrize("beta", [(2.0, 2.0), (1.5, 0.5), (30.0, 5.0), (400.0, 1.2)])
def test_uncertain_detection_is_integrated_out(beta):
    # scipy.integrate.quad over d, with Jeffreys' prior, where the counts say nothing of d.
    row = hidden_imperfections(
        2, 10.0, 30.0, prior_shape=0.5, prior_length_m=0.0, detection=BetaDetection(*beta)
    ).iloc[0]
    law = stats.beta(*beta)

    def mean(d):
        return 2.5 * (30 + (1 - d) * 10) / (d * 10) * law.pdf(d)

    def none(d):
        return (d * 10 / 40) ** 2.5 * law.pdf(d)

    middle = law.ppf([1e-6, 0.5])
    low, high = (
        sum(
            quad(f, *ends, epsabs=1e-13, limit=500)[0]
            for ends in ((0, middle[0]), (middle[0], middle[1]), (middle[1], 1))
        )
        for f in (mean, none)
    )
    assert row["mean"] == pytest.approx(low, rel=1e-6)
    assert row["none"] == pytest.approx(high, rel=1e-6)


def test_what_was_found_tells_of_the_detection_where_the_rate_is_known():
    # A rate known to be about 1 a metre, and 100 m with few found: the method finds few.
    few = hidden_imperfections(
        20, 100.0, 0.0, prior_shape=1e6, prior_length_m=1e6, detection=BetaDetection(2.0, 2.0)
    ).iloc[0]
    # Of 100 there, 20 found: 80 missed, whatever the vague detection said.
    assert few["mean"] == pytest.approx(79, abs=2)


def test_a_prior_fitted_to_what_was_found_tells_nothing_of_the_detection():
    # Much of the register at the very rate of the prior: the detection keeps its mean all the same.
    row = hidden_imperfections(
        1000, 1000.0, 0.0, prior_shape=1e4, prior_length_m=1e4, prior_of="found",
        detection=BetaDetection(9.0, 3.0),
    ).iloc[0]  # fmt: skip
    # E[(1 - d) / d] = b / (a - 1) of a Beta(a, b), in 1000 m at 1 a metre.
    assert row["mean"] == pytest.approx(1000 * 3 / 8, rel=1e-9)


def test_simulation_takes_over_where_the_distribution_is_long_and_states_its_error():
    row = hidden_imperfections(
        [4, 9], [2.0, 3.0], [3e7, 5e7], prior_shape=0.5, prior_length_m=0.0, group=[0, 0], seed=3
    ).iloc[0]
    assert row["basis"] == "simulated"
    assert row["upper_error"] > 0
    # So long a count is nearly its rate: a sum of gammas, of the same quantile by numerical
    # inversion of their convolution (scipy.stats.gamma on a grid).
    grid = np.linspace(0, 1e9, 200_001)
    step = grid[1]
    one, two = (
        stats.gamma.pdf(grid, shape, scale=u / e)
        for shape, u, e in ((4.5, 3e7, 2.0), (9.5, 5e7, 3.0))
    )
    total = np.cumsum(np.fft.irfft(np.fft.rfft(one, 400_002) * np.fft.rfft(two, 400_002)))
    known = grid[np.searchsorted(total[: len(grid)] * step**2, 0.9)]
    assert abs(row["upper"] - known) < 2.5 * row["upper_error"]
    again = hidden_imperfections(
        [4, 9], [2.0, 3.0], [3e7, 5e7], prior_shape=0.5, prior_length_m=0.0, group=[0, 0], seed=3
    ).iloc[0]
    pd.testing.assert_series_equal(row, again)


def test_the_less_is_found_the_better_the_method_the_less_is_hidden():
    by_found = [hidden(found=[0, k, 1], group=[1] * 3).iloc[0]["mean"] for k in range(4)]
    assert np.all(np.diff(by_found) > 0)
    by_detection = [hidden(group=[1] * 3, detection=d).iloc[0]["mean"] for d in (0.3, 0.6, 1.0)]
    assert np.all(np.diff(by_detection) < 0)


def test_several_priors_are_mixed_by_their_weights():
    one = {"prior_shape": 2.0, "prior_length_m": 20.0, "prior_of": "found"}
    other = {"prior_shape": 0.6, "prior_length_m": 1.0, "prior_of": "found"}
    both = hidden(
        group=[0, 0, 0], prior_shape=[[2.0], [0.6]], prior_length_m=[[20.0], [1.0]],
        prior_weight=[3, 1], prior_of="found", level=0.8,
    ).iloc[0]  # fmt: skip
    first, second = (hidden(group=[0, 0, 0], **prior).iloc[0] for prior in (one, other))
    for name in ("mean", "none", "mean_unexamined"):
        assert both[name] == pytest.approx(0.75 * first[name] + 0.25 * second[name], rel=1e-10)

    # A point is reached by the mixture when the weighted chances reach it, by simulation.
    rng = np.random.default_rng(1)
    draws = []
    for share, prior in ((300_000, one), (100_000, other)):
        rate = rng.gamma(
            np.array(STRATA["found"]) + prior["prior_shape"],
            1 / (np.array(STRATA["examined_m"]) + prior["prior_length_m"]), (share, 3),
        )  # fmt: skip
        draws.append(rng.poisson(rate @ np.array(STRATA["unexamined_m"])))
    every = np.concatenate(draws)
    slack = 4 * np.sqrt(0.16 / 400_000)
    assert (every < both["upper"]).mean() - slack < 0.8 < (every <= both["upper"]).mean() + slack
    vague = hidden(
        group=[0, 0, 0], prior_shape=[[2.0], [0.6]], prior_length_m=[[20.0], [1.0]],
        prior_weight=[3, 1], prior_of="found", detection=BetaDetection(3e6, 1e6),
    ).iloc[0]  # fmt: skip
    sharp = hidden(
        group=[0, 0, 0], prior_shape=[[2.0], [0.6]], prior_length_m=[[20.0], [1.0]],
        prior_weight=[3, 1], prior_of="found", detection=0.75,
    ).iloc[0]  # fmt: skip
    assert vague["mean"] == pytest.approx(sharp["mean"], rel=1e-5)


def test_what_was_aimed_at_can_be_missed_too_but_tells_nothing_of_the_rate():
    # A number d: the same as so much more that nobody examined.
    aimed = np.array([10.0, 0.0, 4.0])
    looked = hidden(detection=0.7, looked_at_m=np.array(STRATA["examined_m"]) + aimed)
    known = hidden(detection=0.7, unexamined_m=np.array(STRATA["unexamined_m"]) + 0.3 * aimed)
    np.testing.assert_allclose(looked["mean"], known["mean"], rtol=1e-12)
    assert looked["upper"].tolist() == known["upper"].tolist()


def test_groups_keep_their_order_and_sums():
    table = hidden(group=["zone B", "zone A", "zone B"], detection=BetaDetection(9, 2))
    assert table.index.tolist() == ["zone B", "zone A"]
    assert table["unexamined_m"].tolist() == [280.0, 150.0]
    alone = hidden(group=[0, 1, 2], detection=BetaDetection(9, 2))
    assert table["mean"].to_numpy() == pytest.approx(
        [alone["mean"].iloc[[0, 2]].sum(), alone["mean"].iloc[1]]
    )


def test_all_seen_by_a_perfect_method_leaves_nothing():
    row = hidden_imperfections(3, 40.0, 0.0, prior_shape=0.5, prior_length_m=0.0).iloc[0]
    assert (row["mean"], row["none"], row["upper"]) == (0.0, 1.0, 0)
    assert "nothing can be hidden" in hidden_sentence(row)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"prior_length_m": 0.0, "examined_m": [1, 0, 1]}, "stratum 2: nothing was examined"),
        ({"detection": 0.0}, "above 0, at most 1"),
        ({"detection": 80}, "above 0, at most 1"),
        ({"found": [1, -1, 2]}, "stratum 2: found -1 must be 0 or more"),
        ({"prior_shape": 0.0}, "prior_shape 0 must be above 0"),
        ({"looked_at_m": [-1, 2, 3]}, "looked at must be 0 or more"),
        ({"prior_weight": [1.0]}, 'prior_of="found"'),
        ({"prior_weight": [0.0], "prior_of": "found"}, "not all of them 0"),
        ({"level": 90}, "between 0 and 1"),
        ({"prior_of": "posterior"}, 'use "present" or "found"'),
        ({"detection": BetaDetection(1, 1), "prior_length_m": 0.0}, "first number above 1"),
    ],
)
def test_impossible_questions_are_told(more, says):
    with pytest.raises(UseError, match=says):
        hidden(**more)


def test_a_distribution_that_is_none_is_told():
    with pytest.raises(UseError, match=r"16\.5 4\.5"):
        BetaDetection(0, 3)


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"none": 0.004}, "none at all with less than 1 %."),
        ({"none": 0.996}, "none at all with more than 99 %."),
        ({"mean_missed": 0.0}, "In the 412 m nobody examined: 3.1"),
        ({"unexamined_m": 0.0}, "In what X-ray missed: 3.1"),
        ({"mean": 0.034}, "0.03 rejectable"),
        ({"basis": "simulated", "upper": 1234, "upper_error": 8.0}, "about 1,235 (± 8, simulated)"),
    ],
)
def test_the_sentence_says_what_the_row_says(changed, says):
    row = {
        "unexamined_m": 412.0, "mean": 3.1, "mean_missed": 0.4, "upper": 6, "level": 0.9,
        "none": 0.06, "basis": "exact", "upper_error": 0.0,
    }  # fmt: skip
    assert says in hidden_sentence({**row, **changed}, "X-ray")
