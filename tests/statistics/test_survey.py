import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ndtstats.statistics import proportion_interval, weighted_ratio


def design(reference, name):
    """Read one of the api designs: one cluster stage, or three strata."""
    if name == "clus1":
        frame = reference("api_clus1.csv")
        return frame, {
            "clusters": frame["dnum"],
            "finite_share": frame["dnum"].nunique() / frame["fpc"],
        }
    frame = reference("api_strat.csv")
    drawn = frame.groupby("stype")["pw"].transform("size")
    return frame, {
        "clusters": frame.index,
        "strata": frame["stype"],
        "finite_share": drawn / frame["fpc"],
    }


@pytest.mark.parametrize("name", ["clus1", "strat"])
@pytest.mark.parametrize("variable", ["ell_zero", "sch_wide"])
def test_agrees_with_r_survey(name, variable, reference):
    # R survey 4.1, svyciprop(method = "beta") on its api data: Korn & Graubard 1998, not capped.
    frame, drawn = design(reference, name)
    estimate = weighted_ratio(
        frame[variable], np.ones(len(frame)), weights=frame["pw"], cap=False, **drawn
    )
    table = reference("svyciprop_expected.csv")
    row = table[
        (table["design"] == name) & (table["variable"] == variable) & (table["method"] == "beta")
    ].iloc[0]
    assert estimate.degrees_of_freedom == row["degf"]
    assert estimate.value == pytest.approx(row["estimate"], rel=1e-9)
    assert estimate.standard_error == pytest.approx(row["se"], rel=1e-8)
    assert estimate.lower == pytest.approx(row["lower"], rel=1e-7)
    assert estimate.upper == pytest.approx(row["upper"], rel=1e-7)


@given(st.lists(st.booleans(), min_size=2, max_size=60))
def test_equal_weights_and_one_spot_a_joint_come_near_the_exact_bound(rejected):
    n, k = len(rejected), sum(rejected)
    estimate = weighted_ratio(rejected, np.ones(n), weights=np.full(n, 7.0), clusters=np.arange(n))
    assert estimate.value == pytest.approx(k / n)
    # The variance has n - 1 where a binomial has n, so one spot is lost at most.
    assert n - 1 - 1e-9 <= estimate.effective_n <= n
    lower, upper = proportion_interval(k, n)
    assert estimate.lower <= float(lower) + 1e-12
    assert estimate.upper >= float(upper) - 1e-12


def test_spots_of_one_joint_that_agree_count_as_one():
    rejected = [1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0]
    joints = np.repeat([1, 2, 3, 4], 3)
    together = weighted_ratio(rejected, np.ones(12), weights=np.ones(12), clusters=joints)
    apart = weighted_ratio(rejected, np.ones(12), weights=np.ones(12), clusters=np.arange(12))
    assert together.value == apart.value
    assert together.effective_n < apart.effective_n / 2
    assert together.upper > apart.upper


def test_no_reject_claims_no_more_than_the_joints():
    estimate = weighted_ratio(
        np.zeros(12), np.ones(12), weights=np.ones(12), clusters=[1, 2, 3] * 4
    )
    assert estimate.effective_n == 3
    assert estimate.upper == pytest.approx(float(proportion_interval(0, 3).upper))


def test_nothing_examined_is_nothing_known():
    estimate = weighted_ratio([], [], weights=[], clusters=[])
    assert np.isnan(estimate.value)
    assert (estimate.lower, estimate.upper) == (0.0, 1.0)


def test_a_length_ratio_weighs_by_length():
    estimate = weighted_ratio(
        [10.0, 0.0], [100.0, 300.0], weights=[1.0, 1.0], clusters=["a", "b"], units=2
    )
    assert estimate.value == pytest.approx(0.025)
