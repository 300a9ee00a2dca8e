import pandas as pd
import pytest

from ndtstats.rates import sentence, worth
from ndtstats.statistics import proportion_interval, rate_interval


def table(*groups, basis="described", measure="spots", sides="two", **more):
    """A table of rates: group, rejected, examined."""
    rows = pd.DataFrame(groups, columns=["welder", "rejected", "examined"])
    k, n = rows["rejected"], rows["examined"]
    bounds = (
        rate_interval(k, n, sides=sides)
        if measure == "per-metre"
        else proportion_interval(k, n, sides=sides)
    )
    return rows.assign(
        rate=k / n, lower=bounds.lower, upper=bounds.upper, basis=basis, measure=measure,
        level=0.95, **({"shared": 0, "no_length": 0, "methods": 1} | more),
    )  # fmt: skip


def test_nothing_examined_is_no_rate():
    assert "no rate" in sentence(table().iloc[:0], ["welder"])


def test_selection_unknown_is_said_and_no_reject_is_not_no_defect():
    text = sentence(table(("K7", 0, 30)), ["welder"])
    assert text == (
        "0 of 30 spots rejected at first examination; 95 % bounds 0.0 % and 11.6 %: no reject is "
        "not the same as no defect. Selection unknown: this describes what was examined, not what "
        "was welded."
    )


def test_bounds_that_overlap_show_no_difference():
    text = sentence(table(("K7", 3, 30), ("M2", 1, 30)), ["welder"])
    assert text.startswith(
        "Highest lower bound: welder K7, 3 of 30 spots rejected at first examination, 10.0 %, "
        "95 % bounds 2.1 % and 26.5 %. Its bounds overlap those of every other group, so no "
        "difference is shown."
    )


def test_bounds_that_do_not_overlap_are_told_with_the_caution_that_there_are_many():
    text = sentence(table(("K7", 20, 30), ("M2", 0, 30), ("N3", 14, 30)), ["welder"])
    assert "welder K7, 20 of 30" in text
    assert "above the upper bound of 1 of 2 other groups" in text
    assert "by chance" in text


def test_a_large_sample_outranks_a_small_one_with_a_higher_rate():
    text = sentence(table(("K7", 1, 2), ("M2", 30, 100)), ["welder"])
    assert "welder M2" in text
    assert "welder K7" not in text


def test_no_reject_at_all():
    text = sentence(table(("K7", 0, 30), ("M2", 0, 3)), ["welder"])
    assert text.startswith(
        "No reject in any of 2 groups; the bounds tell how bad each may still be."
    )


def test_one_sided_bounds_name_the_highest_rate():
    text = sentence(table(("K7", 3, 30), ("M2", 1, 30), sides="upper"), ["welder"])
    assert text.startswith("Highest rate: welder K7")
    assert "overlap" not in text


def test_the_unbiased_basis_goes_first():
    both = pd.concat(
        [table(("K7", 9, 10)), table(("K7", 1, 10), basis="unbiased")], ignore_index=True
    )
    text = sentence(both, ["welder"])
    assert text.startswith("1 of 10 spots rejected at first examination, weighted by the draw")
    assert "Selection unknown" not in text


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"shared": 1}, "1 reject is charged to others too."),
        ({"shared": 2}, "2 rejects are charged to others too."),
        ({"methods": 2}, "Several methods stand together"),
        (
            {"measure": "length", "no_length": 1},
            "1 indication has no length: the whole spot counts",
        ),
    ],
)
def test_what_has_to_be_known_is_said(more, says):
    assert says in sentence(table(("K7", 3, 30), **more), ["welder"])
    assert says not in sentence(table(("K7", 3, 30)), ["welder"])


def test_rates_per_metre_have_no_percent():
    text = sentence(table(("K7", 3, 10.0), measure="per-metre"), ["welder"])
    # Garwood: 3 events, 0.6187 to 8.767.
    assert (
        "3 rejectable indications in 10.0 m, 0.3 per metre, 95 % bounds 0.0619 and 0.877." in text
    )


def test_why_weighted_bounds_are_wide_is_said_of_who_loses_most():
    rows = table(("K7", 12, 28), ("M2", 1, 20), basis="unbiased")
    rows = rows.assign(effective=[4.67, 16.0], design_effect=[6.0, 1.25])
    assert worth(rows, ["welder"]) == (
        "Unequal weights and shared joints leave the 28 spots of welder K7 worth 4.67 drawn alike "
        "(design effect 6), which is why these bounds are wide."
    )
    assert worth(rows.iloc[1:], ["welder"]) == ""
    assert worth(rows.assign(basis="described"), ["welder"]) == ""
    assert worth(rows.iloc[:0], ["welder"]) == ""


def test_the_worth_of_metres_is_told_in_metres():
    rows = table(("K7", 2, 9.0), basis="unbiased", measure="per-metre")
    told = worth(rows.assign(effective=3.0, design_effect=3.0), [])
    assert told.startswith("Unequal weights and shared joints leave the 9 m worth 3 drawn alike")
