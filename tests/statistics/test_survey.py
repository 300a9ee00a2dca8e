import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from ndtstats.statistics import (
    proportion_interval,
    rate_interval,
    weighted_rate,
    weighted_ratio,
)


def one(table):
    assert len(table) == 1
    return table.iloc[0]


def simple(rejected, **more):
    """Spots drawn alike, one to a joint."""
    n = len(rejected)
    return one(
        weighted_ratio(rejected, np.ones(n), weights=np.full(n, 7.0), clusters=np.arange(n), **more)
    )


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
    estimate = one(
        weighted_ratio(
            frame[variable], np.ones(len(frame)), weights=frame["pw"], cap=False, **drawn
        )
    )
    table = reference("svyciprop_expected.csv")
    row = table[
        (table["design"] == name) & (table["variable"] == variable) & (table["method"] == "beta")
    ].iloc[0]
    assert estimate["degrees_of_freedom"] == row["degf"]
    # As many digits as R printed: 12.
    assert estimate["value"] == pytest.approx(row["estimate"], rel=1e-11)
    assert estimate["standard_error"] == pytest.approx(row["se"], rel=1e-11)
    assert estimate["lower"] == pytest.approx(row["lower"], rel=1e-11)
    assert estimate["upper"] == pytest.approx(row["upper"], rel=1e-11)


def r_bounds(method, value, error, t):
    """Bounds that R makes of an estimate, its error and a t quantile (R survey, svyciprop)."""
    slope = {
        "mean": lambda p: (p, 1.0, lambda z: z),
        "logit": lambda p: (special.logit(p), 1 / (p * (1 - p)), special.expit),
        "xlogit": lambda p: (special.logit(p), 1 / (p * (1 - p)), special.expit),
        "asin": lambda p: (
            np.arcsin(np.sqrt(p)), 0.5 / np.sqrt(p * (1 - p)), lambda z: np.sin(z) ** 2
        ),
    }  # fmt: skip
    middle, stretch, back = slope[method](value)
    return back(middle - t * error * stretch), back(middle + t * error * stretch)


@pytest.mark.parametrize("name", ["clus1", "strat"])
@pytest.mark.parametrize("variable", ["ell_zero", "sch_wide"])
def test_value_error_and_degrees_of_freedom_lead_to_all_of_rs_bounds(name, variable, reference):
    # The other methods of svyciprop say the same of the design in other words.
    frame, drawn = design(reference, name)
    found = one(weighted_ratio(frame[variable], np.ones(len(frame)), weights=frame["pw"], **drawn))
    table = reference("svyciprop_expected.csv")
    rows = table[(table["design"] == name) & (table["variable"] == variable)]
    t = stats.t.ppf(0.975, found["degrees_of_freedom"])
    for row in rows[~rows["method"].isin(["beta", "likelihood"])].itertuples():
        lower, upper = r_bounds(row.method, found["value"], found["standard_error"], t)
        assert lower == pytest.approx(row.lower, rel=1e-7)
        assert upper == pytest.approx(row.upper, rel=1e-7)


def test_a_group_is_a_domain_of_the_strata(reference):
    # A domain's ratio is one of two totals in which everybody else has 0 (Särndal, Swensson &
    # Wretman 1992, 10.3), and R's agreement on the whole sample stands for each.
    frame, drawn = design(reference, "strat")
    domain = np.where(np.arange(len(frame)) % 3 == 0, "a", "b")
    both = weighted_ratio(
        frame["ell_zero"], np.ones(len(frame)), weights=frame["pw"], group=domain, **drawn
    )
    for name in "ab":
        mine = (domain == name).astype(float)
        known = one(weighted_ratio(mine * frame["ell_zero"], mine, weights=frame["pw"], **drawn))
        assert both.loc[name, "value"] == pytest.approx(known["value"], rel=1e-12)
        assert both.loc[name, "standard_error"] == pytest.approx(known["standard_error"], rel=1e-12)


def test_a_stratum_with_one_cluster_is_held_against_the_mean_of_all():
    # By hand, after the convention "adjust" of R's survey: scores (1 - 1/2) / 4, (0 - 1/2) / 4 in
    # strata of their own, and 1/8, -1/8 in one of two clusters: 2 (1/8)^2 + 2 / 1 x 2 (1/8)^2.
    found = one(
        weighted_ratio([1, 0, 1, 0], np.ones(4), weights=np.ones(4), clusters=range(4),
                       strata=["p", "q", "r", "r"])
    )  # fmt: skip
    assert found["standard_error"] ** 2 == pytest.approx(2 / 64 + 2 * 2 / 64)
    # Four clusters, one stratum of two, and the two single ones as one.
    assert found["degrees_of_freedom"] == 2


def test_a_joint_with_spots_in_two_strata_stays_together():
    # By hand: within each stratum the deviations are ± 1/2 over 8 spots, so each joint has twice
    # that, and the scale of four clusters is 4/3: 4 x (2/16)^2 x 4/3. Apart it is half of that.
    rejected, strata = [1, 1, 0, 0] * 2, [0] * 4 + [1] * 4
    same, apart = (
        one(weighted_ratio(rejected, np.ones(8), weights=np.ones(8), clusters=joints,
                           strata=strata))
        for joints in (list(range(4)) * 2, range(8))
    )  # fmt: skip
    assert same["standard_error"] ** 2 == pytest.approx(4 * (2 / 16) ** 2 * 4 / 3)
    assert apart["standard_error"] ** 2 == pytest.approx(same["standard_error"] ** 2 / 2)


@pytest.mark.parametrize("alike", [0.0, 0.3])
def test_bounds_cover_where_joints_lie_across_strata_that_differ(alike):
    # Two strata, crossings three times as bad as the rest; each joint has two spots in either, and
    # spots of a joint go together. Each bound shall hold with 95 %.
    rng, times, joints = np.random.default_rng(20260305), 1500, 40
    spread = (1 - alike) / max(alike, 1e-9)
    mean = np.array([0.3, 0.1])
    score = rng.beta(0.2 * spread, 0.8 * spread, (times, joints)) / 0.2 if alike else 1.0
    chance = np.clip(np.multiply.outer(score * np.ones((times, joints)), mean), 0, 1)
    rejected = rng.random((times, joints, 2, 2)) < chance[..., None]
    truth = chance.mean() if alike else 0.2
    number = rejected.size // times
    table = weighted_ratio(
        rejected.ravel(), np.ones(rejected.size), weights=np.ones(rejected.size),
        clusters=np.repeat(np.arange(times * joints), 4), group=np.repeat(np.arange(times), number),
        strata=np.tile([0, 0, 1, 1], times * joints) + 2 * np.repeat(np.arange(times), number),
        level=0.9,
    )  # fmt: skip
    assert (table["upper"] >= truth).mean() > 0.935
    assert (table["lower"] <= truth).mean() > 0.935


def test_what_was_all_examined_has_no_width_once_it_is_taken_for_all_there_is():
    # Why a finite share is not taken by default.
    frame = {"weights": np.ones(8), "clusters": range(8)}
    found = one(weighted_ratio([1, 0] * 4, np.ones(8), finite_share=np.ones(8), **frame))
    assert found["standard_error"] == 0.0
    assert one(weighted_ratio([1, 0] * 4, np.ones(8), **frame))["standard_error"] > 0.15


@given(st.lists(st.booleans(), min_size=1, max_size=60))
def test_equal_weights_and_one_spot_a_joint_give_the_exact_bound(rejected):
    n, k = len(rejected), sum(rejected)
    estimate = simple(rejected)
    assert estimate["value"] == pytest.approx(k / n)
    assert estimate["effective"] == pytest.approx(n, rel=1e-9)
    lower, upper = proportion_interval(k, n)
    assert estimate["lower"] == pytest.approx(float(lower), rel=1e-7, abs=1e-12)
    assert estimate["upper"] == pytest.approx(float(upper), rel=1e-7)


def test_spots_of_one_joint_that_agree_count_as_one():
    rejected = [1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0]
    joints = np.repeat([1, 2, 3, 4], 3)
    together = one(weighted_ratio(rejected, np.ones(12), weights=np.ones(12), clusters=joints))
    apart = simple(rejected)
    assert together["value"] == apart["value"]
    assert together["clusters"] == 4
    assert together["effective"] < apart["effective"] / 2
    assert together["upper"] > apart["upper"]


def test_one_reject_more_never_lowers_the_bound():
    # With nothing rejected no design effect can be seen; what is assumed must not be harsher than
    # what one reject would show.
    for joints in (3, 10, 40):
        spots = np.repeat(np.arange(joints), 5)
        uppers = [
            one(
                weighted_ratio(
                    np.arange(len(spots)) < k, np.ones(len(spots)), weights=np.ones(len(spots)),
                    clusters=spots,
                )
            )["upper"]
            for k in range(4)
        ]  # fmt: skip
        assert uppers == sorted(uppers)


def test_a_single_joint_tells_as_much_as_a_single_spot():
    estimate = one(weighted_ratio([0, 0, 0], [1, 1, 1], weights=[1, 1, 1], clusters=["a"] * 3))
    assert estimate["effective"] == pytest.approx(1.0)
    assert estimate["upper"] == pytest.approx(float(proportion_interval(0, 1).upper))


def test_unequal_weights_claim_less():
    weights = np.array([100.0] + [1.0] * 19)
    estimate = one(
        weighted_ratio(np.zeros(20), np.ones(20), weights=weights, clusters=np.arange(20))
    )
    # Kish: (100 + 19)^2 / (100^2 + 19).
    assert estimate["effective"] == pytest.approx(119**2 / 10019)


def test_weights_are_relative():
    rejected, joints = [1, 0, 0, 1, 0, 0, 0, 0], [1, 1, 2, 2, 3, 3, 4, 4]
    weights = np.arange(1.0, 9.0)
    first, second = (
        one(weighted_ratio(rejected, np.ones(8), weights=scale * weights, clusters=joints))
        for scale in (1.0, 37.0)
    )
    np.testing.assert_allclose(first.to_numpy(float), second.to_numpy(float), rtol=1e-12)


@given(st.randoms(use_true_random=False))
def test_groups_are_samples_of_their_own_whatever_the_order(random):
    rows = [(g, j, random.random() < 0.3, 1 + 9 * random.random()) for g in "ab" for j in range(12)]
    random.shuffle(rows)
    group, joint, rejected, weight = (np.array(column) for column in zip(*rows, strict=True))
    both = weighted_ratio(rejected, np.ones(24), weights=weight, clusters=joint // 2, group=group)
    for name in "ab":
        mine = group == name
        alone = weighted_ratio(
            rejected[mine], np.ones(12), weights=weight[mine], clusters=joint[mine] // 2
        )
        np.testing.assert_allclose(
            both.loc[name].to_numpy(float), alone.iloc[0].to_numpy(float), rtol=1e-9
        )


def test_a_finite_share_takes_from_the_variance():
    rejected = [1, 0, 0, 0, 1, 0, 0, 0]
    plain = simple(rejected)
    half = simple(rejected, finite_share=np.full(8, 0.75))
    assert half["standard_error"] == pytest.approx(plain["standard_error"] / 2)


@pytest.mark.parametrize("empty", [True, False])
def test_nothing_examined_is_nothing_known(empty):
    if empty:
        assert weighted_ratio([], [], weights=[], clusters=[]).empty
        return
    estimate = one(weighted_ratio([0.0], [0.0], weights=[1.0], clusters=["a"]))
    assert np.isnan(estimate["value"])
    assert (estimate["lower"], estimate["upper"]) == (0.0, 1.0)


def test_a_length_counts_as_one_trial():
    # Each spot shows 3 % of its length: no more sure than so many spots, however many millimetres.
    estimate = one(
        weighted_ratio([9.0] * 10, [300.0] * 10, weights=[1.0] * 10, clusters=np.arange(10))
    )
    assert estimate["value"] == pytest.approx(0.03)
    assert estimate["effective"] == pytest.approx(10)


def covered(icc, joints, spots, rate, weights, rng, times=2000):
    """How often two-sided 90 % bounds hold the truth from above and from below."""
    size = (times, joints, spots)
    if icc:
        spread = (1 - icc) / icc
        of_joint = rng.beta(rate * spread, (1 - rate) * spread, size[:2])[..., None]
    else:
        of_joint = np.full((times, joints, 1), rate)
    rejected = rng.random(size) < of_joint
    yard = np.repeat(np.arange(times), joints * spots)
    table = weighted_ratio(
        rejected.ravel(), np.ones(rejected.size), weights=rng.choice(weights, rejected.size),
        clusters=np.tile(np.repeat(np.arange(joints), spots), times), group=yard, level=0.9,
    )  # fmt: skip
    return float((table["upper"] >= rate).mean()), float((table["lower"] <= rate).mean())


@pytest.mark.parametrize("joints_spots", [(30, 1), (30, 3), (10, 6), (100, 4)])
@pytest.mark.parametrize("rate", [0.05, 0.2])
@pytest.mark.parametrize("icc", [0.0, 0.1])
@pytest.mark.parametrize("weights", [[1.0], [2.0, 5.0, 20.0]])
def test_bounds_cover_as_often_as_they_say(joints_spots, rate, icc, weights):
    # The yard is simulated (spots of a joint alike, beta-binomial), so the truth is known. Each
    # bound shall hold with 95 %; three standard errors of 2,000 yards are 1.5 %.
    rng = np.random.default_rng(20260302)
    above, below = covered(icc, *joints_spots, rate, weights, rng)
    assert above > 0.935
    assert below > 0.935


def test_no_events_and_equal_weights_give_garwood():
    count, metres = np.zeros(50), np.linspace(0.2, 0.5, 50)
    estimate = one(weighted_rate(count, metres, weights=np.full(50, 3.0), clusters=np.arange(50)))
    assert estimate["effective"] == pytest.approx(metres.sum())
    assert estimate["upper"] == pytest.approx(float(rate_interval(0, metres.sum()).upper))


def test_a_rate_weighs_counts_and_metres_alike():
    estimate = one(weighted_rate([3, 0], [0.5, 0.5], weights=[10.0, 30.0], clusters=["a", "b"]))
    assert estimate["value"] == pytest.approx(10 * 3 / (10 * 0.5 + 30 * 0.5))


def test_indications_in_a_heap_claim_fewer_metres():
    metres = np.full(40, 0.3)
    spread = np.tile([1, 0, 0, 0], 10)
    heap = np.zeros(40)
    heap[0] = 10
    apart, together = (
        one(weighted_rate(count, metres, weights=np.ones(40), clusters=np.arange(40)))
        for count in (spread, heap)
    )
    assert apart["value"] == pytest.approx(together["value"])
    assert apart["effective"] == pytest.approx(12.0)
    assert together["effective"] < 2.0


@pytest.mark.parametrize("heaping", [0.0, 1.0])
def test_rate_bounds_cover_as_often_as_they_say(heaping):
    rng = np.random.default_rng(20260303)
    times, joints, spots, rate = 2000, 30, 3, 0.8
    # Joints differ by a gamma factor of variance ``heaping``.
    factor = rng.gamma(1 / heaping, heaping, (times, joints, 1)) if heaping else 1.0
    count = rng.poisson(rate * 0.3 * factor * np.ones((times, joints, spots)))
    table = weighted_rate(
        count.ravel(), np.full(count.size, 0.3),
        weights=rng.choice([2.0, 5.0, 20.0], count.size),
        clusters=np.tile(np.repeat(np.arange(joints), spots), times),
        group=np.repeat(np.arange(times), joints * spots), level=0.9,
    )  # fmt: skip
    assert (table["upper"] >= rate).mean() > 0.935
    assert (table["lower"] <= rate).mean() > 0.935
