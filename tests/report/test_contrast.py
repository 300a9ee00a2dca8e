"""Text can be read by people who see little contrast: WCAG 2.2, success criterion 1.4.3 (AA)."""

import re
from importlib import resources

import pytest

from ndtstats.report.plotting import GREEN, INK, ORANGE, USUAL

CSS = resources.files("ndtstats.report").joinpath("static/page.css").read_text(encoding="utf-8")
WHITE = "#ffffff"

#: Colours of text in the style sheet: ``color`` and, in pictures of joints, ``fill`` of text.
TEXT = sorted(
    {
        *re.findall(r"--(?:ink|soft|mark): (#[0-9a-f]{3,6})", CSS),
        *re.findall(r"(?<![-\w])color: (#[0-9a-f]{3,6})", CSS),
        *re.findall(r"text \{[^}]*fill: (#[0-9a-f]{3,6})", CSS),
    }
)


def luminance(colour: str) -> float:
    """Return the relative luminance as WCAG defines it."""
    digits = colour.lstrip("#")
    parts = [digits[n : n + len(digits) // 3] for n in range(0, len(digits), len(digits) // 3)]
    shares = [int(part * (2 // len(part)), 16) / 255 for part in parts]
    red, green, blue = (
        share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio as WCAG defines it."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_ratio_is_that_of_the_standard():
    # WCAG 2.2, definition of contrast ratio: from 1 to 21; #767676 is the lightest grey that passes
    # on white (from memory).
    assert contrast("#000", WHITE) == pytest.approx(21)
    assert contrast("#fff", WHITE) == pytest.approx(1)
    assert contrast("#767676", WHITE) >= 4.5 > contrast("#777777", WHITE)


def test_the_colours_of_text_were_found():
    assert len(TEXT) >= 5


@pytest.mark.parametrize("colour", TEXT)
def test_text_stands_out_from_the_page(colour):
    assert contrast(colour, WHITE) >= 4.5


@pytest.mark.parametrize(("text", "ground"), [(INK, GREEN), (INK, ORANGE), (USUAL, WHITE)])
def test_so_does_text_in_figures(text, ground):
    assert contrast(text, ground) >= 4.5
