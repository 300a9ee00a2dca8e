"""Welders whose extent is multiplied: more of them is drawn, no less of anybody else."""

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ndtstats.planning import draw_plan, plan_spots, repeat_plan
from ndtstats.planning.allocation import strata_of
from ndtstats.rules import Structure, read_rules

TOP = 'title = "t"\nfollows = "f"\nedition = "e"\n[[extent]]\nname = "n"\ncategories = ["A"]\n'
SHARE = 'family = "share-of-length", percent = 10.0'


def rule(amount=SHARE, **keys):
    lines = [f"amount = {{ {amount} }}", 'method = "RT"', *(f"{k} = {v}" for k, v in keys.items())]
    return read_rules(TOP + "\n".join(lines), source="r").extent[0]


def cells(welders, factors, kinds=None):
    """A joint a cell, of a spot's length each."""
    number = len(welders)
    return pd.DataFrame(
        {
            "joint": [f"J{n}" for n in range(number)], "from_mm": 0.0, "to_mm": 300.0,
            "mandatory": kinds or "", "welder": pd.Series(welders, dtype="str"), "risk": 1.0,
            "first_off": False, "joint_mm": 300.0, "stretch": "", "increment": 0,
        }
    ).assign(crew=lambda f: f["welder"], factor=lambda f: f["welder"].map(factors))  # fmt: skip


def drawn(frame, of):
    """How many of each welder are drawn on average, and in all."""
    found = strata_of(frame, of, Structure(), length_mm=300.0 * len(frame))
    return found["pi"].groupby(frame["welder"]).sum().to_dict()


@pytest.mark.parametrize("amount", [SHARE, 'family = "percent-of-joints", percent = 10.0'])
def test_twice_as_much_of_him_and_the_same_of_the_others(amount):
    welders = ["A"] * 40 + ["B"] * 60
    plain = drawn(cells(welders, {"A": 1.0, "B": 1.0}), rule(amount))
    assert plain == pytest.approx({"A": 4.0, "B": 6.0})
    strict = drawn(cells(welders, {"A": 2.0, "B": 1.0}), rule(amount))
    assert strict == pytest.approx({"A": 8.0, "B": 6.0})


def test_never_more_than_there_is():
    welders = ["A"] * 5 + ["B"] * 95
    assert drawn(cells(welders, {"A": 50.0, "B": 1.0}), rule())["A"] == pytest.approx(5.0)


def test_what_is_examined_of_each_welder_at_least_is_multiplied_too():
    # Ten per cent of his two joints are less than the one spot that shows his work.
    welders = ["A"] * 2 + ["B"] * 18
    of = rule(spots_per_welder=1)
    assert drawn(cells(welders, {"A": 1.0, "B": 1.0}), of)["A"] == pytest.approx(1.0)
    assert drawn(cells(welders, {"A": 2.0, "B": 1.0}), of)["A"] == pytest.approx(2.0)


def test_crossings_that_are_certain_count_where_the_rule_counts_them():
    kinds = ["crossing"] * 6 + [""] * 94
    frame = cells(["A"] * 40 + ["B"] * 60, {"A": 2.0, "B": 1.0}, kinds)
    # Four are his extent, eight are twice of it; six of those are his crossings.
    of = rule(always='["crossings"]')
    strict, plain = drawn(frame, of), drawn(frame.assign(factor=1.0), of)
    assert strict["A"] >= 8.0 - 1e-9
    assert sum(strict.values()) == pytest.approx(sum(plain.values()) + 4.0)
    assert strict["B"] >= plain["B"] - 1e-9
    points = 'family = "check-points", points = 10'
    beside = drawn(frame, rule(points, always='["crossings"]', always_counts="false"))["A"]
    assert beside == pytest.approx(6 + np.ceil(2 * 10 * 34 / 94))


def test_why_names_the_factor():
    frame = cells(["A"] * 40 + ["B"] * 60, {"A": 1.5, "B": 1.0})
    found = strata_of(frame, rule(), Structure(), length_mm=30_000.0)
    whys = found["why"].groupby(frame["welder"]).unique().map(list).to_dict()
    assert whys == {
        "A": ["drawn by chance; tightened, extent × 1.5"], "B": ["drawn by chance"],
    }  # fmt: skip


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 4), st.sampled_from(["", "crossing", "end"])),
             min_size=1, max_size=60),
    st.sampled_from([1.5, 2.0, 4.0]),
    st.lists(st.sampled_from(["crossings", "ends"]), unique=True, max_size=2),
    st.lists(st.sampled_from(["crossings", "ends"]), unique=True, max_size=2),
    st.integers(0, 2),
    st.integers(1, 30),
)  # fmt: skip
def test_whatever_the_rule_he_is_never_drawn_less_and_reaches_his_factor(
    rows, factor, always, first, least, percent
):
    welders, kinds = [f"W{w}" for w, _ in rows], [kind for _, kind in rows]
    of = rule(
        f'family = "share-of-length", percent = {percent}.0', spots_per_welder=least,
        always=str(always).replace("'", '"'), first=str(first).replace("'", '"'),
    )  # fmt: skip
    normal = dict.fromkeys(welders, 1.0)
    strict = drawn(cells(welders, normal | {welders[0]: factor}, kinds), of)
    mine = welders.count(welders[0])
    share = np.ceil(percent / 100 * len(rows)) * mine / len(rows)
    assert strict[welders[0]] >= min(mine, factor * max(share, min(least, mine))) - 1e-6


def test_a_plan_keeps_the_factors_and_is_drawn_again_by_them(yard, rules, now):
    plain, _ = draw_plan(yard, job="H1", rules=rules, seed=1, now=now)
    other = read_rules(rules.text.replace('"pipe butts"', '"all pipes"'), source="x")
    later = now + timedelta(days=1)
    strict = {("W1", "RT"): 3.0, ("W2", "UT"): 5.0}
    plan, drawing = draw_plan(yard, job="H1", rules=other, seed=1, now=later, tightened=strict)
    pipes = [
        spots[spots["joint"].str.startswith("P") & spots["part"].isin(["required", "random"])]
        for spots in (plan_spots(yard, plain), plan_spots(yard, plan))
    ]
    welder = yard.table("deposits").set_index("joint")["welder"]
    before, after = (spots["joint"].map(welder).value_counts() for spots in pipes)
    assert after["W1"] == 3 * before["W1"]
    # A signal by ultrasonics multiplies nothing under a rule for radiographs.
    assert after.drop("W1").equals(before.drop("W1").reindex(after.drop("W1").index))
    assert any("tightened by signals: W1 (RT, extent × 3)" in note for note in drawing.notes)
    again = repeat_plan(yard, plan)
    assert again.equal
    assert again.frame_equal
