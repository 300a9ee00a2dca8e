from xml.etree import ElementTree as ET

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


def test_extent_is_empty_where_no_rules_are_in_force():
    assert extent_figure(pd.DataFrame()) is None


EXAMINED = pd.DataFrame(
    {
        "method": "RT", "from_mm": [500.0, 500.0], "to_mm": [1000.0, 1000.0],
        "verdict": ["reject", "accept"], "round": [0, 1],
        "date": pd.to_datetime(["2026-03-01", "2026-03-05"]), "report": ["<b>", "\u202eR-2"],
    }
)  # fmt: skip
FOUND = pd.DataFrame({"method": ["RT"], "round": [0], "start_mm": [600.0], "end_mm": [700.0]})
PLANNED = pd.DataFrame({"method": ["UT"], "round": [0], "from_mm": [0.0], "to_mm": [250.0]})
OWED = pd.DataFrame({"from_mm": [0.0], "to_mm": [500.0]})


def parsed(svg):
    return ET.fromstring(svg)  # noqa: S314  (made by ourselves)


def test_a_strip_is_to_scale_and_escaped():
    svg = strip(1000.0, EXAMINED, FOUND, PLANNED, OWED)
    marks = [mark.attrib for mark in parsed(svg).iter("rect")]
    by_class = {mark["class"]: mark for mark in marks}
    # A joint of 1,000 mm is drawn 600 wide from 64 on.
    for kind, x, width in (
        ("r", "364.0", "300.0"), ("a", "364.0", "300.0"), ("i", "424.0", "60.0"),
        ("p", "64.0", "150.0"), ("d", "64.0", "300.0"),
    ):  # fmt: skip
        assert (by_class[kind]["x"], by_class[kind]["width"]) == (x, width), kind
    assert "<b>" not in svg
    assert "\u202e" not in svg
    assert "2 examined, 1 of them rejected, 1 still planned, 1 owed" in svg


def test_a_strip_tells_repairs_and_rejects_apart_by_more_than_colour():
    svg = parsed(strip(1000.0, EXAMINED, FOUND, PLANNED, OWED))
    labels = [text.text for text in svg.iter("text")]
    assert labels[:4] == ["RT", "RT R1", "UT", "owed"]
    height = {mark.attrib["class"]: int(mark.attrib["height"]) for mark in svg.iter("rect")}
    assert height["r"] > height["a"]


def test_a_mark_is_never_too_narrow_to_be_seen():
    svg = parsed(strip(1e6, EXAMINED, FOUND, PLANNED.iloc[:0], OWED.iloc[:0]))
    widths = [float(m.attrib["width"]) for m in svg.iter("rect") if m.attrib["class"] != "w"]
    assert min(widths) == 2.0
