import numpy as np
import pytest

from ndtstats.errors import UseError
from ndtstats.statistics import weighted_ratio
from ndtstats.statistics.clusters import joint_clustering

# Weil 1970, Food Cosmet. Toxicol. 8:177: survivors of each litter, two groups of sixteen (from
# memory; it is the example of Rao & Scott 1992).
CONTROL = [(13, 13), (12, 12), (9, 9), (9, 9), (8, 8), (8, 8), (12, 13), (11, 12), (9, 10), (9, 10),
           (8, 9), (11, 13), (4, 5), (5, 7), (7, 10), (7, 10)]  # fmt: skip
TREATED = [(12, 12), (11, 11), (10, 10), (9, 9), (10, 11), (9, 10), (9, 10), (8, 9), (8, 9), (4, 5),
           (7, 9), (4, 7), (5, 10), (3, 6), (3, 10), (0, 7)]  # fmt: skip


def spread_out(litters):
    """One row an animal: whether it lived, and its litter."""
    lived = np.concatenate([[1] * k + [0] * (n - k) for k, n in litters])
    return lived, np.repeat(np.arange(len(litters)), [n for _, n in litters])


def test_the_design_effect_of_rao_and_scott():
    # Rao & Scott 1992, Biometrics 48:577: 142 of 158 and a design effect of 1.232 (from memory).
    lived, litter = spread_out(CONTROL)
    n = len(lived)
    found = weighted_ratio(lived, np.ones(n), weights=np.ones(n), clusters=litter).iloc[0]
    p = found["value"]
    assert (lived.sum(), n) == (142, 158)
    assert found["standard_error"] ** 2 / (p * (1 - p) / n) == pytest.approx(1.232, abs=5e-4)


def test_the_correlation_is_that_of_an_analysis_of_variance():
    # By hand, term by term: mean squares between and within litters of one group.
    lived, litter = spread_out(TREATED)
    sizes = np.array([n for _, n in TREATED])
    means = np.array([k / n for k, n in TREATED])
    between = sum(n * (m - lived.mean()) ** 2 for n, m in zip(sizes, means, strict=True)) / 15
    within = ((lived - means[litter]) ** 2).sum() / (len(lived) - 16)
    usual = (len(lived) - (sizes**2).sum() / len(lived)) / 15
    found = joint_clustering(lived, litter, ["T"] * len(lived))
    assert found.correlation == pytest.approx(
        (between - within) / (between + (usual - 1) * within), rel=1e-12
    )
    assert found.several == 16
    size = (sizes**2).sum() / sizes.sum()
    effect = found.groups.loc["T", "design_effect"]
    assert effect == pytest.approx(1 + (size - 1) * found.correlation)
    assert found.design_effect == pytest.approx(effect)
    # Rao & Scott's own estimate of this group, 3.95, rests on it alone; this one is as large.
    assert 3.4 < effect < 4.4


@pytest.mark.parametrize("alike", [0.0, 0.1, 0.4])
def test_a_known_correlation_is_found_again(alike):
    # Welders differ, joints of a welder are beta-binomial: the correlation within is known.
    rng, joints, spots = np.random.default_rng(7), 6000, 3
    rate = rng.choice([0.05, 0.3], joints)
    if alike:
        spread = (1 - alike) / alike
        chance = rng.beta(rate * spread, (1 - rate) * spread)
    else:
        chance = rate
    rejected = rng.random((joints, spots)) < chance[:, None]
    found = joint_clustering(
        rejected.ravel(), np.repeat(np.arange(joints), spots), np.repeat(rate, spots)
    )
    # Standard errors are 0.01 to 0.02 in 6,000 joints.
    assert found.correlation == pytest.approx(alike, abs=0.05)
    assert found.groups["size"].tolist() == [3.0, 3.0]


def test_differences_of_welders_are_no_correlation_of_joints():
    # Each welder is all good or all bad: within him nothing differs, so nothing is told.
    found = joint_clustering([1, 1, 1, 1, 0, 0, 0, 0], [1, 1, 2, 2, 3, 3, 4, 4], list("AAAABBBB"))
    assert np.isnan(found.correlation)
    assert found.groups["design_effect"].tolist() == [1.0, 1.0]


def test_spots_that_avoid_each_other_count_in_full():
    found = joint_clustering([1, 0, 0, 1, 1, 0], [1, 1, 2, 2, 3, 3], ["A"] * 6)
    assert found.correlation < 0
    assert found.design_effect == 1.0


def test_one_spot_a_joint_tells_nothing_of_joints():
    found = joint_clustering([1, 0, 0], [1, 2, 3], ["A", "A", "B"])
    assert np.isnan(found.correlation)
    assert found.several == 0
    assert found.design_effect == 1.0


def test_unequal_lengths_are_told():
    with pytest.raises(UseError, match="2 verdicts, 1 joints"):
        joint_clustering([0, 1], [1], ["A", "A"])
