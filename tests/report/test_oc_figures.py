import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from ndtstats.errors import CannotGoOn, UseError
from ndtstats.report.oc_figures import operating_figure, panels, write_picture
from ndtstats.report.oc_svg import even_ticks, operating_svg
from ndtstats.statistics.acceptance import (
    DoublePlan,
    SequentialPlan,
    double_curve,
    sequential_curve,
    single_curve,
)

CURVES = {
    "stream": single_curve(52, 3),
    "lot": single_curve(52, 3, lot=1000),
    "misses": single_curve(52, 3, detection=0.8),
    "whole lot": single_curve(10, 9, lot=10),
    "double": double_curve(DoublePlan(50, 1, 4, 100, 3)),
    "sequential": sequential_curve(SequentialPlan(0.01, 0.10), most=150),
}
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES)
def test_the_figure_holds_the_curve_in_per_cent(curve):
    figure = operating_figure(curve)
    passes = next(trace for trace in figure.data if trace.name == "passes")
    np.testing.assert_allclose(passes.x, 100 * curve["rate"])
    np.testing.assert_allclose(passes.y, 100 * curve["pass_probability"])
    drawn = sum(len(panel.lines) for panel in panels(curve))
    assert len(figure.data) == drawn


def test_every_axis_has_its_unit():
    layout = operating_figure(CURVES["lot"]).layout
    assert [layout[f"yaxis{n}"].title.text for n in ("", 2, 3)] == [
        "chance (%)",
        "bad left after repair, average (%)",
        "examined, average (number)",
    ]
    assert layout.xaxis3.title.text == "true share that is bad (%)"


@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES)
def test_the_svg_draws_each_line_where_it_belongs(curve):
    svg = operating_svg(curve, "Examine 52 & allow <3>.")
    root = ET.fromstring(svg)  # noqa: S314  (our own file)
    assert root.find(f"{SVG}title").text == "Examine 52 & allow <3>."
    curves = [p for p in root.iter(f"{SVG}path") if "L" in p.get("d")]
    assert len(curves) == sum(len(panel.lines) for panel in panels(curve))
    # The first line is the chance of passing: from the top of its panel at rate 0, downwards.
    at = np.array(re.findall(r"([\d.]+) ([\d.]+)", curves[0].get("d")), float)
    assert len(at) == len(curve)
    height = (at[:, 1] - at[0, 1]) / 220
    np.testing.assert_allclose(1 - height, curve["pass_probability"], atol=1e-3)


@pytest.mark.parametrize("end", [1e-4, 0.03, 0.37, 1.0, 16.4, 99.0, 100.0, 1234.0])
def test_ticks_are_few_and_even(end):
    ticks = even_ticks(end)
    assert 3 <= len(ticks) <= 7
    assert ticks[0] == 0
    assert ticks[-1] <= end * (1 + 1e-9)
    np.testing.assert_allclose(np.diff(ticks), ticks[1])


@pytest.mark.parametrize("ending", ["html", "svg"])
def test_two_pictures_of_the_same_are_the_same(ending, tmp_path):
    for name in ("a", "b"):
        write_picture(CURVES["lot"], CURVES["lot"], "A <sentence>.", tmp_path / f"{name}.{ending}")
    first = (tmp_path / f"a.{ending}").read_bytes()
    assert first == (tmp_path / f"b.{ending}").read_bytes()
    assert b"A &lt;sentence&gt;." in first


def test_the_page_holds_everything_and_the_table(tmp_path):
    write_picture(CURVES["lot"], CURVES["lot"], "A sentence.", tmp_path / "a.html")
    page = (tmp_path / "a.html").read_text()
    # Nothing is fetched: scripts stand in the page, and nothing else names a place to load from.
    scripts = re.findall(r"<script\b[^>]*>", page)
    assert scripts
    assert not any("src" in script for script in scripts)
    assert "http" not in re.sub(r"<script\b.*?</script>", "", page, flags=re.DOTALL)
    rows = re.findall(r"<tr><td>(.*?)</td></tr>", page)
    assert len(rows) == len(CURVES["lot"])
    rate, passes, *_ = (float(cell.replace(",", "")) for cell in rows[2].split("</td><td>"))
    assert rate == pytest.approx(100 * CURVES["lot"]["rate"][2], rel=5e-4)
    assert passes == pytest.approx(100 * CURVES["lot"]["pass_probability"][2], rel=5e-4)
    assert "certified personnel decide" in page


def test_another_ending_is_told(tmp_path):
    with pytest.raises(UseError, match=r"\.html or a \.svg"):
        write_picture(CURVES["lot"], CURVES["lot"], "A.", tmp_path / "a.png")


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(CannotGoOn, match="cannot be written"):
        write_picture(CURVES["lot"], CURVES["lot"], "A.", tmp_path / "none" / "a.svg")
