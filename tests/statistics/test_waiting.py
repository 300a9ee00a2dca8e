import numpy as np
import pytest
from statsmodels.duration.survfunc import SurvfuncRight

from ndtstats.errors import UseError
from ndtstats.statistics.waiting import answered_within, days_until

# Weeks of remission under 6-mercaptopurine: Freireich et al. 1963, Blood 21:699, the worked example
# of most textbooks of survival (data and estimates from memory, and computed anew below).
WEEKS = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
ENDED = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]


def test_the_textbook_example_comes_out():
    curve = answered_within(WEEKS, ENDED)
    assert curve["days"].tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve["waiting"].tolist() == [21, 17, 15, 12, 11, 7, 6]
    still = [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    assert (1 - curve["share"]).to_numpy() == pytest.approx(still, abs=5e-5)
    assert days_until(curve, 0.5)[0] == 23


@pytest.mark.parametrize("share", [0.25, 0.5, 0.9])
def test_shares_and_days_agree_with_a_general_library(share):
    rng = np.random.default_rng(8)
    days = rng.integers(1, 15, 80)
    answered = rng.random(80) < 0.8
    curve = answered_within(days, answered)
    other = SurvfuncRight(days, answered.astype(int))
    assert curve["days"].to_numpy() == pytest.approx(other.surv_times)
    assert (1 - curve["share"]).to_numpy() == pytest.approx(other.surv_prob, rel=1e-10)
    low, high = other.quantile_ci(share, alpha=0.05, method="cloglog")
    assert days_until(curve, share) == (other.quantile(share), low, high)


def test_bounds_have_the_deviation_of_a_general_library():
    curve = answered_within(WEEKS, ENDED)
    other = SurvfuncRight(WEEKS, ENDED)
    left, deviation = other.surv_prob, other.surv_prob_se
    # On the scale log(-log) the bounds lie alike on both sides; the delta method joins the scales.
    for column, side in (("lower", -1), ("upper", 1)):
        z = (np.log(-np.log(1 - curve[column])) - np.log(-np.log(left))) * side
        assert z.to_numpy() * -np.log(left) * left / deviation == pytest.approx(1.959964, rel=1e-6)


def test_when_all_are_answered_the_last_bound_is_not_certainty():
    curve = answered_within([1, 2, 3], [True] * 3)
    assert curve["share"].iloc[-1] == pytest.approx(1.0)
    assert curve["lower"].iloc[-1] == curve["lower"].iloc[-2] < 1
    assert curve["upper"].iloc[-1] == 1


def test_nothing_asked_or_answered_gives_an_empty_curve():
    assert answered_within([], []).empty
    none = answered_within([4, 9], [False, False])
    assert none.empty
    assert days_until(none, 0.5) == (np.inf, np.inf, np.inf)


def test_a_level_must_be_one():
    with pytest.raises(UseError):
        answered_within([1], [True], level=95)
