"""What all figures share: colours, layout, and names that can do no harm."""

import textwrap
from collections.abc import Iterator
from typing import Any

import pandas as pd

from ndtstats.report.formatting import plain

#: Okabe & Ito 2008 (jfly.uni-koeln.de/color), which colour-blind people can tell apart.
BLUE, ORANGE, GREEN, GREY, RED = "#0072B2", "#E69F00", "#009E73", "#595959", "#D55E00"
#: Text; and lines that others are compared with, dark enough for the word that stands at them.
INK, USUAL = "#1f1f1f", "#8a5a00"
#: Bars behind a mark: what chance allows, nearly always and mostly.
LIGHT, MIDDLE = "#d6d6d6", "#8c8c8c"


def _axis(more: dict[str, Any]) -> dict[str, Any]:
    title = {"standoff": 12, "font": {"size": 13}, **more.get("title", {})}
    return {
        "gridcolor": "#e3e3e3", "zerolinecolor": "#b0b0b0", "linecolor": "#808080",
        "showline": True, "ticks": "outside", "automargin": True, "tickfont": {"size": 12},
        **more, "title": title,
    }  # fmt: skip


def layout(height: int, **more: Any) -> dict[str, Any]:
    """Return the layout of a figure so many pixels high; ``xaxis`` and ``yaxis`` go through."""
    return {
        "height": height,
        "margin": {"l": 60, "r": 16, "t": 16, "b": 56},
        "font": {"family": "system-ui, sans-serif", "size": 13, "color": INK},
        "paper_bgcolor": "white",
        "plot_bgcolor": "white",
        "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
        "xaxis": _axis(more.pop("xaxis")),
        "yaxis": _axis(more.pop("yaxis")),
        "hovermode": "closest",
        "template": None,
        **more,
    }


def wrapped(text: str) -> str:
    """Return text in two lines at most, so that a narrow screen keeps room for the bars."""
    lines = textwrap.wrap(shortened(text, 52), 26) or [""]
    return "<br>".join(escaped(line) for line in lines)


def escaped(text: str) -> str:
    """Return text that plotly does not take for markup, and that turns nothing beside it."""
    return plain(text).replace("<", "‹").replace(">", "›")


def shortened(text: str, most: int) -> str:
    """Return text of at most so many letters."""
    return text if len(text) <= most else text[: most - 1] + "…"


def each(rows: pd.DataFrame) -> Iterator[Any]:
    """Yield rows by the names of their columns; a picture has few of them."""
    return iter(rows.itertuples())
