import pandas as pd
import pytest

from ndtstats.report.figures import extent_figure, rates_figure, trend_figure
from ndtstats.report.strips import strip

RATES = pd.DataFrame(
    {
        "welder": ["K7", "M2"], "month": ["2026-01", "2026-02"], "rejected": [3, 0],
        "examined": [30, 12], "rate": [0.1, 0.0], "lower": [0.0211, 0.0], "upper": [0.2653, 0.2646],
    }
)  # fmt: skip


def test_rates_draw_every_interval_and_name_the_unit():
    figure = rates_figure(RATES, 3 / 42)
    marks = figure.data[0]
    assert len(marks.x) == len(marks.error_x.array) == 2
    assert list(marks.y) == ["M2, 12 spots", "K7, 30 spots"]
    assert marks.error_x.array[1] == pytest.approx(16.53)
    assert "[%]" in figure.layout.xaxis.title.text
    assert "3 of 30" in marks.hovertext[1]
    assert figure.layout.annotations[0].text == "all: 7.1 %"


def test_trend_is_in_order_of_time():
    figure = trend_figure(RATES.iloc[::-1])
    assert list(figure.data[0].x) == ["2026-01", "2026-02"]


@pytest.mark.parametrize("draw", [lambda table: rates_figure(table, 0.1), trend_figure])
def test_nothing_examined_draws_nothing(draw):
    assert draw(RATES.iloc[:0]) is None
    assert draw(RATES.assign(examined=0)) is None


def test_extent_shows_met_and_short_by_more_than_colour():
    table = pd.DataFrame(
        {
            "rule": ["butts", "seams"], "method": "RT", "unit": "mm", "required": [1000.0, 400.0],
            "achieved": [1200.0, 100.0], "state": ["met", "short"],
        }
    )  # fmt: skip
    figure = extent_figure(table)
    assert list(figure.data[0].x) == [25.0, 120.0]
    assert list(figure.data[0].marker.pattern.shape) == ["/", ""]
    assert extent_figure(table.iloc[:0]) is None


def test_a_strip_is_to_scale_and_escaped():
    examined = pd.DataFrame(
        {
            "method": ["RT"], "from_mm": [500.0], "to_mm": [1000.0], "verdict": ["reject"],
            "round": [0], "date": pd.to_datetime(["2026-03-01"]), "report": ["<b>"],
        }
    )  # fmt: skip
    found = pd.DataFrame({"method": ["RT"], "start_mm": [600.0], "end_mm": [700.0]})
    planned = pd.DataFrame({"method": ["UT"], "from_mm": [0.0], "to_mm": [250.0]})
    svg = strip(1000.0, examined, found, planned)
    assert 'x="350.0"' in svg  # half of 640 along, after the 30 of the label
    assert 'width="320.0"' in svg
    assert "&lt;b&gt;" in svg
    assert "<b>" not in svg
    assert "1 examined, 1 of them rejected, 1 still planned" in svg
