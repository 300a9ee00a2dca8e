"""The picture of a plan as SVG: small, still, the same bytes for the same data."""

import html
import textwrap
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from ndtstats.report.oc_figures import COLOURS, Panel, panels

WIDTH, LEFT, RIGHT = 760, 80, 20
PANEL_HEIGHT, PANEL_GAP = 220, 70
LINE_HEIGHT = 22
#: What a line of the sentence holds, in the widest of the usual sans-serif letters.
_CHARACTERS = 70
#: Dashes in the order of the colours: solid, dashed, dotted.
_DASHES = ("none", "9 5", "2 4")


def operating_svg(curve: pd.DataFrame, conclusion: str) -> str:
    """Return the panels of a curve below the sentence that goes with them.

    Parameters
    ----------
    curve : DataFrame
        As for :func:`ndtstats.report.oc_figures.panels`.
    conclusion : str
        The sentence; also what a screen reader is told.
    """
    return panels_svg(panels(curve), conclusion)


def panels_svg(drawn: Sequence[Panel], conclusion: str) -> str:
    """Return panels below the sentence that goes with them."""
    sentence = textwrap.wrap(conclusion, _CHARACTERS)
    parts = [_text(LEFT, 30 + LINE_HEIGHT * i, line, 17) for i, line in enumerate(sentence)]
    top = 30 + LINE_HEIGHT * len(sentence) + 30
    for panel in drawn:
        parts.append(_panel(panel, top))
        top += PANEL_HEIGHT + PANEL_GAP
    told = html.escape(conclusion)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {top}" role="img" '
        f'aria-label="{told}" font-family="sans-serif" font-size="13">\n<title>{told}</title>\n'
        f'<rect width="{WIDTH}" height="{top}" fill="#fff"/>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def even_ticks(end: float) -> npt.NDArray[np.float64]:
    """Return three to six even steps from 0 to ``end`` or just below.

    Examples
    --------
    >>> even_ticks(100).tolist(), even_ticks(0.37).round(2).tolist()
    ([0.0, 20.0, 40.0, 60.0, 80.0, 100.0], [0.0, 0.1, 0.2, 0.3])
    """
    power = 10.0 ** np.floor(np.log10(end))
    step = next(s for s in (0.1, 0.2, 0.5, 1.0, 2.0) if end / (s * power) < 5.5) * power
    return np.asarray(np.arange(np.floor(end / step * (1 + 1e-9)) + 1) * step, float)


def _panel(panel: Panel, top: float) -> str:
    x_end = float(panel.x.max()) or 1.0
    y_end = panel.top or 1.05 * float(max(line.y.max() for line in panel.lines)) or 1.0
    bottom, right = top + PANEL_HEIGHT, WIDTH - RIGHT

    def across(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return LEFT + (right - LEFT) * x / x_end

    def up(y: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return bottom - PANEL_HEIGHT * y / y_end

    parts = []
    for value, y in zip(ticks := even_ticks(y_end), up(ticks), strict=True):
        parts.append(f'<path d="M{LEFT} {y:.1f}H{right}" stroke="#ddd"/>')
        parts.append(_text(LEFT - 8, y + 4, f"{value:.4g}", anchor="end"))
    for value, x in zip(ticks := even_ticks(x_end), across(ticks), strict=True):
        parts.append(f'<path d="M{x:.1f} {bottom}v5" stroke="#333"/>')
        parts.append(_text(x, bottom + 20, f"{value:.4g}", anchor="middle"))
    parts.append(f'<path d="M{LEFT} {top}V{bottom}H{right}" fill="none" stroke="#333"/>')
    parts.append(_text((LEFT + right) / 2, bottom + 40, panel.x_title, anchor="middle"))
    middle = f'transform="translate(20 {(top + bottom) / 2:.1f}) rotate(-90)"'
    parts.append(f'<text {middle} text-anchor="middle">{html.escape(panel.y_title)}</text>')
    for i, line in enumerate(panel.lines):
        look = f'fill="none" stroke="{COLOURS[i]}" stroke-width="2" stroke-dasharray="{_DASHES[i]}"'
        points = zip(across(panel.x), up(line.y), strict=True)
        path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        parts.append(f'<path d="M{path}" {look}/>')
        if len(panel.lines) == 1:
            continue  # the axis says what it is
        height = top + 16 + 18 * i
        parts.append(f'<path d="M{right - 40} {height}h40" {look}/>')
        parts.append(_text(right - 48, height + 4, line.name, anchor="end"))
    return "\n".join(parts)


def _text(x: float, y: float, text: str, size: int = 13, anchor: str = "start") -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}"'
    return f"<text {place}>{html.escape(text)}</text>"
