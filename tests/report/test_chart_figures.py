"""Pictures of comparisons, charts and what is hidden: from frames made by hand."""

import pandas as pd
import pytest

from ndtstats.report.chart_figures import (
    chart_figure,
    funnel_figure,
    hidden_figure,
    ratios_figure,
)

COMPARED = pd.DataFrame(
    {
        "welder": ["K7<b>", "M2"], "rejected": [6, 1], "examined": [20, 40],
        "expected": [2.0, 4.0], "ratio": [3.0, 0.25], "ratio_lower": [1.2, 0.01],
        "ratio_upper": [5.4, 1.3], "stands_out": ["high", ""],
        "funnel": ["beyond 99.8 %", "within"],
        "funnel_lower_95": [0.0, 0.2], "funnel_upper_95": [2.5, 2.0],
        "funnel_lower_998": [0.0, 0.0], "funnel_upper_998": [3.0, 2.75],
    }
)  # fmt: skip

MONTHS = pd.DataFrame(
    {
        "month": ["2026-01", "2026-02", "2026-03"], "rejected": [1, 0, 9], "examined": [20, 0, 20],
        "share": [0.05, float("nan"), 0.45], "centre": 0.25, "lower": [0.0, float("nan"), 0.0],
        "upper": [0.4, float("nan"), 0.4], "signal": ["", "", "above"],
        "ewma": [-0.2, -0.2, 1.5], "ewma_lower": [-0.6, -0.8, -0.9], "ewma_upper": [0.6, 0.8, 0.9],
        "ewma_signal": ["", "", "above"],
    }
)  # fmt: skip

HIDDEN = pd.DataFrame(
    {
        "zone": ["TANK", "DECK"], "found": [3.0, 0.0], "examined_m": [10.0, 4.0],
        "unexamined_m": [31.24, 0.0], "mean": [9.4, 0.0], "upper": [15, 0], "level": 0.9,
    }
)  # fmt: skip


def test_who_lies_beyond_the_funnel_is_named_and_marked_by_more_than_colour():
    outer, inner, marks = funnel_figure(COMPARED).data
    assert list(marks.text) == ["K7‹b›", ""]
    assert list(marks.marker.symbol) == ["diamond", "circle"]
    assert list(marks.x) == [2.0, 4.0]
    assert inner.y[0] + inner.error_y.array[0] == 2.5
    assert outer.y[1] + outer.error_y.array[1] == 2.75
    assert "6 of 20 rejected, 2.0 expected" in marks.hovertext[0]


def test_ratios_stand_in_the_order_of_the_table_from_the_top():
    marks = ratios_figure(COMPARED).data[0]
    # The first of an upright axis stands lowest.
    assert list(marks.y) == ["M2, 1 of 40", "K7‹b›, 6 of 20"]
    assert list(marks.marker.symbol) == ["circle", "diamond"]
    assert list(marks.error_x.arrayminus) == pytest.approx([0.24, 1.8])
    other = ratios_figure(COMPARED.assign(marked=[False, True])).data[0]
    assert list(other.marker.symbol) == ["diamond", "circle"]


def test_a_chart_shows_limits_names_signals_and_leaves_empty_months_out():
    figure = chart_figure(MONTHS)
    bars, marks = figure.data
    assert list(marks.x) == ["2026-01", "2026-03"]
    assert list(marks.y) == pytest.approx([5.0, 45.0])
    assert list(marks.text) == ["", "above"]
    assert list(marks.marker.symbol) == ["circle", "diamond"]
    assert bars.y[0] + bars.error_y.array[0] == pytest.approx(40.0)
    assert "9 of 20 rejected" in marks.hovertext[1]
    assert "[%]" in figure.layout.yaxis.title.text
    assert figure.layout.yaxis.range[1] > 45.0


def test_the_moving_average_has_room_below_nothing():
    figure = chart_figure(MONTHS, "EWMA")
    assert figure.layout.yaxis.range[0] < -0.9
    assert "[standard deviations]" in figure.layout.yaxis.title.text


def test_what_is_hidden_has_its_bound_and_no_line_where_nothing_can_be():
    (bars,) = hidden_figure(HIDDEN).data
    assert list(bars.y) == ["TANK, 31.2 m"]
    assert list(bars.error_x.array) == pytest.approx([5.6])
    assert "at most 15 (90 %)" in bars.hovertext[0]


@pytest.mark.parametrize(
    "nothing",
    [
        funnel_figure(COMPARED.iloc[:0]), ratios_figure(COMPARED.assign(expected=0.0)),
        chart_figure(MONTHS.iloc[:0]), chart_figure(MONTHS.assign(examined=0)),
        hidden_figure(HIDDEN.iloc[1:]),
    ],
)  # fmt: skip
def test_nothing_to_draw_draws_nothing(nothing):
    assert nothing is None
