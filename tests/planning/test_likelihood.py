import numpy as np
import pandas as pd
import pytest

from ndtstats.planning.likelihood import (
    EFFECTS,
    USUAL_SHAPE,
    fit_likelihood,
    histories,
    kind_of,
    work_of,
)
from ndtstats.statistics.shrinkage import fit_gamma_poisson


def history(metres, found, **levels):
    rows = pd.DataFrame({"metres": metres, "found": found})
    return rows.assign(**{name: levels.get(name, "") for name in EFFECTS}).astype(
        dict.fromkeys(EFFECTS, "str")
    )


def test_without_results_there_is_the_rate_of_the_rules_and_it_is_said():
    likelihood = fit_likelihood(None, rate_per_m=0.2)
    assert likelihood.rate_per_m == 0.2
    assert likelihood.relative("welder", ["A", "B"]).tolist() == [1.0, 1.0]
    assert likelihood.posterior(["A"]).loc["A"].tolist() == [USUAL_SHAPE, USUAL_SHAPE, 0]
    assert likelihood.sentence.startswith("No results yet: 0.2")


def test_the_stated_rate_weighs_as_much_as_one_imperfection():
    likelihood = fit_likelihood(history([30.0], [0.0]), rate_per_m=0.1)
    # One imperfection in 10 m stated, none in 30 m seen.
    assert likelihood.rate_per_m == pytest.approx(1 / 40)


def test_one_effect_is_the_gamma_poisson_fit():
    rng = np.random.default_rng(2)
    truth = rng.gamma(1.5, 1 / 1.5, 30)
    metres = rng.uniform(20, 80, 30)
    found = rng.poisson(0.3 * truth * metres)
    names = [f"W{n}" for n in range(30)]
    likelihood = fit_likelihood(history(metres, found, welder=names), rate_per_m=0.3)
    expected = likelihood.rate_per_m * metres
    prior = fit_gamma_poisson(found, expected, mean=1.0)
    assert likelihood.shape == pytest.approx(prior.a, rel=1e-6)
    np.testing.assert_allclose(
        likelihood.relative("welder", names), (prior.a + found) / (prior.a + expected), rtol=1e-6
    )


def test_crossed_effects_of_a_simulated_yard_are_found():
    rng = np.random.default_rng(4)
    position = {"PA": 0.5, "PC": 1.0, "PF": 1.5, "PE": 2.0}
    welders = {f"W{n}": rate for n, rate in enumerate(rng.gamma(2, 1 / 2, 25))}
    rows = history(
        rng.uniform(5, 25, 4000), 0.0,
        welder=rng.choice(list(welders), 4000), position=rng.choice(list(position), 4000),
    )  # fmt: skip
    mean = 0.2 * rows["metres"] * rows["welder"].map(welders) * rows["position"].map(position)
    rows["found"] = rng.poisson(mean).astype(float)
    likelihood = fit_likelihood(rows, rate_per_m=0.2)
    for factor, truth in (("position", position), ("welder", welders)):
        names = list(truth)
        seen = likelihood.relative(factor, names)
        true = np.array([truth[name] for name in names])
        ratio = (seen / seen.mean()) / (true / true.mean())
        # Some 400 imperfections a welder, 2,500 a position: standard errors to 8 and 3 %.
        assert np.abs(ratio[true > 0.15] - 1).max() < (0.1 if factor == "position" else 0.35)


def test_effects_without_spread_are_one():
    rows = history([50.0] * 4, [5.0, 5.0, 5.0, 5.0], position=["PA", "PC", "PF", "PE"])
    likelihood = fit_likelihood(rows, rate_per_m=0.1)
    assert likelihood.relative("position", ["PA", "PE", "PG"]).tolist() == [1.0, 1.0, 1.0]


def test_a_welder_of_whom_little_is_known_stays_near_the_mean():
    rows = history([60.0, 60.0, 60.0, 2.0], [2.0, 6.0, 16.0, 2.0], welder=["A", "B", "C", "new"])
    likelihood = fit_likelihood(rows, rate_per_m=0.1)
    new, worst = likelihood.relative("welder", ["new", "C"])
    raw = 2.0 / (2.0 * likelihood.rate_per_m)
    assert 1.0 < new < raw / 2
    assert worst > 1.3


JOINTS = pd.DataFrame(
    {
        "joint": ["B-1", "B-2"],
        "process": ["135", None],
        "position": ["PA", "PF"],
        "thickness_mm": [6.0, 20.0],
    }
).astype({"process": "str"})
DEPOSITS = pd.DataFrame(
    {
        "joint": ["B-1", "B-1", "B-2"],
        "welder": ["A", "B", "A"],
        "from_mm": [0.0, 600.0, None],
        "to_mm": [600.0, 1000.0, None],
        "process": [None, "141", None],
        "position": [None, None, None],
    }
).astype({"process": "str", "position": "str"})


def test_a_deposit_says_where_it_differs_from_its_joint():
    made = work_of(JOINTS, DEPOSITS).set_index(["joint", "welder"])
    assert made.loc[("B-1", "B"), "process"] == "141"
    assert made.loc[("B-1", "A"), "process"] == "135"
    assert made.loc[("B-1", ""), "thickness"] == "3 to 6 mm"
    assert made.loc[("B-2", "A"), "thickness"] == "12 to 25 mm"


def test_what_several_welded_is_shared_by_length():
    examined = pd.DataFrame(
        {
            "joint": ["B-1", "B-2", "B-2"],
            "method": ["RT", "UT", "PT"],
            "from_mm": [500.0, 0.0, 0.0],
            "to_mm": [800.0, 300.0, 300.0],
            "found": [3.0, 0.0, 1.0],
        }
    )
    seen = histories(examined, JOINTS, DEPOSITS)
    assert set(seen) == {"RT UT", "PT"}
    inside = seen["RT UT"].set_index(["joint", "welder"])
    assert inside.loc[("B-1", "A"), "found"] == pytest.approx(1.0)
    assert inside.loc[("B-1", "B"), "metres"] == pytest.approx(0.2)
    assert seen["RT UT"]["metres"].sum() == pytest.approx(0.6)


def test_work_of_nobody_known_counts_too():
    examined = pd.DataFrame(
        {"joint": ["B-2"], "method": ["RT"], "from_mm": [0.0], "to_mm": [300.0], "found": [1.0]}
    )
    seen = histories(examined, JOINTS, DEPOSITS.iloc[:2])["RT UT"]
    assert seen["welder"].tolist() == [""]
    assert seen["metres"].sum() == pytest.approx(0.3)


def test_kinds_of_method():
    assert kind_of("RT") == kind_of("UT") != kind_of("MT")
