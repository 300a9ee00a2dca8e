import pytest

from ndtstats.report.chart_text import curves_text


def test_a_curve_rises_from_the_lower_left_to_the_upper_right():
    lines = curves_text([0, 50], {"found": [0.0, 1.0]}, x_title="exposures", percent=True).split(
        "\n"
    )
    assert lines[0].startswith("100 % │")
    assert lines[0].endswith("●")
    assert lines[10].startswith("  0 % │●")
    assert lines[5].startswith(" 50 % │")
    assert lines[-1].strip() == "exposures   ● found"


def test_two_curves_have_two_marks():
    text = curves_text([0, 1, 2], {"a": [1, 1, 1], "b": [0, 0, 0]}, x_title="x")
    assert text.count("●") == 72 + 1
    assert text.count("○") == 72 + 1


@pytest.mark.parametrize(("most", "top"), [(0.0, "1"), (0.31, "0.5"), (7.0, "10"), (1.0, "1")])
def test_the_axis_ends_at_a_round_number(most, top):
    text = curves_text([0, 1], {"a": [0.0, most]}, x_title="x")
    assert text.split("\n")[0].split(" │")[0].strip() == top
